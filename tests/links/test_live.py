"""What every live link does with the times of its readings."""

import itertools

from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.core.watch import Watch
from warmwatch.links.live import BACKOFF_S, LiveLink, MarkLine, Polled, Values

TICK_S = 1.0 / 64.0  # the step of the system clock on one desktop system; from memory


class CoarseClock:
    """Stands still at a whole multiple of TICK_S."""

    def elapsed_s(self) -> float:
        return 640 * TICK_S

    def utc_s(self) -> float:
        return 1_780_000_000.0

    def wait(self, seconds: float) -> None:
        """Not needed here."""


class Burst:
    """Fifteen lines and a mark that arrive together, and the end."""

    def __init__(self) -> None:
        self._left: list[Polled] = [Values({"fluid_c": 50.0}) for _ in range(15)]
        self._left.append(MarkLine(MarkName.PLUG_OUT))

    def poll(self) -> list[Polled]:
        if not self._left:
            raise EOFError
        polled, self._left = self._left, []
        return polled

    def close(self) -> None:
        """Nothing to free."""


def test_lines_that_arrive_together_keep_their_order_in_time() -> None:
    """A clock that stands still gives stamps that still run forward, and nothing is doubted."""
    link = LiveLink(Burst, CoarseClock(), {})
    got = [item for item in link.items() if isinstance(item, Reading | Mark)]
    link.close()
    stamps = [item.elapsed_s for item in got]
    assert len(stamps) == 16
    assert all(later > earlier for earlier, later in itertools.pairwise(stamps))
    assert stamps[-1] - stamps[0] < 1e-4
    assert link.elapsed_s() == stamps[-1]  # a tick or a key's mark now is not before it
    watch = Watch(Job(Band(80.0, 90.0)))
    results = [result for item in got for result in watch.step(item)]
    assert not [r for r in results if isinstance(r, Event) and r.kind is EventKind.DOUBTFUL]


class Stopped:
    """A source whose lines pile up while the program is stopped for a minute, in its third poll."""

    def __init__(self) -> None:
        self.now_s, self._polls = 0.0, 0

    def elapsed_s(self) -> float:
        return self.now_s

    def utc_s(self) -> float:
        return 1_780_000_000.0 + self.now_s

    def wait(self, seconds: float) -> None:
        """Not needed here."""

    def poll(self) -> list[Polled]:
        self._polls += 1
        self.now_s += 60.0 if self._polls == 3 else 0.2
        match self._polls:
            case 3:
                piled: list[Polled] = [Values({"fluid_c": 60.0 + i}) for i in range(20)]
                return [*piled, MarkLine(MarkName.PLUG_OUT)]
            case 5:
                raise EOFError
            case _:
                return [Values({"fluid_c": 50.0})]

    def close(self) -> None:
        """Nothing to free."""


def test_what_piled_up_while_stopped_is_never_a_new_reading() -> None:
    """Old lines read in a burst after a stop are left out and that is told; marks are kept."""
    source = Stopped()
    link = LiveLink(lambda: source, source, {})
    got = [item for item in link.items() if item is not None]
    link.close()
    assert [item.values["fluid_c"] for item in got if isinstance(item, Reading)] == [50.0] * 3
    assert [item.name for item in got if isinstance(item, Mark)] == [MarkName.PLUG_OUT]
    told = [item.text for item in got if isinstance(item, Notice)]
    assert len(told) == 1
    assert "stood still for 60 s" in told[0]


def test_a_port_that_is_back_is_opened_within_a_second() -> None:
    """However long it was away, no pause between two tries is longer: four seconds are the aim."""
    assert max(BACKOFF_S) <= 1.0
