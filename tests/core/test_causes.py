"""What insists, from the state of the whole watch: the table "What insists" of docs/watch.md."""

from typing import Any

import pytest

from warmwatch.core.alarm import AlarmCode
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Mark, MarkName, Reading, Tick
from warmwatch.core.watch import Watch

BAND = Band(80.0, 90.0)
IDLE = {"engine_rpm": 760.0, "speed_kmh": 0.0}
M = MarkName


class Shop:
    """A watch and its clock."""

    def __init__(self, **job: Any) -> None:
        self.watch = Watch(Job(BAND, **job), ahead=False)
        self.now_s = 0.0

    def read(self, fluid_c: float, seconds: int, **more: float) -> "Shop":
        for _ in range(seconds):
            self.now_s += 1.0
            self.watch.step(Reading(self.now_s, {"fluid_c": fluid_c, **IDLE, **more}))
        return self

    def mark(self, *names: MarkName, note: str = "") -> "Shop":
        for name in names:
            self.watch.step(Mark(self.now_s, name, note))
        return self

    @property
    def codes(self) -> set[AlarmCode]:
        return {one.code for one in self.watch.alarm.standing}


def test_a_hot_fluid_insists_as_long_as_it_is_seen() -> None:
    """Blind, nobody knows how hot it is: what insists then is that, and not an old heat."""
    shop = Shop().read(112.0, 5)
    assert shop.codes == {AlarmCode.TOO_HOT}
    shop.watch.step(Tick(shop.now_s + 5.0))
    assert shop.codes == {AlarmCode.BLIND}


def test_a_hot_engine_insists_until_its_temperature_is_old() -> None:
    """A coolant temperature of half a minute ago says nothing about now (core/heat.py; ours)."""
    shop = Shop().read(40.0, 3, coolant_c=118.0)
    assert shop.read(40.0, 30).codes == {AlarmCode.TOO_HOT}
    assert shop.read(40.0, 1).codes == set()


def test_an_open_plug_is_asked_about_after_four_minutes_without_a_mark() -> None:
    """At four minutes sharp, with the time since plug out; any mark puts it off by four more."""
    shop = Shop().read(85.0, 100).mark(M.PLUG_OUT)
    assert shop.read(85.0, 239).codes == set()
    (standing,) = shop.read(85.0, 1).watch.alarm.standing
    assert standing.code is AlarmCode.PLUG_OPEN
    assert [str(reason) for reason in standing.reasons] == ["plug-out-long out_s=240"]
    shop.mark(M.NOTE)
    assert shop.read(85.0, 239).codes == set()
    (standing,) = shop.read(85.0, 1).watch.alarm.standing
    assert [str(reason) for reason in standing.reasons] == ["plug-out-long out_s=480"]


def test_a_hold_over_its_limit_insists_until_it_ends() -> None:
    """Five seconds by default (common practice, no source)."""
    shop = Shop().read(60.0, 10)
    held = {"engine_rpm": 2200.0, "speed_kmh": 0.0}
    for second in range(8):
        shop.now_s += 1.0
        shop.watch.step(Reading(shop.now_s, {"fluid_c": 60.0, **held}))
        assert (AlarmCode.HOLD_LIMIT in shop.codes) is (second >= 5)
    assert shop.read(60.0, 4).codes == set()


@pytest.mark.parametrize(
    ("fluid_c", "code"), [(79.0, AlarmCode.LEFT_LOW), (91.0, AlarmCode.LEFT_HIGH)]
)
def test_outside_the_band_insists_with_the_plug_out_alone(fluid_c: float, code: AlarmCode) -> None:
    """Only while the plug is out for a check."""
    shop = Shop().read(85.0, 100).read(fluid_c, 100)
    assert shop.codes == set()
    assert shop.mark(M.PLUG_OUT).read(fluid_c, 1).codes == {code}
    assert shop.mark(M.PLUG_IN).read(fluid_c, 1).codes == set()


def test_a_plug_out_for_draining_insists_once_the_engine_runs() -> None:
    """After `drained` the engine would pump out what is left; standing still it may stay open."""
    shop = Shop().read(50.0, 10).mark(M.PLUG_OUT)
    shop.mark(M.DRAINED, note="4 L 50 C")
    (standing,) = shop.read(50.0, 1).watch.alarm.standing
    assert [reason.code for reason in standing.reasons] == ["plug-out-engine-runs"]
    assert shop.read(50.0, 300, engine_rpm=0.0).codes == set()


def test_without_a_range_for_draining_an_open_plug_is_a_check() -> None:
    """Below the band it insists at once; within a range for draining it does not, until drained."""
    assert Shop().read(50.0, 10).mark(M.PLUG_OUT).read(50.0, 2).codes >= {AlarmCode.LEFT_LOW}
    shop = Shop(drain_band=Band(40.0, 60.0)).read(50.0, 10)
    assert shop.mark(M.PLUG_OUT).read(50.0, 300).codes == set()
    shop.mark(M.DRAINED, note="4 L 50 C").mark(M.PLUG_IN, M.PLUG_OUT)
    assert shop.read(50.0, 2).codes >= {AlarmCode.LEFT_LOW}
