"""Makes the proof: a PDF/A-3 with the recording attached, sealed as a whole.

The typesetter checks the rules of PDF/A-3a itself and refuses to write a file that breaks them.
"""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

from warmwatch.core.reading import MarkName
from warmwatch.errors import RecordingError, WarmwatchError
from warmwatch.outputs.proof.facts import Facts, read_items
from warmwatch.outputs.proof.page import proof_page
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.seal.key import ShopKey
from warmwatch.recording.seal.pdf import PLACEHOLDER, seal_pdf
from warmwatch.recording.seal.signature import signature_path
from warmwatch.recording.sidecar import read_sidecar, sidecar_watch

PAPERS = {"a4": "a4", "letter": "us-letter"}
_DRAWN_MARKS = (MarkName.DRAINED, MarkName.FILLED, MarkName.PLUG_OUT, MarkName.PLUG_IN)
MOST_BYTES = 64 << 20
"""A recording longer than this is not attached, so no proof is made of it."""


def make_proof(facts: Facts, *, paper: str, key: ShopKey | None, time: str) -> bytes:
    """Return the proof of a recording as PDF bytes; `time` is ISO 8601 in UTC.

    Raises RecordingError when the recording cannot be attached.
    """
    page = proof_page(facts)
    inputs = {
        "page": json.dumps(page, ensure_ascii=False),
        "files": json.dumps(list(_attachments(facts.path)), ensure_ascii=False),
        "plot": _plot(facts),
        "paper": PAPERS[paper],
        "seal": PLACEHOLDER,
        "sealed_by": _sealed_by(key),
    }
    moment = datetime.fromisoformat(time.replace("Z", "+00:00")).astimezone(UTC)
    return seal_pdf(_typeset(inputs, facts.path.parent, moment), key)


def _sealed_by(key: ShopKey | None) -> str:
    if key is None:
        return "This PDF is sealed, but not signed."
    name = f" ({key.name})" if key.name else ""
    return f"This PDF is signed by key {key.fingerprint}{name}."


def _plot(facts: Facts) -> str:
    from warmwatch.outputs.picture.plot import picture
    from warmwatch.outputs.picture.style import PAPER
    from warmwatch.outputs.picture.trace import make_trace

    trace = make_trace(facts.job, read_items(facts.path), sidecar_watch(read_sidecar(facts.path)))
    trace.forecasts = []  # what was expected then is no part of the evidence
    trace.marks = [mark for mark in trace.marks if mark.name in _DRAWN_MARKS]
    return picture(trace, image_format="svg", look=PAPER).decode("utf-8")


def _attachments(path: Path) -> Iterator[dict[str, str]]:
    """Yield the recording and its companions as the template wants them."""
    if "\\" in path.name:
        raise RecordingError(
            f"{path.name} cannot be attached to a PDF: rename it and its companions, without the "
            "backslash."
        )
    parts = (
        (path, "source", "text/csv", "The recording: every reading, mark and event"),
        (sidecar_path(path), "data", "application/json", "What the recording is about"),
        (signature_path(path), "supplement", "application/json", "The recording's signature"),
    )
    for file, relationship, mime, description in parts:
        if file.exists():
            if file.stat().st_size > MOST_BYTES:
                raise RecordingError(f"{file.name} is too long to be attached to a PDF.")
            yield {
                "name": file.name,
                "relationship": relationship,
                "mime": mime,
                "description": description,
            }


def _typeset(inputs: dict[str, str], folder: Path, moment: datetime) -> bytes:
    import matplotlib as mpl
    import typst

    template = files("warmwatch.outputs.proof").joinpath("page.typ").read_bytes()
    shipped = Path(mpl.get_data_path()) / "fonts" / "ttf"
    root: Any = folder  # the library's types want the same type as the template's, wrongly
    error: Exception | None = None
    # Fonts of the system help out with scripts that the shipped one lacks; where one of them may
    # not be embedded, the shipped ones do it alone.
    for with_system in (True, False):
        fonts = typst.Fonts(
            include_system_fonts=with_system,
            include_embedded_fonts=False,
            font_paths=[shipped],
        )
        try:
            made = typst.compile(
                template,
                root=root,
                font_paths=fonts,
                sys_inputs=inputs,
                pdf_standards=["a-3a"],
                timestamp=moment,
            )
        except typst.TypstError as failure:
            error = failure
            continue
        assert isinstance(made, bytes)
        return made
    raise WarmwatchError(f"The proof could not be typeset: {error}.")
