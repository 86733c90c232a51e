"""Marks that may be taken back, marks that do not fit, and what is answered at once."""

from collections.abc import Iterable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from warmwatch.core.alarm import AlarmCode, Plug
from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.level.check import Check, Outcome, outcome
from warmwatch.core.level.drip import FLOWS
from warmwatch.core.level.ledger import FluidData
from warmwatch.core.level.marks import standing_marks
from warmwatch.core.reading import Item, Mark, MarkName, Reading, mark_of_note
from warmwatch.core.watch import Watch

BAND = Band(80.0, 90.0)
IDLE = {"engine_rpm": 760.0, "speed_kmh": 0.0}
M = MarkName


class Visit:
    """A watch in the band, fed with marks."""

    def __init__(self, fluid_c: float = 85.0) -> None:
        self.watch = Watch(Job(BAND))
        self.now_s = 0.0
        self.read(fluid_c, 100)

    def read(self, fluid_c: float, seconds: int = 3) -> "Visit":
        for _ in range(seconds):
            self.now_s += 1.0
            self.step(Reading(self.now_s, {"fluid_c": fluid_c, **IDLE}))
        return self

    def mark(self, *names: MarkName, note: str = "") -> list[str]:
        """Return what is answered: questions and what was understood."""
        told: list[str] = []
        for name in names:
            self.now_s += 0.1
            told += self.step(Mark(self.now_s, name, note))
        return told

    def step(self, item: Item) -> list[str]:
        kinds = (EventKind.ASKED, EventKind.NOTED)
        results = self.watch.step(item)
        events = [r for r in results if isinstance(r, Event) and r.kind in kinds]
        return [reason.code for event in events for reason in event.reasons]

    @property
    def check(self) -> Check:
        return self.watch.checks[-1]


@pytest.mark.parametrize(
    ("marks", "asked"),
    [
        ([M.DRIP], ["no-plug-out"]),
        ([M.STREAM], ["no-plug-out"]),
        ([M.PLUG_IN], ["no-plug-out"]),
        ([M.PLUG_OUT, M.PLUG_OUT], ["plug-out-twice"]),
        ([M.PLUG_OUT, M.PLUG_IN, M.PLUG_IN], ["plug-in-twice"]),
        ([M.PLUG_OUT, M.LEVEL_SET], ["close-then-plug-in"]),
        ([M.LEVEL_SET], ["no-check"]),
        ([M.PLUG_OUT, M.RESTING], ["rest-plug-out"]),
        ([M.WITHDRAW], ["nothing-to-take-back"]),
        ([M.DRAINED], ["no-amount"]),
        ([M.PLUG_OUT, M.NO_DRIP, M.PLUG_IN, M.LEVEL_SET], ["set-after-no-drip"]),
        ([M.PLUG_OUT, M.STREAM, M.PLUG_IN, M.LEVEL_SET], ["set-after-stream"]),
        ([M.PLUG_OUT, M.DRIP, M.PLUG_IN, M.LEVEL_SET], []),
    ],
)
def test_a_mark_that_does_not_fit_is_asked_about_at_once(
    marks: list[MarkName], asked: list[str]
) -> None:
    """And one that fits is not."""
    assert Visit().mark(*marks) == asked


@pytest.mark.parametrize(
    ("capacity_l", "note", "asked"),
    [
        (8.5, "45 L 50 C", ["amount-too-large"]),
        (8.5, "8 L 50 C", []),
        (None, "45 L 50 C", []),
        (None, "70 L 50 C", ["amount-too-large"]),
        (8.5, "45 4/0 qt", ["no-amount"]),
    ],
)
def test_an_amount_that_nothing_holds_is_asked_about(
    capacity_l: float | None, note: str, asked: list[str]
) -> None:
    """A slip of the finger is more than all the fluid; without that figure, more than 60 L."""
    visit = Visit()
    visit.watch = Watch(Job(BAND, fluid=FluidData(capacity_l)))
    assert visit.mark(M.DRAINED, note=note) == asked


def test_only_plug_in_closes_the_plug() -> None:
    """Level set, drained and notes leave it open, and what stands open insists."""
    visit = Visit()
    visit.mark(M.PLUG_OUT, M.DRIP, M.LEVEL_SET, M.NOTE)
    visit.read(85.0)
    assert visit.watch.alarm.plug is Plug.OUT
    assert visit.watch.alarm.stands(AlarmCode.PLUG_OPEN)
    visit.mark(M.DRAINED, note="4 L 85 C")
    assert visit.watch.alarm.plug is Plug.OUT
    visit.mark(M.PLUG_IN)
    alarm = visit.watch.alarm
    assert (alarm.plug, alarm.standing) == (Plug.IN, ())


