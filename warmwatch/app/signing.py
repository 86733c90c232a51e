"""Signs the recordings of a visit with the shop's key and puts them into its log."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from warmwatch.recording.seal.shop_log import Noted, append, note, read_log, signature_of

if TYPE_CHECKING:
    from warmwatch.outputs.proof.visit import Later, Visit
    from warmwatch.recording.seal.key import ShopKey


@dataclass(frozen=True, slots=True)
class Seal:
    """The key that signs, and the log that keeps what it signed."""

    key: "ShopKey"
    log: Path


def gather_signed(
    recordings: Sequence[Path], seal: Seal | None, time: str, later: "Later | None" = None
) -> tuple["Visit", Noted | None]:
    """Return the visit, signed where there is a seal, and what the proof says of the log.

    `time` is ISO 8601 in UTC. Raises RecordingError as `gather` does.
    """
    from warmwatch.outputs.proof.visit import NOTHING_LATER, gather

    visit = gather(*recordings, later=later or NOTHING_LATER)
    if seal is None or not _sign_all(visit, seal.key, time):
        return visit, None
    visit = gather(*recordings, later=later or NOTHING_LATER)
    return visit, _log_all(visit, seal)


def _sign_all(visit: "Visit", key: "ShopKey", time: str) -> bool:
    """Sign what can be signed; return whether anything was."""
    from warmwatch.recording.seal.key import sign_recording
    from warmwatch.recording.seal.report import SealState

    whole = [facts.path for facts in visit.recordings if facts.report.state is SealState.INTACT]
    for path in whole:
        sign_recording(path, key, time)
    return bool(whole)


def _log_all(visit: "Visit", seal: Seal) -> Noted | None:
    """Put the recordings into the shop's log; return what the proof says of it."""
    signatures = [signature_of(facts.path) for facts in visit.recordings]
    mine = [s for s in signatures if s is not None and s.fingerprint == seal.key.fingerprint]
    for signature in mine:
        append(seal.log, signature)
    return note(read_log(seal.log), mine, seal.key) if len(mine) == len(signatures) else None
