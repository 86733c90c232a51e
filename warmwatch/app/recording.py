"""The recording of a watch: everything is written to it, and its failure never ends the watch."""

from collections.abc import Callable

from warmwatch.core.notice import Notice
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.recording.writer import Recorder
from warmwatch.words.catalogue import phrase


class Recording:
    """Writes by a recorder, None for no recording, and tells what goes wrong.

    `path` is that of the file, empty where there is none; `trouble` says what is wrong with it.
    """

    def __init__(self, recorder: Recorder | None, tell: Callable[[Notice], None]) -> None:
        self.path = "" if recorder is None else str(recorder.path)
        self.trouble = ""
        self._recorder = recorder
        self._stalled = False
        self._tell = tell

    def act(self, act: Callable[[Recorder], None]) -> None:
        """Let the recorder do something; what fails is told, and nothing is recorded after it."""
        if self._recorder is None:
            return
        try:
            act(self._recorder)
            self._tell_of_files(self._recorder)
            self._watch_disk(self._recorder)
        except RecordingError as error:
            self._tell_of_files(self._recorder)
            self._recorder.abandon(0.0)
            if not self._recorder.there:
                self.path = ""  # no summary names a file that is not there
            self._recorder = None
            self._tell_trouble(str(error))

    def close(self, watch: Watch, utc_s: float | None, *, hurried: Callable[[], bool]) -> None:
        """Write what the watch found, and close; `hurried` says that nobody waits for the disk."""
        end_s, verdict = watch.snapshot().elapsed_s, watch.verdict
        self.act(lambda recorder: recorder.close(end_s, utc_s, verdict, hurried=hurried))

    def _tell_of_files(self, recorder: Recorder) -> None:
        self.path = "" if recorder.displaced else str(recorder.path)
        for text in recorder.notices():
            if recorder.displaced:
                self.trouble, self._stalled = text, False
            self._tell(Notice(text, alarm=True))

    def _watch_disk(self, recorder: Recorder) -> None:
        if recorder.stalled and not self.trouble:
            self._stalled = True
            self._tell_trouble(phrase("notice.stalled"))
        elif self._stalled and not recorder.stalled:
            self._stalled = False
            self.trouble = ""
            self._tell(Notice(phrase("notice.answers")))

    def _tell_trouble(self, trouble: str) -> None:
        self.trouble = trouble
        self._tell(Notice(trouble, alarm=True))
