"""proof, verify, jobs, fluid and key as a user types them: output and exit code."""

import json
from pathlib import Path

import pytest

from tests.recording.invented import record
from warmwatch.commands.main import run
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.seal.signature import signature_path

LEDGER = """
band = "80:90"
[fluid]
capacity_l = 8.5
[[fluid.ledger]]
act = "drained"
litres = 4.25
temp = "185F"
[[fluid.ledger]]
act = "filled"
litres = 4.05
temp = "20C"
"""


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home of its own, so that no real key is met."""
    for name in ("HOME", "APPDATA", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    return tmp_path


@pytest.mark.slow
def test_proof_and_verify_from_key_to_customer(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Make a key, sign, make the proof, verify both with the public part."""
    path = record(home / "r")
    assert run(["key", "make", "--name", "invented shop"]) == 0
    capsys.readouterr()
    assert run(["key", "public"]) == 0
    public = home / "public.pem"
    public.write_text(capsys.readouterr().out, encoding="ascii")
    assert run(["proof", str(path), "--sign", "-o", str(home / "p.pdf")]) == 0
    out = capsys.readouterr().out
    assert out.startswith("! Level set with the fluid at 83 to 84 °C, inside 80 to 90 °C")
    assert f"Next: warmwatch verify {home / 'p.pdf'}" in out
    assert signature_path(path).exists()
    for file in (path, home / "p.pdf"):
        assert run(["verify", str(file), "--key", str(public), "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        assert (told["state"], told["outcome"]) == ("intact", "set-inside")
        assert told["signature"]["name"] == "invented shop"
    assert run(["key", "make", "--name", "another", "--key", str(home / "other.pem")]) == 0
    capsys.readouterr()
    assert run(["key", "public", "--key", str(home / "other.pem")]) == 0
    public.write_text(capsys.readouterr().out, encoding="ascii")
    assert run(["verify", str(path), "--key", str(public)]) == 1
    assert "NOT SIGNED BY THAT KEY" in capsys.readouterr().out


def test_exit_codes_of_verify(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0 intact, 1 changed, 3 torn or never closed, and each is said in words."""
    path = record(home)
    assert run(["verify", str(path)]) == 0
    assert "intact" in capsys.readouterr().out
    whole = path.read_bytes()
    path.write_bytes(whole[:-1])
    assert run(["verify", str(path)]) == 3
    assert "TORN" in capsys.readouterr().out
    path.write_bytes(whole.replace(b",760.0,", b",761.0,", 1))
    assert run(["verify", str(path), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["row"] == 3
    assert run(["verify", str(record(home, close=False))]) == 3
    assert "never closed" in capsys.readouterr().out
    assert run(["verify", str(home / "none.csv")]) == 1
    assert capsys.readouterr().err.count("\n") == 1


def test_jobs_lists_newest_first(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """For people, and as one JSON object."""
    assert run(["jobs", str(home)]) == 0
    assert "No recording" in capsys.readouterr().out
    record(home)
    record(home, close=False)
    assert run(["jobs", str(home)]) == 0
    out = capsys.readouterr().out
    assert "! Level set with the fluid at 83 to 84 °C, inside 80 to 90 °C" in out
    assert "never closed" in out
    assert "Not verified" in out
    assert run(["jobs", str(home), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["verified"] is False
    assert sorted(str(job["outcome"]) for job in told["jobs"]) == ["None", "set-inside"]
    assert run(["jobs", str(home / "none")]) == 2


def test_fluid_balances_a_job_file(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The ledger at three temperatures, what to put in first, and the balance."""
    job = home / "job.toml"
    job.write_text(LEDGER, encoding="utf-8")
    assert run(["fluid", str(job)]) == 0
    out = capsys.readouterr().out
    assert "4.25 L at 85 °C" in out
    assert "What came out went back in" in out
    assert "What was drained takes up 4.04 L at 20 °C: put in that much first" in out
    assert run(["fluid", str(job), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["closes"] is True
    assert told["lines"][0]["at_20_l"] == pytest.approx(4.0446, abs=1e-4)


def test_fluid_tells_what_an_error_costs(capsys: pytest.CaptureFixture[str]) -> None:
    """10 degC and 2 degrees of tilt, in mL."""
    sizes = ["--capacity", "8.5", "--pan-length", "400", "--pan-width", "300"]
    assert run(["fluid", "--what-if", *sizes]) == 0
    out = capsys.readouterr().out
    assert "68 mL too little stays in" in out
    assert "up to 838 mL too much or too little" in out
    assert run(["fluid", "--what-if", *sizes, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["warm_ml"] < 0


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["fluid"], "There is no ledger"),
        (["fluid", "--what-if"], "--capacity"),
        (["fluid", "--what-if", "--capacity", "0.1"], "Capacity_l"),
        (["fluid", "--what-if", "--capacity", "8", "--at", "hot"], "is not a temperature"),
        (["fluid", "none.toml"], "There is no job file"),
        (["proof", "none.csv", "--sign"], "There is no key"),
        (["key", "sign", "none.csv"], "There is no key"),
        (["verify", "none.csv", "--key", "none.pem"], "none.csv"),
    ],
)
def test_mistakes_are_one_sentence(
    home: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    says: str,
) -> None:
    """What happened and what to do, no traceback."""
    monkeypatch.chdir(home)
    assert run(arguments) in (1, 2)
    error = capsys.readouterr().err
    assert says in error
    assert error.count("\n") == 1


def test_a_proof_never_overwrites_what_is_no_pdf(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A mistyped name must not cost a recording."""
    path = record(home)
    before = path.read_bytes()
    assert run(["proof", str(path), "-o", str(path)]) == 1
    assert "left alone" in capsys.readouterr().err
    assert path.read_bytes() == before


def test_amounts_may_come_later_from_a_job_file(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`proof --job` takes the ledger from it; one without the section is told."""
    path, job = record(home), home / "job.toml"
    job.write_text(LEDGER, encoding="utf-8")
    assert run(["proof", str(path), "--job", str(job)]) == 0
    job.write_text('band = "80:90"', encoding="utf-8")
    assert run(["proof", str(path), "--job", str(job)]) == 2
    assert "no [fluid], [shop] or [work] section" in capsys.readouterr().err


@pytest.mark.slow
def test_a_key_with_a_passphrase_from_the_environment(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """For shops that sign without anybody typing; without it the key stays shut."""
    monkeypatch.setenv("WARMWATCH_PASSPHRASE", "warm 85")
    assert run(["key", "make", "--name", "x", "--passphrase"]) == 0
    assert run(["key", "sign", str(record(home))]) == 0
    monkeypatch.setenv("WARMWATCH_PASSPHRASE", "wrong")
    assert run(["key", "sign", str(record(home))]) == 2
    assert "not the passphrase" in capsys.readouterr().err


@pytest.mark.slow
def test_only_a_proof_of_the_same_recording_is_overwritten(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another PDF, or the proof of another recording, may be all that is left of it."""
    path, other = record(home / "one"), record(home / "two")
    other_name = other.rename(other.with_name("other.csv"))
    sidecar_path(other).rename(sidecar_path(other_name))
    target = home / "p.pdf"
    assert run(["proof", str(path), "-o", str(target)]) == 0
    assert run(["proof", str(path), "-o", str(target)]) == 0
    before = target.read_bytes()
    assert run(["proof", str(other_name), "-o", str(target)]) == 1
    assert "left alone" in capsys.readouterr().err
    assert target.read_bytes() == before
    foreign = home / "manual.pdf"
    foreign.write_bytes(b"%PDF-1.4\nsomebody's own")
    assert run(["proof", str(path), "-o", str(foreign)]) == 1
    assert foreign.read_bytes() == b"%PDF-1.4\nsomebody's own"
    assert run(["proof", str(path), "-o", str(home / "none" / "p.pdf")]) == 1
    assert "cannot be written" in capsys.readouterr().err
    assert not list(home.glob("**/*.part"))
