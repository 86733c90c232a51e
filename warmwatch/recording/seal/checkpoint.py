"""A checkpoint: how far a recording was, signed by the shop key while it was still being written.

It lies beside it as `NAME.csv-checkpoint.json`, and a later one takes its place. Of a recording
that was never closed it shows how far it is as it was written, and that nothing before that was cut
off. The members without `signature`, written with sorted keys and no spaces, are what is signed.
"""

import base64
import binascii
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Protocol

from warmwatch.recording.seal.report import Report, SealState
from warmwatch.recording.seal.signature import SignatureError, fingerprint, holds

FORMAT = "warmwatch checkpoint 1"
MAX_CHECKPOINT = 1 << 14


class Signer(Protocol):
    """The shop key, as far as a recorder needs it."""

    @property
    def public(self) -> bytes:
        """The raw public key."""

    @property
    def name(self) -> str:
        """The name of the shop."""

    def sign(self, message: bytes) -> bytes:
        """Return the signature of a message."""


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """`rows` rows had been written, the opening row included, and `digest` was that of the last."""

    recording: str
    rows: int
    digest: str
    time: str
    key: str = ""
    key_name: str = ""
    signature: str = ""

    @property
    def message(self) -> bytes:
        """The bytes that are signed."""
        members = asdict(self) | {"format": FORMAT}
        del members["signature"]
        return json.dumps(members, sort_keys=True, separators=(",", ":")).encode("ascii")

    @property
    def fingerprint(self) -> str:
        """The key's fingerprint."""
        return fingerprint(base64.b64decode(self.key))

    def text(self) -> str:
        """Return the file's text."""
        return json.dumps({"format": FORMAT, **asdict(self)}, indent=1) + "\n"

    def signed(self, signer: Signer) -> "Checkpoint":
        """Return it with the signer's key and signature."""
        key = base64.b64encode(signer.public).decode("ascii")
        unsigned = replace(self, key=key, key_name=signer.name)
        sealed = base64.b64encode(signer.sign(unsigned.message)).decode("ascii")
        return replace(unsigned, signature=sealed)


def read_checkpoint(data: bytes) -> Checkpoint:
    """Return a checkpoint that holds for its own members; SignatureError when it does not."""
    if len(data) > MAX_CHECKPOINT:
        raise SignatureError("the checkpoint is far too long")
    try:
        members = json.loads(data.decode("utf-8"))
        if members.pop("format") != FORMAT:
            raise SignatureError("the checkpoint is of another format")
        found = Checkpoint(**members)
        same = found.text().encode("ascii") == data and type(found.rows) is int
        key = base64.b64decode(found.key, validate=True)
        sealed = base64.b64decode(found.signature, validate=True)
        same = same and base64.b64encode(sealed).decode("ascii") == found.signature
    except SignatureError:
        raise
    except (ValueError, RecursionError, TypeError, KeyError, AttributeError, binascii.Error):
        raise SignatureError("the checkpoint cannot be read") from None
    if not same or not holds(key, sealed, found.message):
        raise SignatureError("the checkpoint does not hold: it or the key was changed")
    return found


def held_against(
    report: Report, data: bytes | None, promised: str, digests: Mapping[int, str]
) -> Report:
    """Return the report of a recording, compared with what was signed while it was written.

    `data` is the checkpoint, None without one; `promised` the key that the sidecar says makes them;
    `digests` has the digest of the row that the checkpoint is about, by how many rows there were.
    """
    if report.state is SealState.CHANGED:
        return report
    if data is None:
        if not promised or report.state not in (SealState.TORN, SealState.NEVER_CLOSED):
            return report
        missing = f"no checkpoint by key {promised} lies beside it: its end may be missing"
        return replace(report, checkpoint=missing)
    try:
        point = read_checkpoint(data)
    except SignatureError as error:
        return replace(report, state=SealState.CHANGED, reason=str(error))
    if reason := _contradiction(report, point, promised, digests):
        return replace(report, state=SealState.CHANGED, reason=reason)
    text = f"its first {point.rows} rows were signed on {point.time} by key {point.fingerprint}"
    return replace(report, checkpoint=text)


def _contradiction(
    report: Report, point: Checkpoint, promised: str, digests: Mapping[int, str]
) -> str:
    if point.fingerprint != promised:
        return f"the checkpoint beside it is by key {point.fingerprint}, which it does not name"
    if point.rows > report.rows:
        signed = f"{point.rows} rows were signed on {point.time}, and {report.rows} are left"
        return f"its end was cut off: {signed}"
    if digests.get(point.rows) != point.digest:
        return f"its first {point.rows} rows are not those signed on {point.time}"
    return ""
