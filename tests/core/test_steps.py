"""The steps of a visit, from marks and phases alone."""

import pytest

from warmwatch.core.alarm import AlarmCode
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.core.steps import Step
from warmwatch.core.watch import Watch

M = MarkName
DRAINING = Job(Band(80.0, 90.0), drain_band=Band(40.0, 60.0))


class Visit:
    def __init__(self, job: Job) -> None:
        self.watch = Watch(job)
        self.now_s = 0.0

    def read(self, fluid_c: float, seconds: int = 8, rpm: float = 760.0, kmh: float = 0.0) -> Step:
        for _ in range(seconds):
            self.now_s += 1.0
            values = {"fluid_c": fluid_c, "engine_rpm": rpm, "speed_kmh": kmh}
            self.watch.step(Reading(self.now_s, values))
        return self.watch.visit_step

    def mark(self, name: MarkName, note: str = "") -> Step:
        self.now_s += 0.1
        self.watch.step(Mark(self.now_s, name, note))
        return self.watch.visit_step

    def warm(self, from_c: float, to_c: float, kmh: float = 0.0) -> Step:
        fluid_c = from_c
        while fluid_c < to_c:
            fluid_c += 0.5
            self.read(fluid_c, 1, 1500.0 if kmh else 760.0, kmh)
        return self.watch.visit_step


def test_a_whole_visit_goes_through_its_steps() -> None:
    """Warm to drain, drain, fill, road test, warm up, check, top up, check again, done."""
    visit = Visit(Job(Band(80.0, 90.0), drain_band=Band(40.0, 60.0)))
    assert visit.read(30.0) is Step.WARM_TO_DRAIN
    visit.warm(30.0, 45.0)
    assert visit.read(45.0) is Step.DRAIN
    assert visit.mark(M.DRAINED, "4 L 45 C") is Step.FILL
    assert visit.mark(M.FILLED, "3.9 L 20 C") is Step.ROAD_TEST
    assert visit.warm(45.0, 78.0, kmh=50.0) is Step.WARM_UP
    visit.warm(78.0, 82.0)
    assert visit.read(82.0) is Step.OPEN_PLUG
    assert visit.mark(M.PLUG_OUT) is Step.CHECK
    visit.mark(M.NO_DRIP)
    assert visit.mark(M.PLUG_IN) is Step.TOP_UP
    assert visit.mark(M.TOPPED_UP, "0.3 L") is Step.OPEN_PLUG
    visit.mark(M.PLUG_OUT)
    visit.mark(M.DRIP)
    assert visit.mark(M.PLUG_IN) is Step.SET_LEVEL
    assert visit.mark(M.LEVEL_SET) is Step.DONE


def test_a_check_alone_has_only_its_own_steps() -> None:
    """Without draining it is warming up, or cooling down, and the check."""
    visit = Visit(Job(Band(35.0, 45.0)))
    assert visit.read(80.0) is Step.COOL_DOWN
    cold = Visit(Job(Band(80.0, 90.0)))
    assert cold.read(20.0) is Step.WARM_UP
    assert cold.watch.visit_step is Step.WARM_UP


def test_the_band_reached_without_a_road_test_is_not_held_up() -> None:
    """A step is told, never forced: in the band the plug may come out, driven or not."""
    visit = Visit(Job(Band(80.0, 90.0)))
    visit.read(60.0)
    visit.mark(M.DRAINED, "4 L 60 C")
    assert visit.mark(M.FILLED, "4 L 20 C") is Step.ROAD_TEST
    visit.warm(60.0, 82.0)
    assert visit.read(82.0) is Step.OPEN_PLUG


@pytest.mark.parametrize(("seconds", "told"), [(59, Step.ROAD_TEST), (60, Step.WARM_UP)])
def test_a_minute_of_driving_is_the_road_test(seconds: int, told: Step) -> None:
    """The step says that it waits for a minute of driving; what was driven before is no part."""
    visit = Visit(Job(Band(80.0, 90.0)))
    visit.read(60.0, 90, 1500.0, 50.0)
    visit.read(60.0)
    visit.mark(M.DRAINED, "4 L 60 C")
    visit.mark(M.FILLED, "4 L 20 C")
    assert visit.read(60.0, seconds, 1500.0, 50.0) is told


def test_silence_is_not_counted_as_driving() -> None:
    """A gap of a minute while driving counts for five seconds of it at most (ours)."""
    visit = Visit(Job(Band(80.0, 90.0)))
    visit.read(60.0)
    visit.mark(M.FILLED, "4 L 20 C")
    visit.read(60.0, 50, 1500.0, 50.0)
    visit.now_s += 60.0
    assert visit.read(60.0, 1, 1500.0, 50.0) is Step.ROAD_TEST
    assert visit.read(60.0, 4, 1500.0, 50.0) is Step.ROAD_TEST
    assert visit.read(60.0, 1, 1500.0, 50.0) is Step.WARM_UP


