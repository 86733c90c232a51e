"""Takes a proof apart: the recordings attached to it, and how its page was made.

What is taken apart is bounded: the PDF library refuses to unpack a stream beyond 75 MB, and the
attachments are limited again here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath

from warmwatch.errors import InputError
from warmwatch.outputs.proof.making import NAME, Making, read_making

MAX_ATTACHED = 64 << 20
MOST_RECORDINGS = 12
MOST_ATTACHMENTS = 5 * MOST_RECORDINGS + 1
_COMPANIONS = ("-metadata.json", "-signature.json", "-checkpoint.json", "-anchor.tsr")


@dataclass(frozen=True, slots=True)
class Attached:
    """A recording attached to a proof; the bytes of the companions, None without."""

    name: str
    recording: bytes
    sidecar: bytes | None
    signature: bytes | None
    checkpoint: bytes | None
    anchor: bytes | None

    @property
    def files(self) -> dict[str, bytes]:
        """All its files by name."""
        parts = (self.recording, self.sidecar, self.signature, self.checkpoint, self.anchor)
        names = (self.name, *(self.name + ending for ending in _COMPANIONS))
        return {name: part for name, part in zip(names, parts, strict=True) if part is not None}


@dataclass(frozen=True, slots=True)
class Bundle:
    """All that is attached to a proof; `making` is None in proofs of version 0.1."""

    recordings: tuple[Attached, ...]
    making: Making | None


def attachments(data: bytes) -> Bundle:
    """Return what is attached to a proof; InputError when it is not what a proof holds."""
    found = dict(_unpack(data))
    try:
        making = read_making(found.pop(NAME)) if NAME in found else None
    except ValueError as error:
        raise InputError(f"{NAME} in the PDF cannot be used: {error}") from None
    names = [name for name in found if name + _COMPANIONS[0] in found]
    names = names or [name for name in found if not name.endswith(_COMPANIONS)]
    if making is not None and len(making.order) == len(set(making.order)) == len(names):
        names = [name for name in making.order if name in names]
    if not names or (making is None and len(names) > 1):
        raise InputError("the PDF holds no recording, or more than one")
    recordings = tuple(
        Attached(name, found[name], *(found.get(name + ending) for ending in _COMPANIONS))
        for name in names
    )
    if found.keys() != {file for one in recordings for file in one.files}:
        raise InputError("the PDF holds a file that belongs to no proof")
    return Bundle(recordings, making)


def _unpack(data: bytes) -> Mapping[str, bytes]:
    import io
    import logging

    import pypdf

    logging.getLogger("pypdf").setLevel(logging.CRITICAL)
    found: dict[str, bytes] = {}
    try:
        for one in pypdf.PdfReader(io.BytesIO(data), strict=False).attachment_list:
            # The second name is the one in Unicode; the first is what old readers need.
            name, content = one.alternative_name or one.name, one.content
            if not isinstance(name, str):  # the library leaves a name that is no text as bytes
                raise InputError("a file in the PDF has a name that is no text")
            if PurePosixPath(name).name != name or name.startswith(".") or "\\" in name:
                raise InputError("a file in the PDF has a name that is no file's")
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


def page_words(data: bytes) -> str:
    """Return a PDF's title and the words of its pages, separated by single spaces.

    InputError when they cannot be read.
    """
    import io
    import logging

    import pypdf

    logging.getLogger("pypdf").setLevel(logging.CRITICAL)
    try:
        reader = pypdf.PdfReader(io.BytesIO(data), strict=False)
        title = "" if reader.metadata is None else reader.metadata.title or ""
        return " ".join(" ".join([title, *(p.extract_text() for p in reader.pages)]).split())
    except Exception as error:  # as above
        raise InputError(f"the PDF's pages cannot be read ({type(error).__name__})") from None
