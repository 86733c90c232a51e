"""The proof where it is easily misread: signs, remarks, long and right-to-left text, degrees F.

Needs poppler-utils (pdftotext), an independent reader of PDF.
"""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from tests.outputs.test_proof import poppler, proof_of, words
from tests.recording.invented import JOB, UTC_S, record
from warmwatch.core.level.ledger import Act, Entry, FluidData
from warmwatch.core.level.rules import CheckRules
from warmwatch.core.reading import Item, Mark, MarkName, Reading
from warmwatch.errors import RecordingError
from warmwatch.outputs.proof.attached import attachments
from warmwatch.outputs.proof.page import MOST_ROWS, proof_page
from warmwatch.outputs.proof.visit import Later, gather
from warmwatch.recording.names import sidecar_path

TOLD = replace(JOB, check=CheckRules(tilt_deg=0.3, in_park=True, selector_cycled=True))
CHECK = {100: MarkName.PLUG_OUT, 110: MarkName.DRIP, 120: MarkName.PLUG_IN, 130: MarkName.LEVEL_SET}


def check(
    marks: Mapping[int, MarkName] = CHECK, notes: Mapping[int, tuple[MarkName, str]] | None = None
) -> list[Item]:
    """Return 200 s at 84 degC, idling, with these marks."""
    told = {t: (name, "") for t, name in marks.items()} | dict(notes or {})
    items: list[Item] = []
    for t in range(200):
        values = {"fluid_c": 84.0, "engine_rpm": 760.0, "speed_kmh": 0.0}
        items.append(Reading(float(t), values, utc_s=UTC_S + t))
        if t in told:
            items.append(Mark(t + 0.5, told[t][0], told[t][1], UTC_S + t))
    return items


@pytest.mark.slow
def test_the_tick_needs_everything_known_and_met(tmp_path: Path) -> None:
    """A tick beside conditions that nobody told would show the unknown as met."""
    assert proof_page(gather(record(tmp_path, check(), job=TOLD)))["sign"] == "✔"
    assert proof_page(gather(record(tmp_path, check(), job=JOB)))["sign"] == "!"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("marks", "says"),
    [
        (CHECK | {110: MarkName.NO_DRIP}, "The last mark at the open plug was no drip."),
        (CHECK | {150: MarkName.TOPPED_UP}, "Marked after this check: topped up."),
        (CHECK | {125: MarkName.FILLED}, "Marked after this check: filled."),
    ],
)
def test_what_speaks_against_a_set_level_stands_beside_it(
    tmp_path: Path, marks: Mapping[int, MarkName], says: str
) -> None:
    """Called set without a drip, or topped up afterwards: told, and no tick."""
    page = proof_page(gather(record(tmp_path, check(marks), job=TOLD)))
    assert (page["sign"], page["remarks"][0]) == ("!", says)


@pytest.mark.slow
def test_of_many_marks_the_notes_are_left_out_first(tmp_path: Path) -> None:
    """What was done at the plug must not vanish behind notes."""
    notes = {t: (MarkName.NOTE, f"note {t}") for t in range(5, 90)}
    rows = proof_page(gather(record(tmp_path, check(CHECK, notes))))["marks"]
    assert len(rows) == MOST_ROWS + 1
    assert [row[2] for row in rows[-5:-1]] == ["plug out", "drip", "plug in", "level set"]
    assert rows[-1][4] == f"{85 + 4 - MOST_ROWS} more in the attached recording"


@pytest.mark.slow
def test_long_notes_stay_on_the_paper(tmp_path: Path) -> None:
    """Every word of them, over as many pages as it takes, and a word without end is broken."""
    job = replace(JOB, notes=" ".join(f"word{n}" for n in range(1500)))
    items = check(CHECK, {150: (MarkName.NOTE, "x" * 500)})
    data = proof_of(record(tmp_path, items, job=job))
    text = poppler("pdftotext", data, tmp_path, "-x", "0", "-y", "0", "-W", "595", "-H", "805")
    assert "word0 " in text
    assert all(f"word{n}" in text for n in range(1500))
    assert text.count("x") >= 500


@pytest.mark.slow
def test_a_right_to_left_label_leaves_the_date_in_order(tmp_path: Path) -> None:
    """The date stands in a line of its own, so that no label turns it around."""
    job = replace(JOB, vehicle="مركبة", notes="הערה 35 Nm")
    data = proof_of(record(tmp_path, check(), job=job))
    assert "Transmission fluid level, 2026-05-28 20:26 UTC" in words(data, tmp_path)


def test_a_fahrenheit_job_has_fahrenheit_amounts(tmp_path: Path) -> None:
    """No temperature of the ledger in another unit than the page's."""
    ledger = (Entry(Act.DRAINED, 4.25, 85.0), Entry(Act.FILLED, 4.05, 20.0))
    job = replace(JOB, unit="F", fluid=FluidData(capacity_l=8.5, ledger=ledger))
    page = proof_page(gather(record(tmp_path, check(), job=job)))
    told = " ".join(
        [*page["balance"], *map(" ".join, page["ledger"]), *map(" ".join, page["check"])]
    )
    assert "°C" not in told
    assert "4.04 L at 68 °F" in told
    assert "mL per °F" in told


@pytest.mark.slow
def test_an_amount_that_cannot_be_read_gives_no_balance(tmp_path: Path) -> None:
    """Left out in silence it would look like fluid that is missing."""
    notes = {
        20: (MarkName.DRAINED, "4.25 L 85 C"),
        30: (MarkName.FILLED, "four cans"),
        140: (MarkName.TOPPED_UP, "0.5 L 20 C"),
    }
    path = record(tmp_path, check(CHECK, notes))
    balance = proof_page(gather(path))["balance"]
    assert balance[0] == "No balance: no amount with its unit could be read from filled at 00:30."
    later = FluidData(ledger=(Entry(Act.DRAINED, 4.0, 20.0), Entry(Act.FILLED, 4.0, 20.0)))
    told = " ".join(proof_page(gather(path, later=Later(later)))["balance"])
    assert "What came out went back in" in told
    assert "come from a job file given later" in told


def test_a_recording_of_any_name_comes_back_out(tmp_path: Path) -> None:
    """Renamed without its ending it is still the recording of its proof."""
    path = record(tmp_path, check())
    renamed = tmp_path / "evidence.txt"
    sidecar_path(path).rename(sidecar_path(renamed))
    path.rename(renamed)
    assert attachments(proof_of(renamed)).recordings[0].name == "evidence.txt"


def test_a_name_that_cannot_be_attached_is_told(tmp_path: Path) -> None:
    """The library takes no backslash: what to do about it is said."""
    path = record(tmp_path, check())
    renamed = tmp_path / "a\\b.csv"
    sidecar_path(path).rename(sidecar_path(renamed))
    path.rename(renamed)
    with pytest.raises(RecordingError, match="rename"):
        proof_of(renamed)
