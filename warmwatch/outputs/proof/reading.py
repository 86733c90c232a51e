"""Reads a proof back: its seal, and the recording attached to it.

A file without an intact seal is not taken apart at all. What is taken apart is bounded: the PDF
library refuses to unpack a stream beyond 75 MB, and the attachments are limited again here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from warmwatch.errors import InputError
from warmwatch.recording.seal.pdf import PdfSeal, check_pdf
from warmwatch.recording.seal.report import Report, SealState
from warmwatch.recording.seal.verify import verify_bytes, verify_recording

MAX_PDF = 128 << 20
MAX_ATTACHED = 64 << 20
MOST_ATTACHMENTS = 3
_COMPANIONS = ("-metadata.json", "-signature.json")


@dataclass(frozen=True, slots=True)
class Attached:
    """What is attached to a proof; the bytes of the companions, None without."""

    name: str
    recording: bytes
    sidecar: bytes | None
    signature: bytes | None


def verify_file(path: str | Path) -> Report:
    """Verify a recording or a proof, told apart by how the file begins.

    InputError or RecordingError when it cannot be read at all.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            is_pdf = file.read(5) == b"%PDF-"
            if not is_pdf:
                return verify_recording(path)
            data = b"%PDF-" + file.read(MAX_PDF)
    except OSError as error:
        raise InputError(f"Cannot read {path} ({error.strerror or error}).") from None
    if len(data) > MAX_PDF:
        raise InputError(f"{path.name} is longer than any proof.")
    return verify_pdf(data)


def is_proof_of(path: Path, recording: Path) -> bool:
    """Return whether a file is an intact proof of the recording; OSError when it cannot be read."""
    with path.open("rb") as file:
        data = file.read(MAX_PDF)
    try:
        return check_pdf(data).intact and attachments(data).name == recording.name
    except InputError:
        return False


def verify_pdf(data: bytes) -> Report:
    """Verify a proof given as bytes; never raises for what is in it."""
    seal = check_pdf(data)
    if not seal.intact:
        return Report(SealState.CHANGED, seal.reason)
    try:
        attached = attachments(data)
    except InputError as error:
        return Report(SealState.CHANGED, str(error))
    inside = verify_bytes(attached.name, attached.recording, attached.sidecar, attached.signature)
    return _together(seal, inside)


def _together(seal: PdfSeal, inside: Report) -> Report:
    """Return the report of the whole: what signs the PDF counts, as it covers the pages too."""
    if inside.state is SealState.CHANGED:
        return replace(inside, reason=f"the attached recording: {inside.reason}")
    text = "The PDF is as it was made; the attached recording is not signed."
    if inside.signed_by:
        name = f" ({inside.signed_name})" if inside.signed_name else ""
        text = (
            "The PDF is as it was made; the attached recording is signed by key "
            f"{inside.signed_by}{name} on {inside.signed_time}."
        )
    same = seal.signed_by == inside.signed_by
    return replace(
        inside,
        inside=text,
        signed_by=seal.signed_by,
        signed_name=inside.signed_name if same else "",
        signed_time="",
    )


def attachments(data: bytes) -> Attached:
    """Return the recording and its companions from a proof; InputError when they are not there."""
    found = _unpack(data)
    names = [name for name in found if name + _COMPANIONS[0] in found]
    names = names or [name for name in found if not name.endswith(_COMPANIONS)]
    if len(names) != 1:
        raise InputError("the PDF holds no recording, or more than one")
    name = names[0]
    sidecar, signature = (name + ending for ending in _COMPANIONS)
    if found.keys() - {name, sidecar, signature}:
        raise InputError("the PDF holds a file that belongs to no proof")
    return Attached(name, found[name], found.get(sidecar), found.get(signature))


def _unpack(data: bytes) -> Mapping[str, bytes]:
    import io
    import logging

    import pypdf

    logging.getLogger("pypdf").setLevel(logging.CRITICAL)
    found: dict[str, bytes] = {}
    try:
        for one in pypdf.PdfReader(io.BytesIO(data), strict=False).attachment_list:
            name, content = one.name, one.content
            if not isinstance(name, str):  # the library leaves a name that is no text as bytes
                raise InputError("a file in the PDF has a name that is no text")
            if name in found or len(found) == MOST_ATTACHMENTS:
                raise InputError("the PDF holds more files than a proof")
            if len(content) > MAX_ATTACHED:
                raise InputError("a file in the PDF is longer than any recording")
            found[name] = content
    except InputError:
        raise
    except Exception as error:  # the library raises many kinds for what is no sound PDF
        raise InputError(f"the PDF cannot be taken apart ({type(error).__name__})") from None
    return found
