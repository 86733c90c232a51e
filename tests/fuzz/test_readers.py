"""Whatever is in a file: the readers answer or refuse in one sentence, and never crash.

The coverage-guided runs (`python -m tests.fuzz.guided`) start from the same mutations.
"""

import contextlib
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz.targets import job_file, pdf_bytes, recording_bytes
from tests.recording.invented import check_items, record
from warmwatch.core.job import job_from_mapping, job_to_mapping
from warmwatch.errors import RecordingError, UsageError
from warmwatch.outputs.proof.document import make_proof
from warmwatch.outputs.proof.visit import gather
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.reader import RowReader

LESS = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.fixture(scope="module")
def genuine(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, bytes, bytes]:
    """A recording, its sidecar and its proof, as bytes."""
    path = record(tmp_path_factory.mktemp("genuine"), check_items(16, 0.25))
    pdf = make_proof(gather(path), paper="a4", key=None, time="2026-01-01T00:00:00Z")
    return path.read_bytes(), sidecar_path(path).read_bytes(), pdf


Edit = Callable[[bytes], bytes]


@st.composite
def edits(draw: st.DrawFn) -> Edit:
    """Draw a small change of bytes: cut, overwrite, insert, repeat."""
    share, kind = draw(st.floats(0, 1)), draw(st.sampled_from(["cut", "over", "insert", "repeat"]))
    piece = draw(
        st.binary(max_size=12)
        | st.sampled_from([b"\r\n", b"\0" * 70_000, b'"', b",", b"nan", b"{"])
    )
    count = draw(st.integers(1, 400))

    def edit(data: bytes) -> bytes:
        at = int(share * len(data))
        if kind == "cut":
            return data[:at] + data[at + count :]
        if kind == "repeat":
            return data[:at] + data[at : at + count] * 3 + data[at + count :]
        rest = at if kind == "insert" else at + len(piece)
        return data[:at] + piece + data[rest:]

    return edit


@LESS
@given(changes=st.lists(edits(), min_size=1, max_size=4), sidecar_too=st.booleans())
def test_verify_answers_whatever_the_bytes(
    genuine: tuple[bytes, bytes, bytes], changes: list[Edit], sidecar_too: bool
) -> None:
    """A mutated recording, with its chain as it is or made anew, gives a report."""
    data, sidecar, _ = genuine
    for change in changes:
        data = change(data)
        sidecar = change(sidecar) if sidecar_too else sidecar
    recording_bytes(data, sidecar)


@LESS
@given(data=st.binary(max_size=2000))
def test_verify_answers_to_noise(data: bytes) -> None:
    """Any bytes at all."""
    recording_bytes(data, data)
    pdf_bytes(b"%PDF-1.7\n" + data)


@LESS
@given(changes=st.lists(edits(), min_size=1, max_size=3))
def test_the_reader_gives_rows_or_one_sentence(
    genuine: tuple[bytes, bytes, bytes], changes: list[Edit], tmp_path: Path
) -> None:
    """Every row before damage, then an error or a torn end."""
    data = genuine[0]
    for change in changes:
        data = change(data)
    path = tmp_path / "x.csv"
    path.write_bytes(data)
    with contextlib.suppress(RecordingError):
        list(RowReader(path))


@pytest.mark.slow
@settings(LESS, max_examples=15)  # each takes half a second; the guided runs take thousands
@given(changes=st.lists(edits(), min_size=1, max_size=4))
def test_a_forged_and_resealed_pdf_is_taken_apart_safely(
    genuine: tuple[bytes, bytes, bytes], changes: list[Edit]
) -> None:
    """Mutated and sealed anew, so that it is really parsed: a report, within bounded memory."""
    data = genuine[2]
    for change in changes:
        data = change(data)
    pdf_bytes(data)


KEYS = st.sampled_from(["band", "drain_band", "fluid", "check", "ledger", "low_c", "high_c"]) | (
    st.sampled_from(["tilt_deg", "lead_s", "vehicle", "unit", "capacity_l", "act", "litres"])
    | st.sampled_from(["temp", "in_park", "poll_s", "notes"])
)
VALUES: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=10,
)


