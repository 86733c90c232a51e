"""The shop's log: one line a signed recording, appended and never changed, beside the shop key.

Its lines are the entries of a Merkle tree (RFC 6962), and its head (how many lines, and their root)
stands signed in every later proof. Who removes, exchanges or back-dates a recording afterwards has
a log that no longer fits the heads that customers hold.
"""

import base64
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from warmwatch.errors import RecordingError
from warmwatch.recording.seal import tree
from warmwatch.recording.seal.key import ShopKey
from warmwatch.recording.seal.signature import (
    Signature,
    SignatureError,
    fingerprint,
    holds,
    read_signature,
    signature_path,
)

NAME = "shop-log.jsonl"
_CONTEXT = b"warmwatch shop log 1\n"
MAX_LOG = 1 << 26
"""Some 200 000 lines."""


def log_path(key_file: Path) -> Path:
    """Return where the log of a key lies."""
    return key_file.with_name(NAME)


def entry_of(signature: Signature) -> bytes:
    """Return the line that a signed recording has in the log."""
    members = {name: getattr(signature, name) for name in ("recording", "digest", "sha256", "time")}
    return json.dumps(members, sort_keys=True, separators=(",", ":")).encode("ascii")


def read_log(path: Path) -> list[bytes]:
    """Return the lines of a log, none where there is no file.

    RecordingError when it cannot be read, its last line is torn, or it is longer than MAX_LOG.
    """
    try:
        if path.stat().st_size > MAX_LOG:
            raise _too_long(path)
        data = path.read_bytes()
    except FileNotFoundError:
        return []
    except OSError as error:
        raise RecordingError(f"Cannot read the log {path} ({error.strerror or error}).") from None
    if data and not data.endswith(b"\n"):
        raise RecordingError(f"The last line of the log {path} is torn: remove it by hand.")
    return data.split(b"\n")[:-1]


def _too_long(path: Path) -> RecordingError:
    return RecordingError(
        f"The log {path} is longer than {MAX_LOG >> 20} MiB and is not read: if it is the shop's "
        "own, move it away and keep it for the proofs made so far; a new log begins by itself."
    )


def append(path: Path, signature: Signature) -> None:
    """Add a signed recording to the log, unless it stands there; RecordingError when it cannot."""
    line = entry_of(signature)
    if line in read_log(path):
        return
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
        with os.fdopen(handle, "wb") as file:
            file.write(line + b"\n")
            file.flush()
            os.fsync(handle)
    except OSError as error:
        why = error.strerror or error
        raise RecordingError(f"The log {path} cannot be written ({why}).") from None


def signature_of(recording: Path) -> Signature | None:
    """Return the signature beside a recording, None where there is no good one."""
    try:
        return read_signature(signature_path(recording).read_bytes())
    except (OSError, SignatureError):
        return None


def log_signed(recording: Path, log: Path) -> None:
    """Put a signed recording into the log."""
    signature = signature_of(recording)
    if signature is not None:
        append(log, signature)


@dataclass(frozen=True, slots=True)
class Head:
    """The head of the log; `root` is hex, `key` and `signature` base64."""

    size: int
    root: str
    key: str
    signature: str = ""

    @property
    def message(self) -> bytes:
        """The bytes that are signed."""
        return _CONTEXT + f"{self.size} {self.root} {self.key}".encode("ascii")


@dataclass(frozen=True, slots=True)
class Noted:
    """What a proof says of the log: its head, and for each recording its line and the path."""

    head: Head
    lines: tuple[tuple[int, tuple[str, ...]], ...]


def note(entries: Sequence[bytes], signatures: Sequence[Signature], key: ShopKey) -> Noted:
    """Return what a proof of these signed recordings says; ValueError where one is not there."""
    public = base64.b64encode(key.public).decode("ascii")
    plain = Head(len(entries), tree.root(entries).hex(), public)
    signed = base64.b64encode(key.sign(plain.message)).decode("ascii")
    lines = []
    for signature in signatures:
        index = entries.index(entry_of(signature))
        lines.append((index, tuple(step.hex() for step in tree.path(entries, index))))
    return Noted(Head(plain.size, plain.root, public, signed), tuple(lines))


def trouble(noted: Noted, signatures: Sequence[Signature | None], signer: str) -> str:
    """Return why a proof's word on the log does not hold; empty when it does.

    `signer` is the fingerprint of who signed the proof.
    """
    head = noted.head
    try:
        key, sealed = base64.b64decode(head.key), base64.b64decode(head.signature)
        if fingerprint(key) != signer or not holds(key, sealed, head.message):
            return "the head of the shop's log is not signed by the key of the page"
        if len(signatures) != len(noted.lines):
            return "what the page says of the shop's log is about other recordings"
        for signature, (index, steps) in zip(signatures, noted.lines, strict=True):
            if signature is None:
                return "a recording that is not signed is in no log"
            way = [bytes.fromhex(step) for step in steps]
            found = tree.root_by_path(entry_of(signature), index, head.size, way)
            if found.hex() != head.root:
                return "the recording is not in the shop's log as the page says"
    except ValueError as error:
        return f"what it says of the shop's log cannot be read ({error})"
    return ""


def held_against(head: Head, entries: Sequence[bytes]) -> str:
    """Return why a log is not the one that a proof's head names; empty when it is."""
    if len(entries) < head.size:
        return f"lines in the log: {len(entries)}; there were {head.size} when this proof was made"
    if tree.root(entries[: head.size]).hex() != head.root:
        return f"the first {head.size} lines of the log are not those of when this proof was made"
    return ""


def noted_to_mapping(noted: Noted) -> dict[str, Any]:
    """Return it as JSON values; `noted_from_mapping` reads it back."""
    lines = [{"line": index, "path": list(steps)} for index, steps in noted.lines]
    return {"head": asdict(noted.head), "recordings": lines}


def noted_from_mapping(mapping: Mapping[str, Any]) -> Noted:
    """Return what `noted_to_mapping` gave; ValueError, KeyError or TypeError when it is none."""
    head = mapping["head"]
    lines = tuple((int(one["line"]), tuple(map(str, one["path"]))) for one in mapping["recordings"])
    return Noted(
        Head(int(head["size"]), str(head["root"]), str(head["key"]), str(head["signature"])), lines
    )