def test_topped_up_before_the_plug_went_in_belongs_to_that_check() -> None:
    """Of two marks of one moment the order counts."""
    visit = Visit(Job(Band(80.0, 90.0)))
    visit.read(85.0)
    visit.mark(M.PLUG_OUT)
    visit.mark(M.NO_DRIP)
    visit.now_s += 1.0
    for name in (M.TOPPED_UP, M.PLUG_IN):
        visit.watch.step(Mark(visit.now_s, name, "0.2 L" if name is M.TOPPED_UP else ""))
    assert visit.watch.visit_step is Step.TOP_UP


def test_without_a_range_for_draining_an_open_plug_is_a_check() -> None:
    """However cold: nobody said that it was to be drained warm."""
    visit = Visit(Job(Band(80.0, 90.0)))
    visit.read(50.0)
    assert visit.mark(M.PLUG_OUT) is Step.CHECK


def test_once_drained_an_open_plug_is_a_check() -> None:
    """Also while the fluid is still within the range for draining."""
    visit = Visit(DRAINING)
    visit.read(45.0)
    visit.mark(M.DRAINED, "4 L 45 C")
    assert visit.mark(M.PLUG_OUT) is Step.CHECK


def test_a_mark_taken_back_takes_its_step_back() -> None:
    """Filled by mistake: it is still to be filled."""
    visit = Visit(Job(Band(80.0, 90.0)))
    visit.read(60.0)
    visit.mark(M.DRAINED, "4 L 60 C")
    visit.mark(M.FILLED, "4 L 20 C")
    assert visit.mark(M.WITHDRAW) is Step.FILL
    assert visit.mark(M.WITHDRAW) is Step.WARM_UP


def test_topped_up_after_done_means_check_again() -> None:
    """What changes the amount of fluid makes the last check one of before."""
    visit = Visit(Job(Band(80.0, 90.0)))
    visit.read(85.0)
    for name in (M.PLUG_OUT, M.DRIP, M.PLUG_IN):
        visit.mark(name)
    assert visit.mark(M.LEVEL_SET) is Step.DONE
    assert visit.mark(M.TOPPED_UP, "0.2 L") is Step.OPEN_PLUG


def test_a_plug_opened_to_drain_is_no_check() -> None:
    """Out while the fluid is in the range for draining: drain, close, and only then fill."""
    visit = Visit(DRAINING)
    visit.read(45.0)
    assert visit.mark(M.PLUG_OUT) is Step.DRAIN
    assert visit.mark(M.DRAINED, "4 L 45 C") is Step.CLOSE_DRAIN
    assert visit.mark(M.PLUG_IN) is Step.FILL


def test_too_hot_to_drain_is_let_cool() -> None:
    """Above the range nobody is told to drain."""
    assert Visit(DRAINING).read(70.0) is Step.COOL_TO_DRAIN


def test_in_the_band_it_is_a_check_drained_or_not() -> None:
    """What was not drained is not asked for in the band, nor after a check."""
    visit = Visit(DRAINING)
    assert visit.read(85.0) is Step.OPEN_PLUG
    for name in (M.PLUG_OUT, M.DRIP, M.PLUG_IN):
        visit.mark(name)
    assert visit.mark(M.LEVEL_SET) is Step.DONE
    assert visit.read(70.0, 30) is Step.DONE


def test_a_check_that_leaves_the_band_stays_a_check() -> None:
    """With the plug out above the band it insists, though a range for draining was given."""
    visit = Visit(DRAINING)
    visit.read(85.0)
    visit.mark(M.PLUG_OUT)
    visit.warm(85.0, 92.0)
    assert visit.read(92.0, 10) is Step.CHECK
    assert visit.watch.alarm.stands(AlarmCode.LEFT_HIGH)


def test_level_set_after_no_drip_is_not_done() -> None:
    """What was told of the plug last speaks against it: it is still to be topped up."""
    visit = Visit(Job(Band(80.0, 90.0)))
    visit.read(85.0)
    for name in (M.PLUG_OUT, M.NO_DRIP, M.PLUG_IN):
        visit.mark(name)
    assert visit.mark(M.LEVEL_SET) is Step.TOP_UP


def test_a_check_shows_that_it_was_filled() -> None:
    """Nobody marked the filling: after a check with a drip it is not asked for any more."""
    visit = Visit(Job(Band(80.0, 90.0)))
    visit.read(60.0)
    assert visit.mark(M.DRAINED, "4 L 60 C") is Step.FILL
    visit.warm(60.0, 85.0)
    visit.read(85.0)
    for name in (M.PLUG_OUT, M.DRIP, M.PLUG_IN):
        visit.mark(name)
    assert visit.mark(M.LEVEL_SET) is Step.DONE


def test_a_plug_that_was_opened_and_told_nothing_does_not_end_the_draining() -> None:
    """Opened and closed in the cold without a word of what ran out: it is still to be drained."""
    visit = Visit(Job(Band(80.0, 90.0), drain_band=Band(40.0, 60.0)))
    visit.read(30.0)
    visit.mark(M.PLUG_OUT)
    visit.mark(M.PLUG_IN)
    assert visit.read(30.0) is Step.WARM_TO_DRAIN
    visit.mark(M.PLUG_OUT)
    visit.mark(M.DRIP)
    visit.mark(M.PLUG_IN)
    assert visit.read(30.0) is not Step.WARM_TO_DRAIN
