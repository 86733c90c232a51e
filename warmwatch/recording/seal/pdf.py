"""A seal over a whole PDF file, standing inside it.

The document's keywords hold `warmwatch-seal <64 hex> key <64 hex> signature <128 hex>`. The seal
is the SHA-256 of the file with all of these digits put to zero; the signature is Ed25519 over the
seal, and key and signature stay zero without a key. Filling in the digits changes no length, so
the file stays a valid PDF. Every byte outside the digits is covered by the seal, and the digits
themselves cannot change without being noticed.
"""

import hashlib
import re
from dataclasses import dataclass

from warmwatch.recording.seal.key import ShopKey
from warmwatch.recording.seal.signature import fingerprint, holds

PLACEHOLDER = f"warmwatch-seal {'0' * 64} key {'0' * 64} signature {'0' * 128}"
_SEAL = re.compile(rb"warmwatch-seal ([0-9a-f]{64}) key ([0-9a-f]{64}) signature ([0-9a-f]{128})")
_CONTEXT = b"warmwatch proof 1\n"
MOST_PLACES = 4
_END, MOST_ENDS = b"%%EOF", 4


@dataclass(frozen=True, slots=True)
class PdfSeal:
    """What stands in the file: `signed_by` is the fingerprint of a good signature's key."""

    found: bool
    intact: bool
    reason: str = ""
    signed_by: str = ""


def seal_pdf(data: bytes, key: ShopKey | None) -> bytes:
    """Return the PDF with its placeholder filled in; ValueError when it has none."""
    if data.count(PLACEHOLDER.encode("ascii")) == 0:
        raise ValueError("the PDF holds no place for the seal")
    digest = hashlib.sha256(data).digest()
    public = key.public if key is not None else bytes(32)
    sealed = key.sign(_CONTEXT + digest + public) if key is not None else bytes(64)
    text = f"warmwatch-seal {digest.hex()} key {public.hex()} signature {sealed.hex()}"
    return data.replace(PLACEHOLDER.encode("ascii"), text.encode("ascii"))


def blank(data: bytes) -> bytes:
    """Return a sealed PDF as it was before its seal was filled in."""
    return _SEAL.sub(PLACEHOLDER.encode("ascii"), data)


def sealed_part(data: bytes) -> bytes:
    """Return the beginning of the file that its seal covers; all of it where nothing follows.

    A PDF signature is appended to a file, after the mark that ends it.
    """
    end = -1
    for _ in range(MOST_ENDS):
        end = data.find(_END, end + 1)
        if end < 0:
            break
        for part in (data[: end + len(_END)], data[: end + len(_END) + 1]):
            if check_pdf(part).intact:
                return part
    return data


def check_pdf(data: bytes) -> PdfSeal:
    """Return whether a PDF is as it was sealed."""
    found = set(_SEAL.findall(data))
    places = len(_SEAL.findall(data))
    if not found:
        return PdfSeal(False, False, "it holds no seal of a warmwatch proof, or no whole one")
    if len(found) > 1 or places > MOST_PLACES:
        return PdfSeal(True, False, "its seal stands there in different words")
    digest, public, sealed = (bytes.fromhex(part.decode("ascii")) for part in found.pop())
    if hashlib.sha256(blank(data)).digest() != digest:
        return PdfSeal(True, False, "the PDF was changed after it was made")
    if not any(public) and not any(sealed):
        return PdfSeal(True, True)
    if not holds(public, sealed, _CONTEXT + digest + public):
        return PdfSeal(True, False, "the signature of the PDF does not hold")
    return PdfSeal(True, True, signed_by=fingerprint(public))
