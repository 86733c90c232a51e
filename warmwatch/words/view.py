"""What there is to show: the state of the watch and what stands around it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from warmwatch.core.job import Job
from warmwatch.core.reading import MarkName
from warmwatch.core.snapshot import Snapshot
from warmwatch.words.forecast import Shown


@dataclass(frozen=True, slots=True)
class View:
    """All a screen needs, frozen.

    `now_s` is the link's clock, so `now_s - snapshot.last_good_s` is the age of the last good
    reading. `expected` is the forecast held steady for the eye and the ear. `link_trouble` and
    `recording_trouble` are sentences, empty while all is well. `prompt` is what the keyboard waits
    for, `keys` which key sets a mark; `panel` says that the page's address is to be shown.
    """

    job: Job
    snapshot: Snapshot
    now_s: float
    link: str
    link_trouble: str
    recording: str
    recording_trouble: str
    keys: Mapping[MarkName, str] = field(default_factory=dict)
    expected: Shown | None = None
    prompt: str = ""
    panel: bool = False
