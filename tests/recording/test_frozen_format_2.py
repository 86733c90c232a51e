"""Recordings of format 2 are read, drawn, proved and verified for ever."""

from pathlib import Path

import pytest

import warmwatch
from warmwatch.commands.main import run
from warmwatch.outputs.proof.reading import verify_file
from warmwatch.recording.fold import fold_digest
from warmwatch.recording.seal.key import public_fingerprint
from warmwatch.recording.seal.report import Report, SealState
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.sidecar import read_sidecar

pytestmark = pytest.mark.slow

FROZEN = Path(__file__).parent / "frozen" / "0.2"
RECORDINGS = {path.parent.name: path for path in sorted(FROZEN.glob("*/*.csv"))}
KEY = public_fingerprint(FROZEN / "shop-public.pem")
SENTENCE = "its events were made by another version and were not worked out again"
every = pytest.mark.parametrize("name", ["check", "signed"])


@every
def test_it_is_read_drawn_and_replayed(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Numbers come as numbers, a picture is made, and a watch takes it as a link."""
    path = RECORDINGS[name]
    frame = warmwatch.read_recording(path)
    assert frame.attrs["sidecar"]["warmwatch:format"] == "warmwatch recording 2"
    assert frame["fluid_c"].notna().sum() > 50
    assert run(["plot", str(path), "-o", str(tmp_path / "p.png")]) == 0
    assert run(["watch", str(path), "--no-record", "--json", "--quiet"]) == 0
    assert '"kind": "summary"' in capsys.readouterr().out


def of_its_fold(name: str, report: Report) -> bool:
    """Whether the events were worked out again by the fold that made them, or that is told."""
    if read_sidecar(RECORDINGS[name])["warmwatch:versions"]["fold"] == fold_digest():
        return report.events == "same"
    return report.events == "not worked out" and SENTENCE in report.reason


def test_an_unsigned_one_is_never_intact_unseen(tmp_path: Path) -> None:
    """Intact while its own fold is ours; later exit code 4 and the sentence. So is its proof."""
    report = verify_recording(RECORDINGS["check"])
    assert of_its_fold("check", report)
    assert report.state in (SealState.INTACT, SealState.OTHER_VERSION)
    assert (report.exit_code == 0) is (report.events == "same")
    proof = tmp_path / "p.pdf"
    assert run(["proof", str(RECORDINGS["check"]), "-o", str(proof)]) == 0
    assert verify_file(proof).exit_code == report.exit_code


def test_a_signed_one_stays_good() -> None:
    """Exit code 0 by its key, whatever fold made its events; and the same for its proof."""
    report = verify_recording(RECORDINGS["signed"])
    assert (report.state, report.exit_code, report.signed_by) == (SealState.INTACT, 0, KEY)
    assert of_its_fold("signed", report)
    proof = verify_file(FROZEN / "signed-proof.pdf")
    assert (proof.exit_code, proof.signed_by) == (0, KEY)
