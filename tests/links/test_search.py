"""The search for identifiers: gentle, read-only, and ended by the first sign of trouble."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import pytest

from warmwatch.app.search import (
    CHECK_EVERY,
    SILENT_IN_A_ROW,
    START_S,
    Search,
    SearchStopped,
    unit_to_search,
)
from warmwatch.errors import LinkLost
from warmwatch.links.asking.request import Request, RequestOutcome
from warmwatch.links.asking.survey import Offer
from warmwatch.links.asking.units import NORMAL, Unit
from warmwatch.signals.answers import Refusal

ENGINE, GEARBOX = Unit(0x7E8, 0x7E0), Unit(0x7E9, 0x7E1)


@dataclass
class Vehicle:
    """Answers as told, and keeps what it was asked and when."""

    speed: int = 0
    millivolts: int = 13800
    running: bool = True
    refusal: int = 0x31
    standard: bool = True
    mute: bool = False
    lost: bool = False
    records: dict[int, Callable[[float], bytes]] = field(default_factory=dict)
    now: float = 0.0
    asked: list[tuple[float, Request]] = field(default_factory=list)

    @property
    def units(self) -> list[Unit]:
        return [ENGINE, GEARBOX]

    @property
    def offers(self) -> Mapping[Unit, Offer]:
        if not self.standard:
            return {}
        return {ENGINE: Offer(0x01, frozenset({0x05, 0x0C, 0x0D, 0x42, 0x46}))}

    def unit_at(self, target: int) -> Unit:
        return NORMAL.unit_at(target)

    def ask(self, request: Request) -> RequestOutcome:
        self.asked.append((self.now, request))
        self.now += 0.05
        if self.lost:
            raise LinkLost("gone")
        if self.mute:
            return RequestOutcome({}, {})
        (identifier,) = request.identifiers
        if request.service == 0x01:
            return self._standing(identifier)
        if identifier in self.records:
            data = b"\x62" + identifier.to_bytes(2, "big") + self.records[identifier](self.now)
            return RequestOutcome({GEARBOX: data}, {})
        return RequestOutcome({}, {GEARBOX: Refusal(0x22, self.refusal)})

    def _standing(self, pid: int) -> RequestOutcome:
        records = {
            0x05: bytes([60]),
            0x0C: (780 * 4).to_bytes(2, "big"),
            0x0D: bytes([self.speed]),
            0x42: self.millivolts.to_bytes(2, "big"),
            0x46: bytes([58]),
        }
        return RequestOutcome(
            {ENGINE: bytes([0x41, pid]) + records[pid]} if self.running else {}, {}
        )

    def close(self) -> None:
        """Nothing to free."""

    def sleep(self, seconds: float) -> None:
        self.now += seconds


def search(vehicle: Vehicle, rate: float = 4.0) -> Search:
    return Search(vehicle, GEARBOX, rate, lambda: vehicle.now, vehicle.sleep)


def test_only_reads_and_never_faster_than_asked_for() -> None:
    """Services 01 and 22 alone, one identifier at a time, at least 1/rate apart."""
    vehicle = Vehicle(records={0x1003: lambda at_s: b"\x01"})
    list(search(vehicle).sweep(range(0x1000, 0x1020)))
    assert {request.service for _, request in vehicle.asked} == {0x01, 0x22}
    assert all(len(request.identifiers) == 1 for _, request in vehicle.asked)
    times = [at_s for at_s, _ in vehicle.asked]
    assert min(b - a for a, b in pairwise(times)) >= 0.25 - 1e-9


def test_what_answers_is_kept_with_what_surrounds_it() -> None:
    """Positive answers become samples; coolant and air are noted beside them."""
    vehicle = Vehicle(records={0x1003: lambda at_s: b"\x01\x02"})
    one = search(vehicle)
    assert list(one.sweep(range(0x1000, 0x1008)))[-1] == (8, 1)
    (sample,) = one.found.samples[0x1003]
    assert sample.record == b"\x01\x02"
    assert one.found.surroundings.references == [("the air", 18.0), ("the coolant's start", 20.0)]


@pytest.mark.parametrize(
    ("trouble", "words"),
    [
        (Vehicle(speed=5), "moves"),
        (Vehicle(millivolts=11500), "charger"),
        (Vehicle(refusal=0x11), "code 11"),
        (Vehicle(refusal=0x21), "busy"),
        (Vehicle(refusal=0x7F), "code 7F"),
    ],
    ids=["moving", "low voltage", "no such service", "busy", "session"],
)
def test_trouble_ends_the_sweep(trouble: Vehicle, words: str) -> None:
    """A moving vehicle, a weak battery, and any refusal that is not about the identifier."""
    with pytest.raises(SearchStopped, match=words):
        list(search(trouble).sweep(range(0x1000, 0x1100)))
    assert len(trouble.asked) < 10


def test_a_unit_that_falls_silent_ends_the_sweep() -> None:
    """When the engine's own values stop coming, nothing more is asked than up to the next look."""
    vehicle = Vehicle()
    sweep = search(vehicle).sweep(range(0x1000, 0x1100))
    for asked, _ in sweep:
        if asked == 20:
            break
    vehicle.running = False
    with pytest.raises(SearchStopped, match="no longer answers"):
        list(sweep)
    searched = [request for _, request in vehicle.asked if request.service == 0x22]
    assert len(searched) == 2 * CHECK_EVERY


