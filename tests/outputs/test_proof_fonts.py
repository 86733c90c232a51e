"""Letters that the shipped font lacks: with a font of the computer that has them, and without."""

from dataclasses import replace
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont

from tests.recording.invented import JOB, record
from warmwatch.outputs.proof import fonts
from warmwatch.outputs.proof.document import make_proof
from warmwatch.outputs.proof.reading import verify_pdf
from warmwatch.outputs.proof.visit import gather
from warmwatch.recording.seal.report import SealState

LETTER, FAMILY = "変", "Invented Script"


@pytest.fixture
def elsewhere(tmp_path: Path) -> Path:
    """Return the font of a computer that has the letter: another one's, under another name."""
    font = TTFont(fonts._shipped() / "STIXGeneral.ttf")
    for table in font["cmap"].tables:
        if table.isUnicode():
            table.cmap[ord(LETTER)] = table.cmap[ord("H")]
    for name in font["name"].names:
        if name.nameID in (1, 3, 4, 6, 16):
            name.string = FAMILY.replace(" ", "") if name.nameID == 6 else FAMILY
    folder = tmp_path / "fonts"
    folder.mkdir()
    font.save(folder / "invented.ttf")
    return folder / "invented.ttf"


def proof(folder: Path) -> bytes:
    path = next(folder.glob("*.csv"), None)
    path = path or record(folder, job=replace(JOB, vehicle=f"{LETTER} invented"))
    return make_proof(gather(path), paper="a4", key=None, time="2026-06-02T03:04:05Z")


@pytest.mark.slow  # two pages are typeset, and four made again
def test_a_proof_with_a_font_of_the_computer_shows_the_letter_and_is_never_called_changed(
    tmp_path: Path, elsewhere: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The font is in the PDF; another computer without it cannot make the page, and says that."""
    folder = tmp_path / "recorded"
    monkeypatch.setattr(fonts, "_installed", lambda: iter([(FAMILY, elsewhere)]))
    rich = proof(folder)
    assert b"+InventedScript" in rich
    assert verify_pdf(rich).state is SealState.INTACT
    monkeypatch.setattr(fonts, "_installed", lambda: iter(()))
    assert verify_pdf(rich).state is SealState.PAGE_NOT_MADE
    poor = proof(folder)
    assert b"+InventedScript" not in poor
    assert verify_pdf(poor).state is SealState.INTACT
    monkeypatch.setattr(fonts, "_installed", lambda: iter([(FAMILY, elsewhere)]))
    assert verify_pdf(poor).state is SealState.PAGE_NOT_MADE


def test_what_hangs_on_fonts_is_left_out_of_a_comparison() -> None:
    """Letters without a font are boxes, whatever a PDF gives for them; all else counts."""
    said = fonts.Chosen((), (), "変速").sentence
    assert fonts.comparable(f"変速 86 °C {said} end") == "□□ 86 °C end"
    assert fonts.comparable("変変 86 °C end") != fonts.comparable("変速 85 °C end")
