"""What there is to show: the state of the watch and what stands around it."""

from collections.abc import Mapping
from dataclasses import dataclass

from warmwatch.core.job import Job
from warmwatch.core.watch import Snapshot


@dataclass(frozen=True, slots=True)
class View:
    """All a screen needs, frozen.

    `now_s` is the link's clock, so `now_s - snapshot.last_good_s` is the age of the last good
    reading. `values` holds the latest value of each quantity and `value_s` when each came.
    `link_trouble` and `recording_trouble` are sentences, empty while all is well. `prompt` is what
    the keyboard waits for; `panel` says that the page's address is to be shown.
    """

    job: Job
    snapshot: Snapshot
    now_s: float
    values: Mapping[str, float]
    value_s: Mapping[str, float]
    link: str
    link_trouble: str
    recording: str
    recording_trouble: str
    prompt: str = ""
    panel: bool = False
