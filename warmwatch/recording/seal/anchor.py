"""A time stamp from outside the shop (RFC 3161) over the last digest of a recording.

It lies beside the recording as `NAME.csv-anchor.tsr`, the authority's answer as it came. One that
is still to be fetched, because there was no network, is a line with the authority's address in
`NAME.csv-anchor.url`. What is sent is the SHA-256 of the digest and nothing else.
"""

import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path

from warmwatch.errors import RecordingError, UsageError

MAX_ANSWER = 1 << 18
PATIENCE_S = 15.0


@dataclass(frozen=True, slots=True)
class Stamp:
    """What an answer says; `trouble` says why it does not hold, `checked` that somebody signed it
    whose certificate was at hand.
    """

    time: str = ""
    trouble: str = ""
    checked: bool = False


def anchor_path(recording: Path) -> Path:
    """Return the path of a recording's time stamp."""
    return recording.with_name(recording.name + "-anchor.tsr")


def pending_path(recording: Path) -> Path:
    """Return the path of the note that a time stamp is still to be fetched."""
    return recording.with_name(recording.name + "-anchor.url")


def queue(recording: Path, url: str) -> None:
    """Note that a time stamp is wanted; UsageError when that is no address of the web."""
    if not url.startswith(("http://", "https://")):
        raise UsageError(
            f"--anchor {url}: write the address of a time-stamp authority, https://..."
        )
    if not anchor_path(recording).exists():
        pending_path(recording).write_text(url + "\n", encoding="utf-8")


def fetch(recording: Path, digest: str) -> Stamp:
    """Fetch the time stamp that is wanted for a recording with that last digest, and keep it.

    RecordingError when the authority cannot be reached or answers something else: it stays wanted.
    """
    url = pending_path(recording).read_text(encoding="utf-8").strip()
    answer = _ask(url, digest)
    stamp = check(answer, digest)
    if stamp.trouble:
        raise RecordingError(f"{url} gave no time stamp for {recording.name}: {stamp.trouble}.")
    anchor_path(recording).write_bytes(answer)
    pending_path(recording).unlink()
    return stamp


def _ask(url: str, digest: str) -> bytes:
    from rfc3161_client import HashAlgorithm, TimestampRequestBuilder

    builder = TimestampRequestBuilder().data(digest.encode("ascii"))
    asked = builder.hash_algorithm(HashAlgorithm.SHA256).build().as_bytes()
    request = urllib.request.Request(  # noqa: S310 - `queue` takes http and https only
        url, asked, {"Content-Type": "application/timestamp-query"}
    )
    try:
        with urllib.request.urlopen(request, timeout=PATIENCE_S) as answered:  # noqa: S310
            return bytes(answered.read(MAX_ANSWER))
    except (OSError, ValueError, urllib.error.URLError) as error:
        why = getattr(error, "reason", None) or error
        raise RecordingError(f"The time-stamp authority {url} cannot be reached ({why}).") from None


def check(answer: bytes, digest: str, authority: bytes | None = None) -> Stamp:
    """Return what a time stamp says of a digest; never raises for what is in it.

    `authority` is the certificate (PEM) of the authority, or of who issued its certificate.
    """
    import hashlib

    from rfc3161_client import VerificationError, VerifierBuilder, decode_timestamp_response

    message = digest.encode("ascii")
    try:
        response = decode_timestamp_response(answer)
        if response.status not in (0, 1):
            return Stamp(trouble=f"the authority refused, status {response.status}")
        info = response.tst_info
        if info.message_imprint.message != hashlib.sha256(message).digest():
            return Stamp(trouble="it is of another recording")
        time = info.gen_time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        if authority is None:
            return Stamp(time)
        from cryptography.x509 import load_pem_x509_certificate

        builder = VerifierBuilder().add_root_certificate(load_pem_x509_certificate(authority))
        builder.build().verify_message(response, message)
        return Stamp(time, checked=True)
    except VerificationError:
        return Stamp(trouble="it is not by that authority, or it was changed")
    except Exception:  # the library raises many kinds for what is no sound answer
        return Stamp(trouble="it is no time stamp that can be read")


def stamp_remark(stamp: Stamp) -> str:
    """Return what is to be said of a time stamp beside the state."""
    if stamp.trouble:
        return f"the TIME STAMP beside it does NOT HOLD: {stamp.trouble}"
    held = (
        "holds"
        if stamp.checked
        else "was not checked: give the authority's certificate with --authority"
    )
    return f"a time stamp from outside the shop says that it existed on {stamp.time}; it {held}"
