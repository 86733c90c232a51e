"""Runs a link through a Watch into the recording and the outputs.

The only place where time, threads and I/O meet. The order for each item is fixed: written to the
recording, folded, its events written, then shown. Nothing that shows can stop or slow the watch; a
recording that fails is told loudly and the watch goes on.
"""

import signal
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from types import FrameType

from warmwatch.app.amounts import Amounts
from warmwatch.app.keyboard.terminal import Keyboard, KeyReader
from warmwatch.app.recording import Recording
from warmwatch.app.wall_clock import WallClock
from warmwatch.core.alarm import Plug
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Item, Mark, Reading, Tick
from warmwatch.core.reason import Reason
from warmwatch.core.watch import Watch
from warmwatch.links.base import Link
from warmwatch.outputs.base import AlarmChange, Entry, Output, StepChange, Summary
from warmwatch.outputs.own_thread import OwnThread
from warmwatch.recording.bounds import bounded
from warmwatch.recording.writer import Recorder
from warmwatch.words.catalogue import phrase
from warmwatch.words.forecast import Shown, steady
from warmwatch.words.reasons import reason_text
from warmwatch.words.view import View

SHOW_EVERY_S = 0.25
SHOW_SOON_S = 0.1
"""What is new is shown at once, but not more often than this."""
READER_S = 0.01
_ENDING = [
    getattr(signal, name)
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    if hasattr(signal, name)
]
"""What ends a watch in order: Ctrl-C, being told to end, the terminal closing."""
_LEFT = (EventKind.LEFT_HIGH, EventKind.LEFT_LOW)
_ENDS_FORECAST = frozenset({EventKind.ENTERED, EventKind.BLIND, EventKind.SEEING, *_LEFT})
"""What was shown as the time ahead is not led on over these."""


@dataclass(frozen=True, slots=True)
class Until:
    """When to end by itself: at an event ("left", "entered"), or after seconds, or never."""

    event: str = ""
    seconds: float | None = None


