"""One visit in several recordings: one ledger, one verdict, on paper and in the list alike."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.outputs.test_proof import words
from tests.outputs.test_proof_looks import CHECK, TOLD, check
from tests.recording.invented import ABOUT, JOB, UTC_S, record
from warmwatch.core.band import Band
from warmwatch.core.paperwork import Shop, Work
from warmwatch.core.reading import Item, Mark, MarkName, Reading
from warmwatch.errors import RecordingError
from warmwatch.outputs.proof.document import make_proof, unreadable
from warmwatch.outputs.proof.page import proof_page, proof_verdict
from warmwatch.outputs.proof.reading import verify_pdf
from warmwatch.outputs.proof.visit import gather
from warmwatch.recording.jobs import list_recordings, visits
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.writer import create
from warmwatch.recording.zone import Zone
from warmwatch.words.jobs import visit_lines

pytestmark = pytest.mark.slow

TIME = "2026-06-02T03:04:05Z"


def later(items: list[Item], by_s: float) -> list[Item]:
    return [replace(item, utc_s=(item.utc_s or 0.0) + by_s) for item in items]


def drained(*marks: tuple[MarkName, str]) -> Iterator[Item]:
    """Yield 100 s at 50 degC with these marks: no check."""
    for t in range(100):
        yield Reading(float(t), {"fluid_c": 50.0, "engine_rpm": 0.0}, utc_s=UTC_S + t)
    for n, (name, note) in enumerate(marks):
        yield Mark(100.0 + n, name, note, UTC_S + 100 + n)


def a_visit(folder: Path, *, end: tuple[tuple[MarkName, str], ...] = ()) -> list[Path]:
    """Record draining and filling, then the check; with `end`, a third one with these marks."""
    first = list(drained((MarkName.DRAINED, "4.25 L 50 C"), (MarkName.FILLED, "4.16 L 20 C")))
    parts = [record(folder, first, job=TOLD), record(folder, later(check(), 3600.0), job=TOLD)]
    if end:
        parts.append(record(folder, later(list(drained(*end)), 7200.0), job=TOLD))
    return parts


def test_one_ledger_and_one_verdict(tmp_path: Path) -> None:
    """The amounts of the first recording and the check of the second stand on one page."""
    visit = gather(*reversed(a_visit(tmp_path)))
    assert [entry.litres for entry in visit.fluid.ledger] == [4.25, 4.16]
    page = proof_page(visit)
    assert page["sign"] == "✔"
    assert page["verdict"].startswith("Level set with the fluid at 84 °C, inside")
    assert "What came out went back in" in page["balance"][0]
    assert [row[0].partition(",")[0] for row in page["marks"][:3]] == [
        "recording 1",
        "recording 1",
        "recording 2",
    ]


def test_recordings_of_two_visits_are_told_apart(tmp_path: Path) -> None:
    """Where the recordings do not know each other, the page says who put them together."""
    visit = gather(*a_visit(tmp_path))
    alone = replace(visit.recordings[0], visit="2026-05-27 another")
    sign, _, remarks = proof_verdict(replace(visit, recordings=(alone, visit.recordings[1])))
    assert sign == "!"
    assert "put these recordings together as one visit" in remarks[0]


def test_what_was_topped_up_in_a_later_recording_speaks_against_the_level(tmp_path: Path) -> None:
    """A set level does not stay set when fluid was put in an hour later."""
    visit = gather(*a_visit(tmp_path, end=((MarkName.TOPPED_UP, "0.5 L 20 C"),)))
    assert "Marked after this check: topped up." in visit_text(visit)


def visit_text(visit: object) -> str:
    _, sentence, remarks = proof_verdict(visit)  # type: ignore[arg-type]
    return " ".join([sentence, *remarks])


def test_list_and_page_say_the_same(tmp_path: Path) -> None:
    """Sign, sentence and remarks of the verdict are the same words in `jobs` and on the page."""
    path = record(tmp_path, check(), job=TOLD)
    sign, sentence, remarks = proof_verdict(gather(path))
    (group,) = visits(list_recordings(tmp_path))
    listed = [line.strip() for line in visit_lines(group, None)]
    assert listed[1:] == [f"{sign} {sentence}", *remarks]


def test_recordings_of_two_vehicles_are_no_visit(tmp_path: Path) -> None:
    """Vehicle and band must be the same, and each recording is named once."""
    mine = record(tmp_path / "a", check(), job=TOLD)
    other = record(tmp_path / "b", check(), job=replace(TOLD, vehicle="another"))
    band = record(tmp_path / "c", check(), job=replace(TOLD, band=Band(70.0, 90.0)))
    for wrong in (other, band):
        with pytest.raises(RecordingError, match="not of one visit"):
            gather(mine, wrong)
    with pytest.raises(RecordingError, match="once"):
        gather(mine, mine)


def test_the_proof_of_a_visit_verifies_and_holds_all_its_recordings(tmp_path: Path) -> None:
    """The page is made again from all attached recordings."""
    parts = a_visit(tmp_path)
    data = make_proof(gather(*parts), paper="a4", key=None, time=TIME)
    report = verify_pdf(data)
    assert (report.state, report.reason) == (SealState.INTACT, "")
    assert "byte for byte" in report.inside[0]
    text = words(data, tmp_path)
    assert all(part.name in text for part in parts)


def test_shop_work_and_local_time_are_for_the_customer(tmp_path: Path) -> None:
    """What `[shop]` and `[work]` hold stands on the page, with a line to sign on."""
    work = Work(
        plate="INV-123", odometer="84 210 km", torques="check plug 35 Nm", next_check="2030"
    )
    job = replace(TOLD, shop=Shop("invented shop", "1 Lane", "a mechanic"), work=work)
    data = make_proof(gather(record(tmp_path, check(), job=job)), paper="a4", key=None, time=TIME)
    text = words(data, tmp_path)
    for said in ("invented shop", "1 Lane", "INV-123", "84 210 km", "plug 35 Nm", "2030"):
        assert said in text
    assert "signature: a mechanic" in text


def test_times_are_those_of_the_wall_with_their_zone() -> None:
    """2026-05-28 20:26:40 UTC is 22:26 in a zone two hours ahead, and 14:56 at -5:30."""
    assert Zone().text(UTC_S) == "2026-05-28 20:26 UTC"
    assert Zone(7200, "CEST").text(UTC_S) == "2026-05-28 22:26 CEST (UTC+02:00)"
    assert Zone(-19800, "").text(UTC_S) == "2026-05-28 14:56 (UTC-05:30)"
    assert Zone(7200, "CEST").clock(UTC_S) == "22:26:40"


def test_letters_without_a_font_are_named(tmp_path: Path) -> None:
    """A page that shows boxes says so, and which letters they are."""
    visit = gather(record(tmp_path, check(), job=replace(JOB, vehicle="\U00012000 van")))
    assert "U+12000" in unreadable(visit)  # cuneiform: no usual system has it
    data = make_proof(visit, paper="a4", key=None, time=TIME)
    assert "U+12000" in words(data, tmp_path)
    assert unreadable(gather(record(tmp_path, check()))) == ""


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_table_is_torn_over_two_pages(tmp_path: Path, paper: str) -> None:
    """The first and the last mark of a table stand on the same page."""
    import io

    import pypdf

    notes = {t: (MarkName.NOTE, f"marker{t:03}") for t in range(5, 40)}
    visit = gather(record(tmp_path, check(CHECK, notes)))
    data = make_proof(visit, paper=paper, key=None, time=TIME)
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]
    holding = [n for n, text in enumerate(pages) if re.search(r"marker0\d\d", text)]
    assert len(holding) == 1


def test_an_amount_that_was_taken_back_is_not_reckoned(tmp_path: Path) -> None:
    """Its mark stays on the page as taken back, and the ledger goes by what stands."""
    marks = (
        (MarkName.DRAINED, "9 L 50 C"),
        (MarkName.WITHDRAW, ""),
        (MarkName.DRAINED, "4.25 L 50 C"),
    )
    visit = gather(record(tmp_path, list(drained(*marks)), job=TOLD))
    assert [entry.litres for entry in visit.fluid.ledger] == [4.25]
    rows = [row[2] for row in proof_page(visit)["marks"]]
    assert rows == ["drained (taken back)", "take back", "drained"]


def test_recordings_of_several_visits_on_one_page_are_told(tmp_path: Path) -> None:
    """Who puts the check of another day beside a recording does not do it unsaid."""
    other = create(tmp_path, JOB, "lines:-", ABOUT, UTC_S + 9e6, visit="another-day")
    other.item(Reading(0.0, {"fluid_c": 50.0}, raw="50", utc_s=UTC_S + 9e6))
    other.close(0.0, UTC_S + 9e6)
    own = record(tmp_path / "own")
    told = [
        verify_pdf(make_proof(gather(*paths), paper="a4", key=None, time=TIME)).remarks
        for paths in ([own], [own, other.path])
    ]
    assert ["VISITS" in " ".join(remarks) for remarks in told] == [False, True]


def test_a_clock_that_moved_is_told(tmp_path: Path) -> None:
    """Somebody set the computer's clock while it recorded: the page says when and by how much."""
    items = list(check())
    moved = items[5]
    assert isinstance(moved, Reading)
    items[5] = replace(moved, doubts={"time": "clock-moved moved_s=3600"})
    page = proof_page(gather(record(tmp_path, items, job=TOLD)))
    (told,) = [line for line in page["doubts"] if "clock moved" in line]
    assert "The computer's clock moved by 60 min" in told
