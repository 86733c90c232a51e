"""The proof: what it says, that it carries its evidence, and that no change of it passes.

Needs poppler-utils (pdfdetach, pdffonts, pdfinfo, pdftotext), an independent reader of PDF.
"""

import io
import random
import subprocess
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdf
import pytest

from tests.recording.invented import JOB, UTC_S, check_items, record
from warmwatch.core.band import Band
from warmwatch.core.level.ledger import Act, Entry, FluidData
from warmwatch.core.level.rules import CheckRules
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.errors import RecordingError
from warmwatch.outputs.proof.attached import attachments
from warmwatch.outputs.proof.document import make_proof
from warmwatch.outputs.proof.reading import verify_pdf
from warmwatch.outputs.proof.visit import Later, gather
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.seal.key import make_key, sign_recording
from warmwatch.recording.seal.pdf import PLACEHOLDER, check_pdf, seal_pdf, sealed_part
from warmwatch.recording.seal.report import SealState

TIME = "2026-06-02T03:04:05Z"
LEDGER = (Entry(Act.DRAINED, 4.25, 85.0), Entry(Act.FILLED, 4.05, 20.0))
RICH = replace(
    JOB,
    drain_band=Band(70.0, 78.0),
    fluid=FluidData(capacity_l=8.5, ledger=LEDGER),
    check=CheckRules(tilt_deg=0.3, in_park=True),
    notes="Plug torque 35 Nm by service information.",
)


def proof_of(path: Path, paper: str = "a4") -> bytes:
    return make_proof(gather(path), paper=paper, key=None, time=TIME)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes]:
    """A recording and its proof."""
    path = record(tmp_path_factory.mktemp("made"), job=RICH)
    return path, proof_of(path)


def poppler(tool: str, data: bytes, tmp_path: Path, *arguments: str) -> str:
    file = tmp_path / "proof.pdf"
    file.write_bytes(data)
    command = [tool, *arguments, str(file), *(["-"] if tool == "pdftotext" else [])]
    done = subprocess.run(command, capture_output=True, check=True, cwd=tmp_path)
    return done.stdout.decode("utf-8")


def words(data: bytes, tmp_path: Path) -> str:
    """Return the text of the pages, both as it flows and as it lies in tables."""
    texts = [poppler("pdftotext", data, tmp_path, *how) for how in ([], ["-layout"])]
    return " ".join(" ".join(texts).split())


def test_the_evidence_comes_out_again_byte_for_byte(
    made: tuple[Path, bytes], tmp_path: Path
) -> None:
    """pdfdetach of poppler, which shares no code with what wrote it, gives the same files."""
    path, data = made
    poppler("pdfdetach", data, tmp_path, "-saveall")
    for original in (path, sidecar_path(path)):
        assert (tmp_path / original.name).read_bytes() == original.read_bytes()
    assert attachments(data).recordings[0].recording == path.read_bytes()


def test_it_is_marked_as_an_archive_file(made: tuple[Path, bytes], tmp_path: Path) -> None:
    """PDF/A-3a and PDF/UA-1: identification in XMP, output intent, tags, every attachment
    associated, every font embedded. (The typesetter checks the rest; of PDF/A no validator was to
    be had.)
    """
    _, data = made
    reader = pypdf.PdfReader(io.BytesIO(data))
    root: Any = reader.trailer["/Root"]
    xmp = root["/Metadata"].get_data().decode("utf-8")
    assert "<pdfaid:part>3</pdfaid:part>" in xmp
    assert "<pdfaid:conformance>A</pdfaid:conformance>" in xmp
    assert "<pdfuaid:part>1</pdfuaid:part>" in xmp
    assert root["/MarkInfo"]["/Marked"]
    assert root["/OutputIntents"]
    relations = [one.get_object()["/AFRelationship"] for one in root["/AF"]]
    assert relations == ["/Source", "/Data", "/Supplement"]
    fonts = poppler("pdffonts", data, tmp_path).splitlines()[2:]
    assert fonts
    assert all(line.split()[-5] == "yes" for line in fonts)
    assert "Tagged:          yes" in poppler("pdfinfo", data, tmp_path)


@pytest.mark.parametrize(("paper", "size"), [("a4", "595.276 x 841.89"), ("letter", "612 x 792")])
def test_it_prints_on_both_papers(
    made: tuple[Path, bytes], tmp_path: Path, paper: str, size: str
) -> None:
    """Three pages at most on A4 and on Letter."""
    path, _ = made
    info = poppler("pdfinfo", proof_of(path, paper), tmp_path)
    assert size in info
    pages = next(line for line in info.splitlines() if line.startswith("Pages:"))
    assert int(pages.split()[1]) <= 3


