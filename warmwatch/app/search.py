"""Searches a unit's identifiers of service 22 (or 21) for those that answer, and watches them.

Gentle: it only reads, one request at a time and no faster than asked for, and it stops at the first
sign of trouble. In between it asks for known values, to see that the vehicle is still well.
"""

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from warmwatch.analysis.finding.candidate import Sample, Surroundings
from warmwatch.errors import LinkLost, WarmwatchError
from warmwatch.links.asking.request import Request, RequestOutcome
from warmwatch.links.asking.units import Unit
from warmwatch.links.trying.asker import Asker
from warmwatch.signals import Signal, decode, standard_table, uds
from warmwatch.signals.answers import Conduct, split_records

CHECK_EVERY = 16
"""After so many identifiers the vehicle's own values are looked at."""
DROP_STILL_AFTER = 0.3
"""Records that have not changed in this share of the watch are no longer asked for."""
LOW_VOLTS = 11.8
SILENT_IN_A_ROW = 3
"""So many times nothing, from a unit that refuses what it does not know, is no accident."""
START_S = 20.0
"""Watching bears low voltage and silence for so long: the starter turns, and units restart."""
_CALM = (Conduct.STOP_IDENTIFIER, Conduct.LATER, Conduct.FEWER, Conduct.WAIT)

Reopen = Callable[[LinkLost], Asker]
"""Opens a lost link again, with patience, or raises a LinkError."""


def _not_again(error: LinkLost) -> Asker:
    raise error


class SearchStopped(WarmwatchError):
    """The search saw something that it should not go on after."""


@dataclass(slots=True)
class Found:
    """What a search gathered: the samples of each identifier, and what else the vehicle said."""

    samples: dict[int, list[Sample]] = field(default_factory=dict)
    coolant: list[tuple[float, float]] = field(default_factory=list)
    air_c: list[float] = field(default_factory=list)

    @property
    def surroundings(self) -> Surroundings:
        return Surroundings(tuple(self.coolant), tuple(self.air_c))