def test_watching_drops_what_never_moves_and_keeps_what_does() -> None:
    """After a share of the time, records that stand still are no longer asked for."""
    vehicle = Vehicle(
        records={0x1003: lambda at_s: b"\x01", 0x1004: lambda at_s: bytes([int(at_s) % 256])}
    )
    one = search(vehicle, rate=10.0)
    list(one.sweep(range(0x1000, 0x1008)))
    list(one.watch(60.0))
    assert list(one.found.samples) == [0x1004]
    assert len(one.found.samples[0x1004]) > 20
    assert len(one.found.coolant) > 20


def test_watching_ends_when_nothing_moves() -> None:
    """Ten minutes of watching nothing are spared."""
    vehicle = Vehicle(records={0x1003: lambda at_s: b"\x01"})
    one = search(vehicle, rate=10.0)
    list(one.sweep(range(0x1000, 0x1008)))
    assert max(one.watch(600.0)) < 0.5
    assert one.found.samples == {}


def test_driving_is_no_trouble_while_watching() -> None:
    """A warm-up may be driven: only the sweep needs a standing vehicle."""
    vehicle = Vehicle(records={0x1004: lambda at_s: bytes([int(at_s) % 256])})
    one = search(vehicle, rate=10.0)
    list(one.sweep(range(0x1000, 0x1008)))
    vehicle.speed = 40
    list(one.watch(10.0))


def test_the_unit_to_search_is_the_named_one_or_the_second() -> None:
    """Named by its address, or else the one that is likely the gearbox."""
    assert unit_to_search(Vehicle(), 0x7E2) == Unit(0x7EA, 0x7E2)
    assert unit_to_search(Vehicle(), None) == GEARBOX


def test_a_starter_motor_does_not_end_the_watch_but_a_weak_battery_does() -> None:
    """Low voltage for some seconds is the start of the engine; for longer it is trouble."""
    vehicle = Vehicle(records={0x1004: lambda at_s: bytes([int(at_s) % 256])}, millivolts=12600)
    one = search(vehicle, rate=10.0)
    list(one.sweep(range(0x1000, 0x1008)))
    vehicle.millivolts, began_s = 9800, vehicle.now
    watching = one.watch(600.0)
    while vehicle.now < began_s + START_S / 2:
        next(watching)
    vehicle.millivolts, well_s = 13900, vehicle.now
    while vehicle.now < well_s + START_S:
        next(watching)
    vehicle.millivolts = 9800
    with pytest.raises(SearchStopped, match="charger"):
        list(watching)
    assert vehicle.now < well_s + 3 * START_S


def test_a_link_lost_by_the_start_of_the_engine_is_opened_again() -> None:
    """An adapter that restarts in the watch costs samples; in the sweep it ends the search."""
    first = Vehicle(records={0x1004: lambda at_s: bytes([int(at_s) % 256])})
    second = Vehicle(records=first.records)
    told: list[str] = []

    def reopen(lost: LinkLost) -> Vehicle:
        told.append(str(lost))
        second.now = first.now + 5.0
        return second

    one = Search(
        first, GEARBOX, 10.0, lambda: max(first.now, second.now), first.sleep, reopen=reopen
    )
    list(one.sweep(range(0x1000, 0x1008)))
    first.lost = True
    with pytest.raises(LinkLost):
        list(Search(first, GEARBOX, 10.0, lambda: first.now, first.sleep).sweep(range(1, 9)))
    watching = one.watch(600.0)
    next(watching)
    assert (told, one.asker) == (["gone"], second)
    assert len(one.found.samples[0x1004]) == 2


def test_a_searched_unit_that_falls_silent_ends_the_search() -> None:
    """Who refused what it does not know and then says nothing is gone, engine or no engine."""
    vehicle = Vehicle(records={0x1000: lambda at_s: b"\x01"}, standard=False)
    sweep = search(vehicle).sweep(range(0x1000, 0x1100))
    for asked, _ in sweep:
        if asked == 20:
            break
    vehicle.mute = True
    with pytest.raises(SearchStopped, match="7E9 no longer answers"):
        list(sweep)
    assert len(vehicle.asked) == 20 + SILENT_IN_A_ROW


def test_a_watched_unit_that_stays_silent_ends_the_watch() -> None:
    """Without the standard's values the searched unit itself tells that the ignition is off."""
    vehicle = Vehicle(records={0x1004: lambda at_s: bytes([int(at_s) % 256])}, standard=False)
    one = search(vehicle, rate=10.0)
    list(one.sweep(range(0x1000, 0x1008)))
    watching = one.watch(600.0)
    next(watching)
    vehicle.mute, muted_s = True, vehicle.now
    with pytest.raises(SearchStopped, match="7E9 no longer answers"):
        list(watching)
    assert START_S < vehicle.now - muted_s < START_S + 2.0
