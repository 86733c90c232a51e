"""Makes the proof: a PDF/A-3 and PDF/UA with the recordings attached, sealed as a whole.

The typesetter checks the rules of PDF/A-3a and PDF/UA-1 itself and refuses to write a file that
breaks them.
"""

import json
import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

from warmwatch.core.level.check import FLUID_MARKS
from warmwatch.core.level.marks import standing_marks
from warmwatch.core.reading import MarkName
from warmwatch.errors import RecordingError, WarmwatchError
from warmwatch.outputs.proof.facts import Facts
from warmwatch.outputs.proof.fonts import Chosen, choose
from warmwatch.outputs.proof.making import NAME, PAPERS, Making, typesetter
from warmwatch.outputs.proof.pades import with_pdf_signature
from warmwatch.outputs.proof.page import proof_page
from warmwatch.outputs.proof.visit import Visit
from warmwatch.recording.names import checkpoint_path, sidecar_path
from warmwatch.recording.seal.anchor import anchor_path
from warmwatch.recording.seal.key import ShopKey
from warmwatch.recording.seal.pdf import PLACEHOLDER, seal_pdf
from warmwatch.recording.seal.shop_log import Noted
from warmwatch.recording.seal.signature import signature_path
from warmwatch.words.catalogue import language, phrase
from warmwatch.words.proof import key_name_text

STANDARDS: tuple[Any, ...] = ("a-3a", "ua-1")
_DRAWN_MARKS = (*FLUID_MARKS, MarkName.PLUG_OUT, MarkName.PLUG_IN)
MOST_BYTES = 64 << 20
"""A recording longer than this is not attached, so no proof is made of it."""


def make_proof(
    visit: Visit, *, paper: str, key: ShopKey | None, time: str, noted: Noted | None = None
) -> bytes:
    """Return the proof of a visit as PDF bytes; `time` is ISO 8601 in UTC.

    `noted` is what the shop's log says of its recordings.

    Raises RecordingError when a recording cannot be attached.
    """
    making = Making(
        paper=paper,
        time=time,
        order=tuple(facts.path.name for facts in visit.recordings),
        key="" if key is None else key.fingerprint,
        key_name="" if key is None else key.name,
        later=visit.later,
        noted=noted,
        typesetter=typesetter(),
        language=language(),
    )
    sealed = seal_pdf(unsealed(visit, making), key)
    return sealed if key is None else with_pdf_signature(sealed, key, _moment(time))


def unsealed(visit: Visit, making: Making) -> bytes:
    """Return the proof before its seal is filled in: the same for the same visit and making."""
    page = json.dumps(proof_page(visit), ensure_ascii=False)
    sealed_by = _sealed_by(making)
    chosen = choose(page + sealed_by)
    making = replace(making, fonts=chosen.families)
    folder = Path(os.path.commonpath([facts.path.parent.absolute() for facts in visit.recordings]))
    attached = [*_attachments(visit, folder), _making_file(making)]
    inputs = {
        "page": page,
        "files": json.dumps(attached, ensure_ascii=False),
        "plots": json.dumps([_plot(facts, visit) for facts in visit.recordings]),
        "fonts": json.dumps(chosen.families),
        "paper": PAPERS[making.paper],
        "seal": PLACEHOLDER,
        "sealed_by": sealed_by,
        "unreadable": chosen.sentence,
    }
    return _typeset(inputs, folder, chosen, _moment(making.time))


def _moment(time: str) -> datetime:
    return datetime.fromisoformat(time.replace("Z", "+00:00")).astimezone(UTC)


def unreadable(visit: Visit) -> str:
    """Return a sentence about letters of the page that no font here has; empty without any."""
    return choose(json.dumps(proof_page(visit), ensure_ascii=False)).sentence


def _sealed_by(making: Making) -> str:
    if not making.key:
        return phrase("proof.sealed")
    name = key_name_text(making.key_name)
    return f"{phrase('proof.signed-pdf', key=making.key, name=name)} {log_text(making)}".strip()


def log_text(making: Making) -> str:
    """Return where the recordings stand in the shop's log; empty where it says nothing."""
    if making.noted is None:
        return ""
    head, lines = making.noted.head, [str(index + 1) for index, _ in making.noted.lines]
    code = "log-line" if len(lines) == 1 else "log-lines"
    at = {"lines": ", ".join(lines), "size": f"{head.size}", "head": head.root[:16]}
    return phrase(f"proof.{code}", **at)


def _plot(facts: Facts, visit: Visit) -> str:
    from warmwatch.outputs.picture.plot import picture
    from warmwatch.outputs.picture.style import PAPER

    marks = [m for m in standing_marks(facts.trace.marks) if m.name in _DRAWN_MARKS]
    # What was expected then is no part of the evidence.
    trace = replace(facts.trace, forecasts=[], marks=marks)
    return picture(trace, unit=visit.job.unit, image_format="svg", look=PAPER).decode("utf-8")


def _attachments(visit: Visit, root: Path) -> Iterator[dict[str, str]]:
    """Yield the recordings and their companions as the template wants them."""
    for facts in visit.recordings:
        path = facts.path
        if "\\" in str(path.absolute().relative_to(root)):
            raise RecordingError(
                f"{path.name} cannot be attached to a PDF: rename it and its companions, without "
                "the backslash."
            )
        parts = (
            (path, "source", "text/csv", "source"),
            (sidecar_path(path), "data", "application/json", "sidecar"),
            (signature_path(path), "supplement", "application/json", "signature"),
            (checkpoint_path(path), "supplement", "application/json", "checkpoint"),
            (anchor_path(path), "supplement", "application/timestamp-reply", "anchor"),
        )
        for file, relationship, mime, what in parts:
            if file.exists():
                if file.stat().st_size > MOST_BYTES:
                    raise RecordingError(f"{file.name} is too long to be attached to a PDF.")
                yield {
                    "name": file.name,
                    "path": file.absolute().relative_to(root).as_posix(),
                    "relationship": relationship,
                    "mime": mime,
                    "description": phrase(f"proof.file-{what}"),
                }


def _making_file(making: Making) -> dict[str, str]:
    return {
        "name": NAME,
        "text": making.text(),
        "relationship": "supplement",
        "mime": "application/json",
        "description": phrase("proof.file-making"),
    }


def _typeset(inputs: dict[str, str], folder: Path, chosen: Chosen, moment: datetime) -> bytes:
    import typst

    template = files("warmwatch.outputs.proof").joinpath("page.typ").read_bytes()
    root: Any = folder  # the library's types want the same type as the template's, wrongly
    error: Exception | None = None
    # Fonts of the system help out with scripts that the shipped one lacks; where one of them may
    # not be embedded, the shipped one does it alone.
    for paths in (chosen.paths, chosen.paths[:1]):
        fonts = typst.Fonts(
            include_system_fonts=False,
            include_embedded_fonts=False,
            font_paths=list(paths),
        )
        try:
            made = typst.compile(
                template,
                root=root,
                font_paths=fonts,
                sys_inputs=inputs,
                pdf_standards=list(STANDARDS),
                timestamp=moment,
            )
        except typst.TypstError as failure:
            error = failure
            continue
        assert isinstance(made, bytes)
        return made
    raise WarmwatchError(f"The proof could not be typeset: {error}.")
