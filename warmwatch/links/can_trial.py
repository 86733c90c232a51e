"""What `can:` shows when it is tried, step by step."""

from collections.abc import Iterator

from warmwatch.errors import LinkError
from warmwatch.links.address import Address
from warmwatch.links.can_asker import open_asker
from warmwatch.links.request import Request
from warmwatch.links.steps import Step, StepState
from warmwatch.links.trial import listen
from warmwatch.signals import obd, standard_table
from warmwatch.signals.answers import split_records

TRY_POLLS_S = 5.0
_VOLTAGE_PID = 0x42


def try_address(address: Address) -> Iterator[Step]:
    """Yield what a survey of the bus and TRY_POLLS_S of polling show; raises UsageError only."""
    steps: list[Step] = []
    try:
        asker = open_asker(address, steps.append)
    except LinkError as error:
        yield from steps
        if not steps or steps[-1].state is not StepState.FAILED:
            yield Step("interface opened", StepState.FAILED, str(error))
        return
    try:
        pids = {pid for offer in asker.offers.values() for pid in offer.pids}
        names = [signal.name for signal in standard_table() if signal.identifier in pids]
        state = StepState.OK if names else StepState.UNKNOWN
        steps.append(Step("standard signals", state, ", ".join(names) or "none on offer"))
        answers = asker.ask(Request(obd.SERVICE, (_VOLTAGE_PID,))).answers if names else {}
        steps += [_voltage(payload) for payload in list(answers.values())[:1]]
    except LinkError as error:
        steps.append(Step("link", StepState.FAILED, str(error)))
    finally:
        asker.close()
    yield from steps
    yield from listen(address, TRY_POLLS_S)


def _voltage(payload: bytes) -> Step:
    name = "voltage at the unit"
    try:
        record = split_records(payload, obd.SERVICE, 1, {_VOLTAGE_PID: 2})[_VOLTAGE_PID]
    except ValueError:
        return Step(name, StepState.UNKNOWN, "its answer cannot be read")
    return Step(name, StepState.OK, f"{int.from_bytes(record, 'big') / 1000:.1f} V")