def test_it_says_what_a_customer_asks(made: tuple[Path, bytes], tmp_path: Path) -> None:
    """Verdict, band and its source, conditions with what is not known, amounts, notes, cautions."""
    text = words(made[1], tmp_path)
    for said in (
        "Level set with the fluid at 83 to 84 °C, inside 80 to 90 °C, from plug out to plug in.",
        "Taken from invented",
        "Demonstration. Invented for a test: nothing here was measured.",
        "✔ vehicle level",
        "? selector cycled not known not confirmed",
        "Range for draining warm: 70 to 78 °C.",
        "drained 4.25 L ±0.05 at 85 °C",
        "What came out went back in",
        "Plug torque 35 Nm by service information.",
        "7E9 62",
        "Fluid and metal at check temperature burn at a touch",
        "The recording is not signed.",
        "Neither shows that the sensor told the truth",
    ):
        assert said in text, said


def test_the_same_recording_gives_the_same_proof(made: tuple[Path, bytes]) -> None:
    """Nothing of the moment goes in but the time given."""
    path, data = made
    assert proof_of(path) == data


@pytest.mark.slow
def test_every_one_of_many_changes_of_the_pdf_is_found(made: tuple[Path, bytes]) -> None:
    """1 000 random bytes changed, put in or taken out: none passes."""
    _, data = made
    assert verify_pdf(data).state is SealState.INTACT
    rng = random.Random(19005)
    for n in range(1000):
        at = rng.randrange(len(data))
        if n % 3 == 0:
            changed = data[:at] + bytes([data[at] ^ rng.randrange(1, 256)]) + data[at + 1 :]
        elif n % 3 == 1:
            changed = data[:at] + bytes([rng.randrange(256)]) + data[at:]
        else:
            changed = data[:at] + data[at + 1 :]
        assert verify_pdf(changed).state is SealState.CHANGED
    assert verify_pdf(data[: len(data) // 2]).state is SealState.CHANGED
    assert verify_pdf(data + b"\n").state is SealState.CHANGED


@pytest.mark.slow
def test_a_key_signs_the_pages_too(tmp_path: Path) -> None:
    """The PDF's signature covers the whole file; a changed and resealed one is no longer signed."""
    key = make_key(tmp_path / "key.pem", "invented shop")
    path = record(tmp_path)
    sign_recording(path, key, TIME)
    data = make_proof(gather(path), paper="a4", key=key, time=TIME)
    report = verify_pdf(data)
    assert (report.state, report.signed_by) == (SealState.INTACT, key.fingerprint)
    assert "signed by key" in " ".join(report.inside)
    data = sealed_part(data)
    seal = check_pdf(data)
    start = data.index(b"warmwatch-seal ")
    blank = data.replace(data[start : start + len(PLACEHOLDER)], PLACEHOLDER.encode())
    forged = seal_pdf(blank.replace(b"/Title", b"/Titel"), None)
    assert seal.signed_by == key.fingerprint
    assert verify_pdf(forged).signed_by == ""
    wrong = seal_pdf(blank, key).replace(key.public.hex().encode(), b"11" * 32)
    assert not check_pdf(wrong).intact


def test_a_second_seal_in_other_words_is_no_seal(tmp_path: Path) -> None:
    """Whatever else calls itself the seal, or repeats it too often, makes the page changed."""
    sealed = seal_pdf(b"%PDF-1.7 " + PLACEHOLDER.encode() + b" %%EOF", None)
    assert check_pdf(sealed).intact
    start = sealed.index(b"warmwatch-seal ")
    own = sealed[start : start + len(PLACEHOLDER)]
    other = own.replace(own[15:79], b"ab" * 32)
    for more in (other, own * 4):
        seal = check_pdf(sealed + more)
        assert (seal.found, seal.intact) == (True, False)
        assert "in different words" in seal.reason


def test_no_proof_of_a_changed_recording(tmp_path: Path) -> None:
    """It says at which row it was changed, and makes nothing."""
    path = record(tmp_path)
    path.write_bytes(path.read_bytes().replace(b",82.0,", b",83.0,", 1))
    with pytest.raises(RecordingError, match="changed at row"):
        gather(path)


@pytest.mark.slow
def test_a_torn_recording_says_so_on_the_page(tmp_path: Path) -> None:
    """Its proof can be made, and its missing end stands beside the verdict; verify says torn."""
    path = record(tmp_path)
    path.write_bytes(path.read_bytes()[:-9])
    data = proof_of(path)
    assert "The recording was not closed properly" in words(data, tmp_path)
    assert verify_pdf(data).exit_code == 3


@pytest.mark.slow
def test_an_end_torn_inside_a_character_is_attached_as_it_is(tmp_path: Path) -> None:
    """Bytes that are no text any more are evidence, too; odd file names do no harm."""
    items = [*check_items(), Mark(70.0, MarkName.NOTE, "läuft", UTC_S)]
    path = record(tmp_path, items, close=False)
    data = path.read_bytes()
    odd = tmp_path / "a b #1 'ü'.csv"
    odd.write_bytes(data[: data.rindex("ä".encode()) + 1])
    sidecar_path(odd).write_bytes(sidecar_path(path).read_bytes())
    made = proof_of(odd)
    assert attachments(made).recordings[0].recording == odd.read_bytes()
    assert verify_pdf(made).state is SealState.TORN


INJECTIONS = [
    "#panic(1) *bold* _it_ $x$ `raw` @label <tag> = head",
    "\\u{41} // comment /* x */ ~ -- ---",
    '"); json("x',
]


@pytest.mark.slow
def test_nothing_typed_is_read_as_markup(tmp_path: Path) -> None:
    """What a mechanic types stands on the page as it was typed."""
    items = list(check_items())
    end_s = items[-1].elapsed_s
    for number, note in enumerate([*INJECTIONS, "עברית و عربي", "日本語 😀"]):
        items.append(Mark(end_s + 1 + number, MarkName.NOTE, note, UTC_S))
    job = replace(JOB, vehicle="#v *van* $1$", notes=INJECTIONS[0])
    data = proof_of(record(tmp_path, items, job=job))
    text = words(data, tmp_path)
    assert INJECTIONS[0] in text
    assert "\\u{41} // comment /* x */ ~ -- ---" in text
    assert '"); json("x' in text
    assert "#v *van* $1$" in text
    assert verify_pdf(data).state is SealState.INTACT


def story(temps: Sequence[float], *marks: tuple[float, MarkName]) -> list[Item]:
    items: list[Item] = [
        Reading(float(t), {"fluid_c": c}, utc_s=UTC_S + t) for t, c in enumerate(temps)
    ]
    items += [Mark(at_s, name, "", UTC_S + at_s) for at_s, name in marks]
    return sorted(items, key=lambda item: item.elapsed_s)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("items", "says"),
    [
        (story([85.0] * 9), "No level check was recorded"),
        (story([85.0] * 9, (3.5, MarkName.PLUG_OUT)), "not recorded that the plug went in"),
        (
            story([78.0] * 9, (3.5, MarkName.PLUG_OUT), (6.5, MarkName.LEVEL_SET)),
            "Level set, but NOT inside 80 to 90 °C: the fluid was at 78 °C",
        ),
        (
            story([85.0] * 9, (3.5, MarkName.PLUG_OUT), (6.5, MarkName.PLUG_IN)),
            "that the level was set was not recorded",
        ),
        (
            [
                *story([85.0] * 9, (3.5, MarkName.PLUG_OUT)),
                Tick(20.0),
                Reading(21.0, {"fluid_c": 85.0}),
                Mark(22.0, MarkName.PLUG_IN),
            ],
            "the temperature was not known, for a time",
        ),
        ([], "No level check was recorded"),
    ],
)
def test_it_says_plainly_when_it_was_not_so(tmp_path: Path, items: list[Item], says: str) -> None:
    """Not inside, not known and no check are said in plain words, never dressed up."""
    text = words(proof_of(record(tmp_path, items)), tmp_path)
    assert says in text
    assert "Level set with the fluid" not in text


def test_amounts_typed_with_marks_reach_the_ledger(tmp_path: Path) -> None:
    """`drained 4.25 L 85 C` and the rest, unless the job file has a ledger of its own."""
    items = list(check_items())
    amounts = ((MarkName.DRAINED, "4.25 L 85 C"), (MarkName.FILLED, "4.05 L"))
    items += [Mark(70.0 + n, name, note, UTC_S) for n, (name, note) in enumerate(amounts)]
    path = record(tmp_path, items)
    facts = gather(path)
    assert [(e.act, e.litres) for e in facts.fluid.ledger] == [
        (Act.DRAINED, 4.25),
        (Act.FILLED, 4.05),
    ]
    later = FluidData(ledger=(Entry(Act.DRAINED, 3.0, 20.0),))
    assert gather(path, later=Later(later)).fluid.ledger == later.ledger
