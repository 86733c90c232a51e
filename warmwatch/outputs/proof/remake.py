"""Makes the page of a proof again from the recordings attached to it, and compares.

Typesetting is deterministic: where this program, its typesetter and its fonts are those that made
the page, every byte must be the same. Otherwise the words of the two pages are compared.
"""

import tempfile
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from warmwatch.core.units import from_c
from warmwatch.errors import WarmwatchError
from warmwatch.outputs.proof.attached import Bundle, attachments, page_words
from warmwatch.outputs.proof.fonts import comparable
from warmwatch.outputs.proof.making import typesetter
from warmwatch.outputs.proof.visit import NOTHING_LATER, Visit, gather
from warmwatch.recording.seal.pdf import blank
from warmwatch.words.catalogue import LANGUAGES, speaking
from warmwatch.words.events import band_text


class Found(StrEnum):
    """What the comparison found."""

    SAME = "same"
    WORDS = "words"
    FACTS = "facts"
    DIFFERENT = "different"


@dataclass(frozen=True, slots=True)
class Page:
    """`visit` is what the recordings give; None where no page can be made of them."""

    found: Found
    reason: str = ""
    visit: Visit | None = None


def compare_page(sealed: bytes, bundle: Bundle) -> Page:
    """Compare a sealed page with the one that its recordings give."""
    with tempfile.TemporaryDirectory(prefix="warmwatch-verify-") as name:
        paths = []
        for one in bundle.recordings:
            for file, content in one.files.items():
                Path(name, file).write_bytes(content)
            paths.append(Path(name, one.name))
        later = NOTHING_LATER if bundle.making is None else bundle.making.later
        try:
            visit = gather(*paths, later=later)
            return _compared(sealed, bundle, visit)
        except (WarmwatchError, ValueError, OSError) as error:
            return Page(Found.DIFFERENT, f"no page can be made of its recordings ({error})")


def _compared(sealed: bytes, bundle: Bundle, visit: Visit) -> Page:
    from warmwatch.outputs.proof.document import unsealed

    if bundle.making is None:
        return _by_facts(sealed, visit, "version 0.1")
    if bundle.making.language not in LANGUAGES:
        return _by_facts(sealed, visit, f"the language {bundle.making.language}")
    with speaking(bundle.making.language):
        made = unsealed(visit, bundle.making)
        # Another computer may have a font for letters that this one lacks, or the other way round.
        same_words = comparable(page_words(made)) == comparable(page_words(sealed))
    if made == blank(sealed):
        return Page(Found.SAME, visit=visit)
    ours, theirs = dict(typesetter()), dict(bundle.making.typesetter)
    now = attachments(made).making
    shipped_alone = now is not None and len(now.fonts) == len(bundle.making.fonts) == 1
    if ours == theirs and shipped_alone:
        return Page(Found.DIFFERENT, "the page is not the one that its recordings give")
    if same_words:
        return Page(Found.WORDS, _other(theirs), visit)
    if ours.get("source") == theirs.get("source"):
        return Page(Found.DIFFERENT, "the page has other words than its recordings give")
    return _by_facts(sealed, visit, _other(theirs))


def _other(theirs: dict[str, str]) -> str:
    if theirs == dict(typesetter()):
        return "another choice of fonts"
    named = ", ".join(f"{name} {text}" for name, text in theirs.items() if name != "source")
    return f"another typesetter ({named})"


def _by_facts(sealed: bytes, visit: Visit, maker: str) -> Page:
    """Look for the figures that count on a page whose words another version chose."""
    words = page_words(sealed).replace(" ", "")
    missing = [text for text in key_facts(visit) if text.replace(" ", "") not in words]
    if missing:
        return Page(Found.DIFFERENT, f"the page does not say {missing[0]!r}, as its recordings do")
    return Page(Found.FACTS, maker, visit)


def key_facts(visit: Visit) -> list[str]:
    """Return what every version's page must say: label, band, temperatures, digests."""
    job, verdict = visit.job, visit.verdict
    facts = [" ".join(job.vehicle.split()), band_text(job.band, job.unit)]
    ends = [t for t in (verdict.low_c, verdict.high_c) if t is not None]
    facts += [f"{round(from_c(celsius, job.unit), 1):.9g}" for celsius in ends]
    return [text for text in facts if text] + [f.report.digest for f in visit.recordings]
