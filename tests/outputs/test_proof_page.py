"""The page of a proof against its recording: forged pages, other versions, other keys."""

import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from tests.outputs.test_proof_looks import TOLD, check
from tests.recording.invented import record
from warmwatch.core.paperwork import Work
from warmwatch.outputs.proof import document, making
from warmwatch.outputs.proof.document import make_proof
from warmwatch.outputs.proof.making import Making
from warmwatch.outputs.proof.page import proof_page
from warmwatch.outputs.proof.reading import verify_pdf
from warmwatch.outputs.proof.visit import Later, Visit, gather
from warmwatch.recording.seal.key import ShopKey, make_key, sign_recording
from warmwatch.recording.seal.pdf import seal_pdf
from warmwatch.recording.seal.report import SealState, require_key
from warmwatch.recording.seal.shop_log import entry_of, note, signature_of

pytestmark = pytest.mark.slow

TIME = "2026-06-02T03:04:05Z"


@pytest.fixture(scope="module")
def key() -> ShopKey:
    """The shop's key."""
    return make_key(Path(tempfile.mkdtemp()) / "key.pem", "invented shop")


def forged(visit: Visit, changes: dict[str, object], key: ShopKey | None = None) -> bytes:
    """Return a proof whose page says something else, sealed as if it were genuine."""
    real = proof_page

    def lying(visit: Visit) -> dict[str, object]:
        return real(visit) | changes

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(document, "proof_page", lying)
        return make_proof(visit, paper="a4", key=key, time=TIME)


LIES: dict[str, dict[str, object]] = {
    "temperature": {"verdict": "Level set with the fluid at 86 °C, inside 85 to 90 °C."},
    "sign": {"sign": "✔"},
    "vehicle": {"title": "Proof of check temperature: another"},
    "band": {"about": [["Check temperature", "70 to 95 °C"]]},
    "conditions": {"conditions": [["✔", "engine idling", "met", "712 1/min"]]},
    "a word more": {"proves": "This is certified."},
    "a remark less": {"remarks": []},
}


@pytest.mark.parametrize("lie", LIES)
def test_a_forged_page_with_its_seal_made_anew_is_changed(tmp_path: Path, lie: str) -> None:
    """The seal is no secret; the page must be the one that the recording gives."""
    visit = gather(record(tmp_path, check()))
    report = verify_pdf(forged(visit, LIES[lie]))
    assert report.state is SealState.CHANGED
    assert "not the one" in report.reason


def test_a_page_signed_for_another_recording_does_not_pass(tmp_path: Path, key: ShopKey) -> None:
    """A lie in a page stays one when the shop itself signs it."""
    path = record(tmp_path, check())
    sign_recording(path, key, TIME)
    report = verify_pdf(forged(gather(path), LIES["temperature"], key))
    assert report.state is SealState.CHANGED


def test_recording_signed_page_not_is_a_state_of_its_own(tmp_path: Path, key: ShopKey) -> None:
    """Who made the page is not known then, and verify says so with exit code 5."""
    path = record(tmp_path, check())
    sign_recording(path, key, TIME)
    unsigned = verify_pdf(make_proof(gather(path), paper="a4", key=None, time=TIME))
    assert (unsigned.state, unsigned.exit_code) == (SealState.PAGE_UNSIGNED, 5)
    assert require_key(unsigned, key.fingerprint).state is SealState.OTHER_KEY
    other = make_key(tmp_path / "other.pem", "somebody else")
    by_other = verify_pdf(make_proof(gather(path), paper="a4", key=other, time=TIME))
    assert by_other.state is SealState.PAGE_UNSIGNED
    whole = verify_pdf(make_proof(gather(path), paper="a4", key=key, time=TIME))
    assert (whole.state, whole.signed_by) == (SealState.INTACT, key.fingerprint)


def test_a_page_that_claims_a_signature_it_does_not_have_is_changed(tmp_path: Path) -> None:
    """ "Signed by key ..." may only stand there where it is so."""
    key = make_key(tmp_path / "key.pem", "invented shop")
    visit = gather(record(tmp_path, check()))
    claimed = Making("a4", TIME, (visit.recordings[0].path.name,), key.fingerprint, key.name)
    report = verify_pdf(seal_pdf(document.unsealed(visit, claimed), None))
    assert report.state is SealState.CHANGED
    assert "says it is signed" in report.reason