class Session:
    """One run. `run` returns the summary; the caller closes nothing."""

    def __init__(
        self,
        link: Link,
        watch: Watch,
        outputs: Sequence[Output],
        *,
        address: str,
        recorder: Recorder | None = None,
        keyboard: Keyboard | None = None,
        until: Until = Until(),
        marks: Callable[[], Iterable[Mark]] = tuple,
        panel: bool = False,
        apart: OwnThread | None = None,
        ended_by: Callable[[], str] = str,
        parting: Callable[[], Iterable[Mark]] = tuple,
    ) -> None:
        self._link = link
        self._watch = watch
        self._outputs = outputs
        self._address = address
        self._recording = Recording(recorder, self._pass_on)
        self._keyboard = keyboard
        self._keys = KeyReader() if keyboard is None else KeyReader(keyboard.keys, panel=panel)
        self._expected: Shown | None = None
        self._alarm = watch.alarm
        self._amounts = Amounts(watch.job)
        self._step = watch.visit_step
        self._step_allowed = watch.snapshot().step_allowed
        self._until = until
        self._wall_clock = WallClock()
        self._marks = marks
        self._apart = apart
        self._ended_by = ended_by
        self._parting = parting
        self._stopped_by = ""
        self._link_trouble = ""
        self._first_s: float | None = None
        self._utc_s: float | None = None
        self._had_window = False
        self._shown_s = 0.0
        self._news = False
        self._news_s = 0.0

    def run(self) -> Summary:
        """Run until the link ends, `until` is met, the mechanic ends it, or Ctrl-C."""
        before = {number: signal.signal(number, self._interrupt) for number in _ENDING}
        try:
            if self._keyboard is not None:
                self._keyboard.open()
            self._loop()
        finally:
            for mark in self._parting():
                self._fold(mark)
            self._close_recording()  # before the rest: what fails there can lose no data
            self._link.close()
            if self._keyboard is not None:
                self._keyboard.close()
            for number, handler in before.items():
                signal.signal(number, handler)
        stopped_by = self._stopped_by or "end of input"
        summary = Summary(self._view(), stopped_by, self._watch.verdict)
        for output in self._outputs:
            output.close(summary)
        return summary

    def _interrupt(self, number: int, frame: FrameType | None) -> None:
        # Only a note is made here: closing in the middle of a write would break the digest chain.
        self._stopped_by = "interrupt"

    def _loop(self) -> None:
        for item in self._link.items():
            if isinstance(item, Notice):
                self._tell(item)
            elif item is not None:
                self._fold(item)
            # While readings wait they are folded in their own time; only then is it silence.
            self._serve(silent=item is None or isinstance(item, Notice))
            self._wait_for_reader()
            if self._stopped_by:
                return
        if not self._link.replay:
            self._tell(Notice(phrase("notice.ended"), lost=True, alarm=True))

    def _serve(self, *, silent: bool) -> None:
        """What has to happen often, whether or not a reading came."""
        for mark in self._marks():
            self._fold(mark)
        self._serve_keys()
        self._stopped_by = self._stopped_by or self._ended_by()
        for notice in self._apart.notices() if self._apart else ():
            self._tell(notice)
        now_s = self._link.elapsed_s()
        if silent and now_s >= self._watch.due_s:
            self._fold(Tick(now_s, utc_s=self._wall_time()))
        if silent and not self._link.replay:
            self._stop_when_due(now_s)
        self._recording.act(lambda recorder: recorder.poll())
        self._show_when_due(time.monotonic())

    def _wait_for_reader(self) -> None:
        """Let a replay be no faster than its output is read: nothing of it is left out."""
        while self._link.replay and self._apart and self._apart.full and not self._stopped_by:
            time.sleep(READER_S)
            self._serve_keys()

    def _show_when_due(self, real_s: float) -> None:
        new = self._news and real_s - self._news_s >= SHOW_SOON_S
        if new or real_s - self._shown_s >= SHOW_EVERY_S:
            self._news_s = real_s if self._news else self._news_s
            self._shown_s = real_s
            self._news = False
            self._show()

    def _show(self) -> None:
        view = self._view()
        for output in self._outputs:
            output.show(view)

    def _serve_keys(self) -> None:
        if self._keyboard is None:
            return
        for key in self._keyboard.drain():
            self._news = True
            alarm = self._watch.alarm
            plug_out = alarm.plug is Plug.OUT
            act = self._keys.feed(key, insists=alarm.insists, plug_out=plug_out)
            if act is None:
                continue
            if act.quits:
                self._stopped_by = "key"
            elif act.mark is not None:
                now_s = self._link.elapsed_s()
                self._fold(Mark(now_s, act.mark, act.note, self._wall_time()))

    def _wall_time(self) -> float | None:
        return self._utc_s if self._link.replay else time.time()

    def _clock_checked(self, item: Item) -> Item:
        """Tell and record, with a reading, that the computer's clock moved before it came."""
        if self._link.replay or not isinstance(item, Reading) or item.utc_s is None:
            return item
        moved_s = self._wall_clock.moved_s(item.elapsed_s, item.utc_s)
        if not moved_s:
            return item
        moved = Reason("clock-moved", {"moved_s": moved_s})
        told = phrase("notice.times-differ", why=reason_text(moved, "C"))
        self._tell(Notice(told, alarm=True))
        return replace(item, doubts={**item.doubts, "time": str(moved)})

    def _fold(self, item: Item) -> None:
        item = bounded(self._clock_checked(item))  # what is folded is what a row can hold
        self._recording.act(lambda recorder: recorder.item(item))
        self._utc_s = item.utc_s
        if self._first_s is None:
            self._first_s = item.elapsed_s
        if isinstance(item, Reading):
            self._link_trouble = ""
        self._news = True
        if not isinstance(item, Tick):
            self._pass_on(item)
        for result in self._watch.step(item):
            self._result(result, item)
        if isinstance(item, Mark) and (text := self._amounts.answer(item, self._known_c())):
            self._pass_on(Notice(text))
        self._pass_on_changes(item.elapsed_s)
        self._stop_when_due(item.elapsed_s)

    def _pass_on_changes(self, now_s: float) -> None:
        snapshot = self._watch.snapshot()
        if snapshot.alarm != self._alarm:
            self._alarm = snapshot.alarm
            self._pass_on(AlarmChange(now_s, snapshot.alarm))
        step, allowed = snapshot.step, snapshot.step_allowed
        if (step, allowed) != (self._step, self._step_allowed):
            begins = step is not self._step
            self._step, self._step_allowed = step, allowed
            self._pass_on(StepChange(now_s, step, allowed, begins))

    def _known_c(self) -> float | None:
        good = self._watch.good
        return None if self._watch.blind or good is None else good[1]

    def _result(self, result: Event | Forecast, item: Item) -> None:
        if isinstance(result, Event):
            self._recording.act(lambda recorder: recorder.event(result, item.utc_s))
            self._stop_at(result)
            if result.kind in _ENDS_FORECAST:
                self._expected = None
        else:
            self._expected = steady(self._expected, result)
        self._pass_on(result)

    def _stop_at(self, event: Event) -> None:
        left = event.kind in _LEFT and self._had_window
        self._had_window |= event.kind is EventKind.ENTERED
        entered = event.kind is EventKind.ENTERED
        if (self._until.event == "left" and left) or (self._until.event == "entered" and entered):
            self._stopped_by = "until"

    def _stop_when_due(self, now_s: float) -> None:
        if self._until.seconds is None:
            return
        if now_s - (self._first_s or 0.0) >= self._until.seconds:
            self._stopped_by = self._stopped_by or "until"

    def _tell(self, notice: Notice) -> None:
        if notice.lost:
            self._link_trouble = notice.text
        self._pass_on(notice)

    def _pass_on(self, entry: Entry) -> None:
        for output in self._outputs:
            output.take(entry)

    def _close_recording(self) -> None:
        self._recording.close(
            self._watch,
            self._wall_time(),
            hurried=lambda: self._stopped_by == "interrupt",
        )

    def _view(self) -> View:
        return View(
            job=self._watch.job,
            snapshot=self._watch.snapshot(),
            now_s=self._link.elapsed_s(),
            link=self._address,
            link_trouble=self._link_trouble,
            recording=self._recording.path,
            recording_trouble=self._recording.trouble,
            keys=self._keys.marks,
            expected=self._expected,
            prompt=self._keys.prompt,
            panel=self._keys.panel,
        )
