"""The cautions before a job that declares holds against the brakes."""

from dataclasses import replace
from pathlib import Path

import pytest

from tests.compare.made import Warm, warm_items, write
from warmwatch.analysis.methods.loading import declares_loading
from warmwatch.commands.cautions import acknowledge_loading
from warmwatch.commands.main import run
from warmwatch.core.band import Band
from warmwatch.core.job import Job, job_from_mapping
from warmwatch.errors import UsageError
from warmwatch.links.kinds import KINDS
from warmwatch.recording.reader import read_recording
from warmwatch.words.cautions import loading_cautions, loading_text, loosened_limits

LOADED = Job(Band(80.0, 90.0), method="loaded")


@pytest.mark.parametrize("method", ["loaded", "Stall", "brake torque", "holds of 5 s", "LOAD"])
def test_labels_that_declare_holds(method: str) -> None:
    """Whatever the label says of loading, stalling, braking or holding, the cautions come."""
    assert declares_loading(method)


@pytest.mark.parametrize("method", ["", "idle", "drive", "fast-idle", "heater"])
def test_labels_that_declare_none(method: str) -> None:
    """Idling and driving ask for nothing."""
    assert not declares_loading(method)
    assert (
        acknowledge_loading(Job(Band(80.0, 90.0), method=method), KINDS["can"], given=False) == ""
    )


def test_every_danger_is_named() -> None:
    """The cautions name what the method can do, and the job's own limits."""
    text = loading_text(LOADED)
    for words in (
        "nobody in front of it or behind it",
        "wheels chocked",
        "foot brake both on",
        "Never be under the vehicle",
        "Service information may forbid it",
        "faster than the sensor shows",
        "slip, smell or an unusual noise",
        "carbon monoxide",
        "5 s at the latest",
        "60 s",
        "110 °C",
        "115 °C",
    ):
        assert words in text, words
    assert all(caution in text for caution in loading_cautions())


@pytest.mark.parametrize(
    ("limit", "value", "told"),
    [
        ("hold_limit_s", 20.0, "hold limit to 20 s; common practice is 5 s"),
        ("rest_s", 10.0, "rest between holds to 10 s; common practice is 60 s"),
        ("fluid_ceiling_c", 140.0, "ceiling of the fluid to 140 °C"),
        ("coolant_ceiling_c", 130.0, "ceiling of the coolant to 130 °C"),
    ],
)
def test_a_loosened_limit_is_never_silent(limit: str, value: float, told: str) -> None:
    """A limit looser than usual is told before every job; a tighter one is not."""
    band = {"low_c": 80.0, "high_c": 90.0}
    (sentence,) = loosened_limits(job_from_mapping({"band": band, limit: value}))
    assert told in sentence
    assert loosened_limits(LOADED) == []
    assert loosened_limits(replace(LOADED, hold_limit_s=4.0, rest_s=90.0)) == []


def test_without_a_person_the_option_is_needed(capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody to ask and no option: the watch does not begin; with the option a note is kept."""
    with pytest.raises(UsageError, match="--cautions-understood"):
        acknowledge_loading(LOADED, KINDS["can"], given=False)
    assert loading_cautions()[0] in capsys.readouterr().err
    assert "understood" in acknowledge_loading(LOADED, KINDS["can"], given=True)


@pytest.mark.parametrize(("typed", "goes_on"), [("understood", True), ("Understood ", True),
                                                ("yes", False), ("", False)])  # fmt: skip
def test_a_person_types_the_word(
    monkeypatch: pytest.MonkeyPatch, typed: str, goes_on: bool
) -> None:
    """At a terminal the word itself has to be typed; anything else does not begin the watch."""
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("click.prompt", lambda *_, **__: typed)
    if goes_on:
        assert acknowledge_loading(LOADED, KINDS["serial"], given=False)
        return
    with pytest.raises(UsageError, match="were not acknowledged"):
        acknowledge_loading(LOADED, KINDS["serial"], given=False)


@pytest.mark.parametrize(("kind", "shown"), [("csv", False), ("demo", True)])
def test_what_warms_nothing_asks_nothing(
    capsys: pytest.CaptureFixture[str], kind: str, shown: bool
) -> None:
    """A replay shows nothing; the invented vehicle shows the cautions and asks nobody."""
    assert acknowledge_loading(LOADED, KINDS[kind], given=False) == ""
    assert (loading_cautions()[0] in capsys.readouterr().err) is shown


def test_the_acknowledgement_stands_in_the_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Readings from a pipe with a loaded job: refused without the option, recorded with it."""
    feed = tmp_path / "feed"
    feed.write_text("60\n61\n62\n", encoding="utf-8")
    wish = ["watch", "lines:-", "--band", "80:90", "--method", "loaded", "--quiet", "--plain"]
    wish += ["--record", str(tmp_path / "r")]
    with feed.open(encoding="utf-8") as stream:
        monkeypatch.setattr("sys.stdin", stream)
        assert run(wish) == 2
        assert not (tmp_path / "r").exists()
        assert "--cautions-understood" in capfd.readouterr().err
        assert run([*wish, "--cautions-understood"]) == 0
    (path,) = (tmp_path / "r").glob("*.csv")
    frame = read_recording(path)
    marks = frame[frame["kind"] == "mark"]
    assert marks["name"].tolist() == ["acknowledge"]
    assert "understood" in marks["text"].iloc[0]


def test_a_replay_of_a_loaded_job_runs(tmp_path: Path) -> None:
    """Looking at an old recording with holds in it needs no acknowledgement."""
    path = write(tmp_path, warm_items(Warm(), 60), method="loaded")
    assert run(["watch", str(path), "--no-record", "--plain"]) == 0
