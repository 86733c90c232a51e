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


@dataclass(frozen=True, slots=True)
class Report:
    """The result: `row` is the line of the file (the header is 1) at which it went wrong.

    `events` is "same" or how they differ; `signed_by` the fingerprint of the key of a good
    signature, empty without one. Of a proof, `inside` tells how the attached recording is.
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

    @property
    def exit_code(self) -> int:
        """0 intact, 3 torn or never closed, 1 everything else."""
        if self.state is SealState.INTACT:
            return 0
        return 3 if self.state in (SealState.TORN, SealState.NEVER_CLOSED) else 1


def require_key(report: Report, fingerprint: str) -> Report:
    """Return the report, turned to OTHER_KEY when that key did not sign."""
    if report.state is not SealState.INTACT or report.signed_by == fingerprint:
        return report
    signed = f"signed by {report.signed_by}" if report.signed_by else "not signed"
    reason = f"it is {signed}, asked for was {fingerprint}"
    return replace(report, state=SealState.OTHER_KEY, reason=reason)
