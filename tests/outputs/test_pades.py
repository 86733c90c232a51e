"""The PDF signature behind the seal, with poppler's pdfsig and qpdf as independent readers."""

import io
import subprocess
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from pyhanko.pdf_utils import generic as untyped
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from tests.outputs.test_proof_looks import check
from tests.recording.invented import record
from warmwatch.outputs.proof.document import make_proof
from warmwatch.outputs.proof.pades import with_pdf_signature
from warmwatch.outputs.proof.reading import verify_pdf
from warmwatch.outputs.proof.visit import gather
from warmwatch.recording.seal.key import ShopKey, make_key, sign_recording
from warmwatch.recording.seal.pdf import sealed_part
from warmwatch.recording.seal.report import SealState

generic: Any = untyped
TIME = "2026-06-02T03:04:05Z"
MOMENT = datetime(2026, 6, 2, tzinfo=UTC)


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, ShopKey]:
    """A proof signed by a shop, and its key."""
    folder = tmp_path_factory.mktemp("signed")
    path, key = record(folder, check()), make_key(folder / "key.pem", "invented shop")
    sign_recording(path, key, TIME)
    return make_proof(gather(path), paper="a4", key=key, time=TIME), key


@pytest.mark.slow
def test_other_programs_find_a_valid_signature_over_the_whole_file(
    signed: tuple[bytes, ShopKey], tmp_path: Path
) -> None:
    """pdfsig checks the numbers itself; that it trusts no unknown issuer is as it should be."""
    file = tmp_path / "proof.pdf"
    file.write_bytes(signed[0])
    told = subprocess.run(["pdfsig", str(file)], capture_output=True, text=True).stdout
    assert "Signature is Valid." in told
    assert "Total document signed" in told
    assert "ETSI.CAdES.detached" in told
    assert "CN=proof by invented shop" in told.replace('"', "")
    whole = subprocess.run(["qpdf", "--check", str(file)], capture_output=True, text=True)
    assert whole.returncode == 0, whole.stderr


@pytest.mark.slow
def test_verify_wants_it_whole_and_by_the_same_key(signed: tuple[bytes, ShopKey]) -> None:
    """A tail cut, lengthened, changed, twice, or by another key is a change; without it is fine."""
    data, _ = signed
    assert verify_pdf(data).state is SealState.INTACT
    assert any("PAdES" in text for text in verify_pdf(data).inside)
    sealed = sealed_part(data)
    assert verify_pdf(sealed).state is SealState.INTACT
    middle = (len(sealed) + len(data)) // 2
    tail = [
        data[:-9],
        data + b"%",
        data + data[len(sealed) :],
        data[:middle] + bytes([data[middle] ^ 1]) + data[middle + 1 :],
        sealed + b"\n%%EOF",
    ]
    for changed in tail:
        assert verify_pdf(changed).state is SealState.CHANGED


def test_a_stranger_cannot_sign_for_the_shop(signed: tuple[bytes, ShopKey], tmp_path: Path) -> None:
    """A certificate with the shop's name by another key is found out."""
    stranger = make_key(tmp_path / "key.pem", "invented shop")
    report = verify_pdf(with_pdf_signature(sealed_part(signed[0]), stranger, MOMENT))
    assert report.state is SealState.CHANGED
    assert "not by the key that sealed it" in report.reason


@pytest.mark.parametrize("where", ["page", "stream", "annotation"])
def test_a_page_changed_behind_the_seal_is_found(signed: tuple[bytes, ShopKey], where: str) -> None:
    """Drawn over the page, put in place of its content, or laid on it as a note: a change, even
    when the shop itself signs it.
    """
    data, key = signed
    writer: Any = IncrementalPdfFileWriter(io.BytesIO(sealed_part(data)))
    page = writer.root["/Pages"]["/Kids"][0]
    drawn = generic.StreamObject(stream_data=b"q 0 0 0 rg 50 700 200 50 re f Q")
    if where == "page":
        writer.add_stream_to_page(0, writer.add_object(drawn))
    elif where == "stream":
        content = page.raw_get("/Contents")
        content.get_object()._data = b"q Q"
        page["/Contents"] = writer.add_object(drawn)
        writer.update_container(page)
    else:
        box = generic.ArrayObject([generic.NumberObject(n) for n in (50, 700, 250, 750)])
        note = {"/Type": "/Annot", "/Subtype": "/FreeText", "/Contents": "86 to 87"}
        made = generic.DictionaryObject({generic.pdf_name("/Rect"): box})
        for name in ("/Type", "/Subtype"):
            made[name] = generic.pdf_name(note[name])
        made["/Contents"] = generic.pdf_string(note["/Contents"])
        page["/Annots"] = generic.ArrayObject([writer.add_object(made)])
        writer.update_container(page)
    out = io.BytesIO()
    writer.write(out)
    again = with_pdf_signature(out.getvalue(), key, MOMENT)
    report = verify_pdf(again)
    assert report.state is SealState.CHANGED


def test_what_the_shop_signs_over_a_note_is_found(signed: tuple[bytes, ShopKey]) -> None:
    """A tail that holds a second revision is none that a signature alone makes."""
    twice = with_pdf_signature(sealed_part(signed[0]) + b"\n", signed[1], MOMENT)
    assert verify_pdf(twice + b"\n%%EOF\n").state is SealState.CHANGED
