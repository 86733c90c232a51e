"""The signature beside a closed recording: `NAME.csv-signature.json`.

A JSON object whose members, without `signature` and written with sorted keys and no spaces, are
what Ed25519 (RFC 8032) signs: the final digest of the chain (which covers every row and the
sidecar), the SHA-256 of the file, its name, the time, and the key itself.
"""

import base64
import binascii
import hashlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path

FORMAT = "warmwatch signature 1"
MAX_SIGNATURE = 1 << 14
_TEXTS = ("recording", "digest", "sha256", "key", "key_name", "time", "signature")


class SignatureError(ValueError):
    """A signature that does not hold; the text says why."""


@dataclass(frozen=True, slots=True)
class Signature:
    """The members of the file; `key` and `signature` are base64."""

    recording: str
    digest: str
    sha256: str
    key: str
    key_name: str
    time: str
    signature: str = ""

    @property
    def message(self) -> bytes:
        """The bytes that are signed."""
        members = asdict(self) | {"format": FORMAT}
        del members["signature"]
        text = json.dumps(members, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
        return text.encode("ascii")

    @property
    def fingerprint(self) -> str:
        """The key's fingerprint."""
        return fingerprint(base64.b64decode(self.key))

    def text(self) -> str:
        """Return the file's text."""
        members = {"format": FORMAT, **asdict(self)}
        return json.dumps(members, indent=1, ensure_ascii=True) + "\n"


def signature_path(recording: Path) -> Path:
    """Return the path of a recording's signature."""
    return recording.with_name(recording.name + "-signature.json")


def fingerprint(public_key: bytes) -> str:
    """Return the first 16 hex digits of the SHA-256 of the raw public key, in groups of four."""
    digits = hashlib.sha256(public_key).hexdigest()[:16]
    return "-".join(digits[i : i + 4] for i in range(0, 16, 4))


def read_signature(data: bytes) -> Signature:
    """Return a signature that holds for its own members; SignatureError when it does not."""
    if len(data) > MAX_SIGNATURE:
        raise SignatureError("the signature file is far too long")
    try:
        members = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError):
        raise SignatureError("the signature file cannot be read") from None
    if not isinstance(members, dict) or members.pop("format", None) != FORMAT:
        raise SignatureError("the signature file is of another format")
    if set(members) != set(_TEXTS) or not all(isinstance(v, str) for v in members.values()):
        raise SignatureError("the signature file is not complete")
    signature = Signature(**members)
    if signature.text().encode("ascii") != data:
        raise SignatureError("the signature file is not as it was written")
    _hold(signature)
    return signature


def _hold(signature: Signature) -> None:
    try:
        key = base64.b64decode(signature.key, validate=True)
        sealed = base64.b64decode(signature.signature, validate=True)
    except (binascii.Error, ValueError):
        raise SignatureError("the signature file cannot be read") from None
    if base64.b64encode(sealed).decode("ascii") != signature.signature:
        raise SignatureError("the signature file is not as it was written")  # its unused last bits
    if not holds(key, sealed, signature.message):
        raise SignatureError("the signature does not hold: it or the key was changed")


def holds(key: bytes, sealed: bytes, message: bytes) -> bool:
    """Return whether `sealed` is the Ed25519 signature of `message` by the raw public `key`."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(key).verify(sealed, message)
    except (InvalidSignature, ValueError):
        return False
    return True