def test_a_note_that_begins_with_drained_cancels_nothing() -> None:
    """Nor does the mark without an amount, once it was told what runs out."""
    visit = Visit()
    visit.mark(M.PLUG_OUT, M.DRIP)
    name, note = mark_of_note("drained more than last time")
    visit.mark(name, note=note)
    assert visit.mark(M.DRAINED, note="a lot") == ["no-amount"]
    visit.read(86.0).mark(M.PLUG_IN, M.LEVEL_SET)
    assert outcome(visit.check, BAND) is Outcome.SET_INSIDE


@pytest.mark.parametrize("wrong", [M.PLUG_IN, M.LEVEL_SET, M.DRIP, M.STREAM, M.NOTE])
def test_a_wrong_mark_taken_back_leaves_no_trace(wrong: MarkName) -> None:
    """The check goes on as if it had never been set, and readings meanwhile count."""
    visits = []
    for slip in (True, False):
        visit = Visit()
        visit.mark(M.PLUG_OUT, M.NO_DRIP)
        if slip:
            visit.mark(wrong)
        else:
            visit.now_s += 0.1
        visit.read(91.0)
        if slip:
            assert visit.mark(M.WITHDRAW) == [f"taken-back-{wrong}"]
        else:
            visit.now_s += 0.1
        visit.read(86.0).mark(M.PLUG_IN)
        visits.append(visit.check)
    with_slip, without = visits
    assert with_slip.max_c == 91.0
    assert (with_slip.flow, with_slip.set_s) == (without.flow, without.set_s)
    assert (with_slip.min_c, with_slip.lost) == (without.min_c, without.lost)
    assert with_slip.conditions == without.conditions


def test_a_plug_out_taken_back_is_no_check() -> None:
    """A slip of the finger needs no plug in afterwards."""
    visit = Visit()
    visit.mark(M.PLUG_OUT)
    visit.read(85.0)
    visit.mark(M.WITHDRAW)
    assert visit.watch.checks == ()
    assert visit.watch.alarm.plug is Plug.UNKNOWN


def test_several_are_taken_back_one_after_the_other() -> None:
    """The last that stands goes first; what was only heard is not in the way."""
    visit = Visit()
    visit.mark(M.PLUG_OUT, M.DRIP, M.PLUG_IN, M.ACKNOWLEDGE)
    told = visit.mark(M.WITHDRAW, M.WITHDRAW, M.WITHDRAW, M.WITHDRAW)
    assert told[:3] == ["taken-back-plug-in", "taken-back-drip", "taken-back-plug-out"]
    assert told[3] == "nothing-to-take-back"


def test_what_was_told_of_the_vehicle_can_be_taken_back() -> None:
    """In park, cycled and each tilt return to what they were before."""
    visit = Visit()
    visit.mark(M.IN_PARK, M.SELECTOR_CYCLED)
    visit.mark(M.VEHICLE_LEVEL, note="0.3 lengthwise")
    assert visit.mark(M.VEHICLE_LEVEL, note="1.9 crosswise") == ["not-level"]
    codes = {str(c.name): c.reason.code for c in visit.watch.snapshot().conditions}
    assert codes["vehicle-level"] == "not-level"
    visit.mark(M.WITHDRAW)
    codes = {str(c.name): c.reason.code for c in visit.watch.snapshot().conditions}
    assert codes["vehicle-level"] == "tilt-measured"
    visit.mark(M.WITHDRAW, M.WITHDRAW, M.WITHDRAW)
    codes = {str(c.name): c.reason.code for c in visit.watch.snapshot().conditions}
    assert codes["vehicle-level"] == "level-not-told"
    assert codes["selector-cycled"] == "cycled-not-told"
    assert codes["selector-in-park"] == "park-not-told"


def test_what_a_drive_took_back_does_not_come_again() -> None:
    """Told twice, driven, taken back: still not known."""
    visit = Visit()
    visit.mark(M.SELECTOR_CYCLED, M.SELECTOR_CYCLED)
    for _ in range(10):
        visit.now_s += 1.0
        visit.step(Reading(visit.now_s, {"fluid_c": 85.0, "engine_rpm": 1500, "speed_kmh": 40}))
    visit.mark(M.WITHDRAW)
    codes = {str(c.name): c.reason.code for c in visit.watch.snapshot().conditions}
    assert codes["selector-cycled"] == "driving-since-cycled-told"