@pytest.mark.slow
@settings(max_examples=400, deadline=None)
@given(extra=st.dictionaries(KEYS, VALUES, max_size=5))
def test_any_mapping_is_a_job_or_refused(extra: dict[str, Any]) -> None:
    """ValueError naming what is wrong, or a job that comes back the same."""
    mapping = {"band": {"low_c": 80, "high_c": 90}, **extra}
    try:
        job = job_from_mapping(mapping)
    except ValueError:
        return
    assert job_from_mapping(job_to_mapping(job)) == job


@LESS
@given(text=st.text(max_size=200) | st.binary(max_size=200).map(lambda b: b.decode("latin-1")))
def test_any_text_is_a_job_file_or_refused(text: str, tmp_path: Path) -> None:
    """UsageError in one sentence, for TOML that is none and for keys that are none."""
    job_file(text.encode("utf-8", "replace"), tmp_path / "job.toml")


@pytest.mark.parametrize(
    "text",
    [
        'band = "80:90"\nbandd = 1',
        "band = 80",
        'band = "90:80"',
        'band = "80:90"\n[fluid]\ncapacity_l = "8"',
        'band = "80:90"\n[[fluid.ledger]]\nact = "drained"',
        'band = "80:90"\nfluid = 5',
        'band = "80:90"\ndrain_band = "x"',
        'band = "80:90"\ndrain_band = 5',
        'band = "80:90"\n[check]\ntilt = 5',
        'band = "80:90"\nx = ' + "[" * 3000,
    ],
)
def test_mistakes_in_a_job_file_are_named(text: str, tmp_path: Path) -> None:
    """Each is refused with the name of the file in the sentence."""
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    from warmwatch.commands.options import JobFile, make_job
    from warmwatch.links import parse_address

    with pytest.raises(UsageError):
        make_job(parse_address("lines:-"), JobFile.of(path), None, None)


@pytest.mark.parametrize(
    ("names", "says"),
    [
        ([], "no recording"),
        (["a.csv", "b.csv"], "more than one"),
        (["a.csv", "a.csv-metadata.json", "virus.exe"], "belongs to no proof"),
        (["a.csv", "a.csv-metadata.json", "a.csv-signature.json", "more"], "belongs to no proof"),
        (["a.csv"], "sidecar is missing"),
    ],
)
def test_a_pdf_with_other_things_in_it_is_no_proof(
    genuine: tuple[bytes, bytes, bytes], names: list[str], says: str
) -> None:
    """Sealed or not, what is attached must be one recording and its companions."""
    made = pypdf.PdfWriter()
    made.add_blank_page(100, 100)
    for name in names:
        made.add_attachment(name, genuine[0])
    out = io.BytesIO()
    made.write(out)
    report = pdf_bytes(out.getvalue())
    assert report.exit_code == 1
    assert says in report.reason


@pytest.mark.slow
def test_a_pdf_bomb_is_refused_in_bounded_memory(
    genuine: tuple[bytes, bytes, bytes],
) -> None:
    """An attachment of 1 GB of zeros in a few MB: not unpacked, and said to be no proof."""
    import resource
    import zlib

    packer = zlib.compressobj(9)
    squeezed = b"".join(packer.compress(bytes(1 << 24)) for _ in range(64)) + packer.flush()
    assert len(squeezed) < 4 << 20
    name = "(x.csv)"
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R /Names << /EmbeddedFiles << /Names "
        b"[" + name.encode() + b" 3 0 R] >> >> >>",
        b"<< /Type /Pages /Kids [] /Count 0 >>",
        b"<< /Type /Filespec /F (x.csv) /UF (x.csv) /EF << /F 4 0 R >> >>",
        b"<< /Type /EmbeddedFile /Filter /FlateDecode /Length %d >>\nstream\n" % len(squeezed)
        + squeezed
        + b"\nendstream",
    ]
    out = io.BytesIO()
    out.write(b"%PDF-1.7\n")
    places = []
    for number, body in enumerate(objects, 1):
        places.append(out.tell())
        out.write(b"%d 0 obj\n" % number + body + b"\nendobj\n")
    start = out.tell()
    out.write(
        b"xref\n0 5\n0000000000 65535 f \n" + b"".join(b"%010d 00000 n \n" % p for p in places)
    )
    out.write(b"trailer << /Size 5 /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % start)
    before_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    report = pdf_bytes(out.getvalue())
    assert "cannot be taken apart" in report.reason
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kib < 400_000