def made_elsewhere(visit: Visit, maker: Callable[[], bytes], **versions: str) -> bytes:
    """Return what `maker` makes while the typesetter calls itself another one."""
    other = dict(making.typesetter()) | versions
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(document, "typesetter", lambda: tuple(other.items()))
        return maker()


def test_another_typesetter_is_said_and_the_words_are_compared(
    tmp_path: Path, key: ShopKey
) -> None:
    """Without a signature on the page that is no INTACT; a signature vouches for it."""
    visit = gather(record(tmp_path, check()))
    make = lambda: make_proof(visit, paper="a4", key=None, time=TIME)  # noqa: E731
    plain = made_elsewhere(visit, make, typst="0.1")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(document, "STANDARDS", ("a-3b",))  # as another typesetter would: other bytes
        other = verify_pdf(plain)
    assert (other.state, other.exit_code) == (SealState.PAGE_NOT_MADE, 6)
    assert "has the words" in other.inside[0]
    assert "typst 0.1" in other.inside[0]
    signed = made_elsewhere(
        visit, lambda: make_proof(visit, paper="a4", key=key, time=TIME), typst="0.1"
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(document, "STANDARDS", ("a-3b",))
        assert verify_pdf(signed).state is SealState.INTACT


@pytest.mark.parametrize("lie", ["temperature", "vehicle", "sign", "a word more"])
def test_a_forged_page_of_another_typesetter_is_changed_or_not_vouched_for(
    tmp_path: Path, lie: str
) -> None:
    """To claim another version does not help: other words or other facts are found."""
    visit = gather(record(tmp_path, check()))
    make = lambda: forged(visit, LIES[lie])  # noqa: E731
    assert verify_pdf(made_elsewhere(visit, make, typst="0.1")).state is SealState.CHANGED
    wild = verify_pdf(made_elsewhere(visit, make, warmwatch="9", source="0"))
    assert wild.state in (SealState.CHANGED, SealState.PAGE_NOT_MADE)


def test_what_only_the_page_says_is_named(tmp_path: Path) -> None:
    """Amounts and work given later stand in no recording: verify says which they are."""
    visit = gather(record(tmp_path, check()), later=Later(work=Work(plate="INV-123")))
    report = verify_pdf(make_proof(visit, paper="a4", key=None, time=TIME))
    assert report.state is SealState.INTACT
    assert report.told == ("work: plate",)


def test_verify_prints_the_facts_it_vouches_for(tmp_path: Path) -> None:
    """Vehicle, band and temperatures come from the recording, not from the page."""
    path = record(tmp_path, check(), job=replace(TOLD, band_source="the book"))
    vouched = verify_pdf(make_proof(gather(path), paper="a4", key=None, time=TIME)).vouched
    assert vouched is not None
    assert (vouched.verdict.low_c, vouched.verdict.high_c) == (84.0, 84.0)
    assert vouched.job.band_source == "the book"


def test_a_proof_tells_its_line_in_the_shops_log(tmp_path: Path, key: ShopKey) -> None:
    """The line holds by itself; and the log, where it is at hand, must still begin like that."""
    path = record(tmp_path, check())
    sign_recording(path, key, TIME)
    signature = signature_of(path)
    assert signature is not None
    lines = [b"an earlier one", entry_of(signature)]
    noted = note(lines, [signature], key)
    data = make_proof(gather(path), paper="a4", key=key, time=TIME, noted=noted)
    report = verify_pdf(data, [*lines, b"a later one"])
    assert (report.state, report.reason) == (SealState.INTACT, "")
    assert any("line 2 of 2" in text for text in report.inside)
    assert verify_pdf(data).state is SealState.INTACT
    assert verify_pdf(data, lines[1:]).state is SealState.NOT_IN_LOG
    false = replace(noted, lines=((0, noted.lines[0][1]),))
    forged = make_proof(gather(path), paper="a4", key=key, time=TIME, noted=false)
    assert verify_pdf(forged).state is SealState.CHANGED
    silent = make_proof(gather(path), paper="a4", key=key, time=TIME)
    assert verify_pdf(silent, lines).state is SealState.NOT_IN_LOG