NAMES = st.sampled_from([*FLOWS, M.PLUG_OUT, M.PLUG_IN, M.LEVEL_SET, M.WITHDRAW, M.NOTE])


@pytest.mark.slow
@settings(max_examples=40)
@given(st.lists(NAMES, max_size=30))
def test_taking_back_is_the_same_as_never_having_marked(names: list[MarkName]) -> None:
    """Whatever is marked and taken back, plug and outcome are those of the marks that stand."""
    visit = Visit()
    visit.mark(*names)
    marks = [Mark(0.0, name) for name in names]
    other = Visit()
    other.mark(*[mark.name for mark in standing_marks(marks)])
    assert visit.watch.alarm.plug is other.watch.alarm.plug
    assert outcomes(visit.watch.checks) == outcomes(other.watch.checks)


def outcomes(checks: Iterable[Check]) -> list[Outcome]:
    return [outcome(check, BAND) for check in checks]


@pytest.mark.slow
def test_memory_for_marks_is_bounded() -> None:
    """A thousand marks: the latest can be taken back, the oldest stay as they are."""
    visit = Visit()
    for _ in range(500):
        visit.mark(M.PLUG_OUT, M.PLUG_IN)
    told = [code for _ in range(200) for code in visit.mark(M.WITHDRAW)]
    assert told.count("nothing-to-take-back") == 100
    assert len(visit.watch.checks) == 20


def test_the_stream_and_the_first_drip_are_kept() -> None:
    """What was told last is the flow; that it streamed at all is not forgotten."""
    visit = Visit()
    visit.mark(M.PLUG_OUT)
    assert (visit.check.flow, visit.check.streamed, visit.check.drip_s) == (None, False, None)
    visit.mark(M.DRIP)
    first_s = visit.check.drip_s
    assert (visit.check.flow, visit.check.streamed) == (M.DRIP, False)
    visit.mark(M.STREAM)
    visit.mark(M.DRIP)
    check = visit.check
    assert (check.flow, check.streamed, check.drip_s) == (M.DRIP, True, first_s)


def test_doubtful_readings_of_a_check_are_counted_across_its_marks() -> None:
    """One before a mark and two after it are three, and none from before plug out."""
    visit = Visit()
    visit.read(-40.0, 2).read(85.0, 2).mark(M.PLUG_OUT)
    visit.read(-40.0, 1).read(85.0, 2).mark(M.NO_DRIP)
    visit.read(-40.0, 2).read(85.0, 2).mark(M.PLUG_IN)
    assert (visit.check.doubtful, visit.check.lost) == (3, False)


def test_each_check_says_what_is_wrong_anew() -> None:
    """A condition that was told in the first check is told again in the second."""
    visit, told = Visit(), []
    for _ in range(2):
        visit.mark(M.PLUG_OUT)
        for _ in range(4):
            visit.now_s += 1.0
            values = {"fluid_c": 85.0, "engine_rpm": 0.0, "speed_kmh": 0.0}
            results = visit.watch.step(Reading(visit.now_s, values))
            kinds = [r.kind for r in results if isinstance(r, Event)]
            told += [kind for kind in kinds if kind is EventKind.NOT_FIT]
        visit.mark(M.PLUG_IN)
    assert len(told) == 4  # the engine is off and has not idled long enough, twice


def test_what_was_changed_after_a_check_is_kept_with_it_once() -> None:
    """Topped up twice is one remark on the last check, and none on the one before."""
    visit = Visit()
    visit.mark(M.PLUG_OUT, M.PLUG_IN, M.PLUG_OUT, M.PLUG_IN)
    visit.mark(M.TOPPED_UP, M.TOPPED_UP, note="0.2 L")
    first, last = visit.watch.checks
    assert (first.after, last.after) == ((), (M.TOPPED_UP,))


def test_a_mark_given_as_text_is_the_mark() -> None:
    """`Mark(0.0, "plug-out")` means the plug is out; a name that is none is refused."""
    assert Mark(0.0, "plug-out").name is MarkName.PLUG_OUT  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="plug-off"):
        Mark(0.0, "plug-off")  # type: ignore[arg-type]