class Search:
    """One unit's identifiers. `rate` is the most requests a second.

    `reopen` is tried when the link is lost while watching: an adapter may restart as the starter
    turns. Whoever made the search closes `asker`, which may be another one by then.
    """

    def __init__(
        self,
        asker: Asker,
        unit: Unit,
        rate: float,
        now_s: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
        reopen: Reopen = _not_again,
        service: int = uds.SERVICE,
    ) -> None:
        self._service = service
        self.asker = asker
        self._reopen = reopen
        self._unit = unit
        self._pause_s = 1.0 / rate
        self._now_s = now_s
        self._sleep = sleep
        self._began_s = now_s()
        self._next_s = self._began_s
        self._standing = _offered(asker)
        self._heard_once: set[str] = set()
        self._well_s: dict[str, float] = {}
        self._refuses, self._silences = False, 0
        self._watching = False
        self.spoken = False
        self.found = Found()

    def sweep(self, identifiers: Sequence[int]) -> Iterator[tuple[int, int]]:
        """Ask each identifier once; yield (asked, answered) as it goes. Raises SearchStopped."""
        self._look_at_vehicle(standing=True)
        for asked, identifier in enumerate(identifiers, start=1):
            self._read(identifier)
            if asked % CHECK_EVERY == 0:
                self._look_at_vehicle(standing=True)
            yield asked, len(self.found.samples)

    def watch(self, seconds: float) -> Iterator[float]:
        """Read what answered again and again; yield the share of time gone. May be left early."""
        began_s = self._now_s()
        self._watching = True
        while (gone := (self._now_s() - began_s) / seconds) < 1.0:
            try:
                self._look_at_vehicle(standing=False)
                for identifier in list(self.found.samples):
                    self._read(identifier)
            except LinkLost as error:
                self.asker.close()
                self.asker = self._reopen(error)
                self._well_s.clear()
                continue
            if gone > DROP_STILL_AFTER:
                self._drop_still()
            yield gone
            if not self.found.samples:
                return  # nothing moves: waiting longer shows nothing

    def _read(self, identifier: int) -> None:
        request = Request(self._service, (identifier,), self._unit)
        outcome = self._ask(request)
        self._mind_silence(outcome)
        for payload in outcome.answers.values():
            try:
                lengths = {identifier: None}
                record = split_records(payload, self._service, request.width, lengths)[identifier]
            except (ValueError, KeyError):
                continue  # a broken answer is one sample less
            sample = Sample(self._now_s() - self._began_s, record)
            self.found.samples.setdefault(identifier, []).append(sample)

    def _mind_silence(self, outcome: RequestOutcome) -> None:
        """Stop when the searched unit spoke before and no longer does."""
        if outcome.silent:
            self._silences += 1
            mute = self._refuses and self._silences >= SILENT_IN_A_ROW
            if (mute or self._watching) and not self._bears("its answers"):
                raise SearchStopped(f"Stopped: {self._unit.label} no longer answers.")
            return
        self._silences, self.spoken = 0, True
        self._refuses = self._refuses or bool(outcome.refusals)
        self._well_s["its answers"] = self._now_s()

    def _bears(self, what: str) -> bool:
        """True while watching, for START_S after `what` was last well."""
        last_s = self._well_s.setdefault(what, self._now_s())
        return self._watching and self._now_s() - last_s <= START_S

    def _ask(self, request: Request) -> RequestOutcome:
        self._sleep(max(0.0, self._next_s - self._now_s()))
        self._next_s = self._now_s() + self._pause_s
        outcome = self.asker.ask(request)
        calm = (*_CALM, Conduct.REPEAT) if self._watching else _CALM
        for unit, refusal in outcome.refusals.items():
            if not outcome.answers and refusal.conduct not in calm:
                raise SearchStopped(f"Stopped: {unit.label} says {refusal.words}.")
        return outcome

    def _look_at_vehicle(self, *, standing: bool) -> None:
        at_s = self._now_s() - self._began_s
        for signal, unit in self._standing:
            value = self._value(signal, unit)
            if value is None:
                silent = signal.name in self._heard_once and signal.name == "engine_rpm"
                if silent and not self._bears(signal.name):
                    raise SearchStopped(f"Stopped: {unit.label} no longer answers.")
                continue
            self._heard_once.add(signal.name)
            self._note(signal.name, value, at_s, standing)

    def _note(self, name: str, value: float, at_s: float, standing: bool) -> None:
        if name == "coolant_c":
            self.found.coolant.append((at_s, value))
        elif name in ("ambient_c", "intake_c"):
            if len(self.found.air_c) < 2:
                self.found.air_c.append(value)
        elif name == "speed_kmh" and value > 0 and standing:
            raise SearchStopped("Stopped: the vehicle moves; search while it stands.")
        elif name == "voltage_v" and value < LOW_VOLTS:
            if not self._bears(name):
                raise SearchStopped(f"Stopped: {value:.1f} V is low; connect a charger first.")
            return
        self._well_s[name] = self._now_s()

    def _value(self, signal: Signal, unit: Unit) -> float | None:
        width = 2 if signal.service == uds.SERVICE else 1
        outcome = self._ask(Request(signal.service, (signal.identifier,), unit))
        lengths = {signal.identifier: signal.record_length}
        for payload in outcome.answers.values():
            try:
                record = split_records(payload, signal.service, width, lengths)[signal.identifier]
            except (ValueError, KeyError):
                continue
            decoded = decode(signal, record)
            return decoded.value if not decoded.doubt else None
        return None

    def _drop_still(self) -> None:
        for identifier, samples in list(self.found.samples.items()):
            if len(samples) > 3 and len({sample.record for sample in samples}) == 1:
                del self.found.samples[identifier]


def _offered(asker: Asker) -> list[tuple[Signal, Unit]]:
    """Return the standing values to look at, and who offers them."""
    wanted = ("engine_rpm", "speed_kmh", "voltage_v", "coolant_c", "ambient_c", "intake_c")
    found: list[tuple[Signal, Unit]] = []
    for signal in standard_table():
        if signal.name not in wanted:
            continue
        for unit, offer in sorted(asker.offers.items(), key=lambda pair: pair[0]):
            if signal.identifier in offer.pids:
                identifier = offer.identifier(signal.identifier)
                found.append((replace(signal, service=offer.service, identifier=identifier), unit))
                break
    return found


def unit_to_search(asker: Asker, target: int | None) -> Unit | None:
    """Return the unit asked at `target`, or the likeliest one: the second that answers.

    Where several units answer, the engine's has the lowest identifier and the gearbox's is often
    the next (common practice, no source).
    """
    if target is not None:
        return asker.unit_at(target)
    units: Iterable[Unit] = asker.units[1:2] or asker.units[:1]
    return next(iter(units), None)
