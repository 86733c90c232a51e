"""What `can:` shows when it is tried, step by step."""

from collections.abc import Iterator

from warmwatch.errors import LinkError
from warmwatch.links.address import Address
from warmwatch.links.asking.request import Request
from warmwatch.links.can.asker import asking_steps
from warmwatch.links.trying.asker import Asker
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.links.trying.trial import listen
from warmwatch.signals import standard_table
from warmwatch.signals.answers import split_records

TRY_POLLS_S = 5.0
_VOLTAGE_PID = 0x42


def try_address(address: Address) -> Iterator[Step]:
    """Yield what a survey of the bus and TRY_POLLS_S of polling show; raises UsageError only."""
    failed = False
    try:
        asking = asking_steps(address)
        try:
            while True:
                step = next(asking)
                failed = step.state is StepState.FAILED
                yield step
        except StopIteration as end:
            asker: Asker = end.value
    except LinkError as error:
        if not failed:
            yield Step("interface opened", StepState.FAILED, str(error), _advice(address))
        return
    try:
        yield _offer(asker)
        yield _voltage(asker)
    except LinkError as error:
        yield Step("link", StepState.FAILED, str(error))
    finally:
        asker.close()
    yield from listen(address, TRY_POLLS_S)


def _offer(asker: Asker) -> Step:
    pids = {pid for offer in asker.offers.values() for pid in offer.pids}
    names = [signal.name for signal in standard_table() if signal.identifier in pids]
    state = StepState.OK if names else StepState.UNKNOWN
    return Step("standard signals", state, ", ".join(names) or "none on offer")


def _advice(address: Address) -> str:
    """Say which channels python-can finds, where the interface can tell."""
    import can

    interface = address.options["interface"]
    try:
        found = can.detect_available_configs(interface)
    except Exception:  # a driver that is missing may fail in any way
        found = []
    names = ", ".join(str(config.get("channel")) for config in found)
    return f"interface={interface} finds {names}" if names else ""


def _voltage(asker: Asker) -> Step:
    """Ask the first unit that offers its voltage, on whichever service it offers it."""
    name = "voltage at the unit"
    for unit, offer in sorted(asker.offers.items(), key=lambda pair: pair[0]):
        if _VOLTAGE_PID not in offer.pids:
            continue
        identifier = offer.identifier(_VOLTAGE_PID)
        request = Request(offer.service, (identifier,), unit)
        payload = asker.ask(request).answers.get(unit, b"")
        try:
            record = split_records(payload, offer.service, request.width, {identifier: 2})
        except ValueError:
            return Step(name, StepState.UNKNOWN, "its answer cannot be read")
        return Step(name, StepState.OK, f"{int.from_bytes(record[identifier], 'big') / 1000:.1f} V")
    return Step(name, StepState.UNKNOWN, "no unit offers it")
