"""What verification found, and how it is told."""

from dataclasses import dataclass, replace
from enum import StrEnum


class SealState(StrEnum):
    """What verification found."""

    INTACT = "intact"
    CHANGED = "changed"
    TORN = "torn"
    NEVER_CLOSED = "never-closed"
    OTHER_KEY = "other-key"
    OTHER_VERSION = "other-version"


@dataclass(frozen=True, slots=True)
class Report:
    """The result: `row` is the line of the file (the header is 1) at which it went wrong.

    `events` is "same" or how they differ; `signed_by` the fingerprint of the key of a good
    signature, empty without one. Of a proof, `inside` tells how the attached recording is.
    `checkpoint` says how far it was signed while it was written. OTHER_VERSION: all is whole, but
    nothing vouches for the events; INTACT is never said of that.
    """

    state: SealState
    reason: str = ""
    row: int | None = None
    rows: int = 0
    digest: str = ""
    events: str = ""
    outcome: str = ""
    signed_by: str = ""
    signed_name: str = ""
    signed_time: str = ""
    inside: str = ""
    checkpoint: str = ""

    @property
    def exit_code(self) -> int:
        """0 intact, 3 torn or never closed, 4 made by another version, 1 everything else."""
        return _EXIT_CODES.get(self.state, 1)


_EXIT_CODES = {
    SealState.INTACT: 0,
    SealState.TORN: 3,
    SealState.NEVER_CLOSED: 3,
    SealState.OTHER_VERSION: 4,
}


def require_key(report: Report, fingerprint: str) -> Report:
    """Return the report, turned to OTHER_KEY when that key did not sign."""
    if report.state is not SealState.INTACT or report.signed_by == fingerprint:
        return report
    signed = f"signed by {report.signed_by}" if report.signed_by else "not signed"
    reason = f"it is {signed}, asked for was {fingerprint}"
    return replace(report, state=SealState.OTHER_KEY, reason=reason)
