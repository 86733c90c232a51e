"""What verification found, and how it is told."""

from dataclasses import dataclass, replace
from enum import StrEnum

from warmwatch.core.job import Job
from warmwatch.core.level.verdict import LevelVerdict
from warmwatch.recording.zone import Zone


class SealState(StrEnum):
    """What verification found."""

    INTACT = "intact"
    CHANGED = "changed"
    TORN = "torn"
    NEVER_CLOSED = "never-closed"
    OTHER_KEY = "other-key"
    OTHER_VERSION = "other-version"
    NOT_IN_LOG = "not-in-log"
    NO_TIME_STAMP = "no-time-stamp"
    PAGE_UNSIGNED = "page-unsigned"
    PAGE_NOT_MADE = "page-not-made-again"


@dataclass(frozen=True, slots=True)
class Vouched:
    """The facts that a verification vouches for; `utc_s` is when the recording began."""

    job: Job
    verdict: LevelVerdict
    utc_s: float | None
    zone: Zone


@dataclass(frozen=True, slots=True)
class KeptBus:
    """A log of the bus that the recording names: its digest then, and how it is found now.

    `state` is `intact`, `changed` or `missing`; empty where nobody looked.
    """

    name: str
    sha256: str
    state: str = ""


@dataclass(frozen=True, slots=True)
class Report:
    """The result: `row` is the line of the file (the header is 1) at which it went wrong.

    `remarks` are what a reader must know beside the state (a clock that ran back, how many
    temperatures their raw bytes bear out).
    `events` is "same" or how they differ; `signed_by` the fingerprint of the key of a good
    signature, empty without one. `checkpoint` says how far it was signed while it was written. Of a
    proof, `inside` tells how page and recordings are, and `told` what the page says that no
    recording does. OTHER_VERSION: all is whole, but nothing vouches for the events; INTACT is
    never said of that. PAGE_UNSIGNED: who signed the recordings did not sign the page.
    PAGE_NOT_MADE: another version made the page, and nobody signed it. `bus` is a fact of its own:
    the log is no part of the recording.
    """

    state: SealState
    reason: str = ""
    row: int | None = None
    rows: int = 0
    digest: str = ""
    events: str = ""
    ended_s: float | None = None
    outcome: str = ""
    signed_by: str = ""
    signed_name: str = ""
    signed_time: str = ""
    inside: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    vouched: Vouched | None = None
    checkpoint: str = ""
    bus: KeptBus | None = None

    @property
    def exit_code(self) -> int:
        """0 intact, 3 torn or never closed, 4 events, 5 or 6 page not vouched for, else 1."""
        return _EXIT_CODES.get(self.state, 1)


_EXIT_CODES = {
    SealState.INTACT: 0,
    SealState.TORN: 3,
    SealState.NEVER_CLOSED: 3,
    SealState.OTHER_VERSION: 4,
    SealState.PAGE_UNSIGNED: 5,
    SealState.PAGE_NOT_MADE: 6,
}


_SIGNABLE = (SealState.INTACT, SealState.PAGE_UNSIGNED, SealState.PAGE_NOT_MADE)


def require_key(report: Report, fingerprint: str) -> Report:
    """Return the report, turned to OTHER_KEY when that key did not sign."""
    if report.state not in _SIGNABLE or report.signed_by == fingerprint:
        return report
    signed = f"signed by {report.signed_by}" if report.signed_by else "not signed"
    reason = f"it is {signed}, asked for was {fingerprint}"
    return replace(report, state=SealState.OTHER_KEY, reason=reason)
