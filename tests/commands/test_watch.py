"""`warmwatch watch`: outputs, options, exit codes, bad input."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

import warmwatch as package
from tests.commands.conftest import Run
from warmwatch.recording.names import sidecar_path

COLUMNS = ("--column", "elapsed_s=t", "--column", "fluid_c=temp")
WATCH = [sys.executable, "-m", "warmwatch", "watch"]


@pytest.fixture
def rise(tmp_path: Path) -> Path:
    """A rise of 2 degC a minute from 40 degC, in whole degrees, for 30 minutes."""
    path = tmp_path / "rise.csv"
    rows = "".join(f"{t},{int(40 + t / 30)}\n" for t in range(1800))
    path.write_text("t,temp\n" + rows, encoding="utf-8")
    return path


def lines(out: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in out.splitlines()]


def events(out: str) -> list[str]:
    return [line["event"] for line in lines(out) if line["kind"] == "event"]


@pytest.mark.slow
def test_json_tells_the_whole_story(warmwatch: Run, rise: Path) -> None:
    """Readings, forecasts, events and the summary follow the contract of docs/json.md."""
    ran = warmwatch("watch", rise, *COLUMNS, "--band", "80:90", "--json", "--quiet", "--no-record")
    assert ran.code == 0
    assert events(ran.out) == ["nearing", "entered", "top-nearing", "left-high"]
    told = lines(ran.out)
    assert {line["kind"] for line in told} == {
        "reading",
        "forecast",
        "event",
        "step",
        "summary",
    }
    (entered,) = [line for line in told if line.get("event") == "entered"]
    assert (entered["elapsed_s"], entered["crossed_s"], entered["fluid_c"]) == (
        1203.0,
        1200.0,
        80.0,
    )
    (window,) = told[-1]["windows"]
    assert (window["min_c"], window["max_c"], window["left_crossed_s"]) == (80.0, 90.0, 1530.0)
    assert told[-1]["readings"] == 1800


def test_json_says_whether_the_step_is_allowed(warmwatch: Run, tmp_path: Path) -> None:
    """While the engine runs fast the plug is not to be opened; a line says when it may be."""
    table = tmp_path / "fast.csv"
    rows = [f"{t},85.0,{2000 if t < 60 else 700},0" for t in range(300)]
    table.write_text("\n".join(["t,temp,rpm,speed", *rows]), encoding="utf-8")
    columns = ["elapsed_s=t", "fluid_c=temp", "engine_rpm=rpm", "speed_kmh=speed"]
    words = [word for column in columns for word in ("--column", column)]
    ran = warmwatch("watch", table, *words, "--band", "80:90", "--json", "--quiet", "--no-record")
    assert ran.code == 0, ran.err
    steps = [line for line in lines(ran.out) if line["kind"] == "step"]
    assert [(line["step"], line["allowed"]) for line in steps] == [
        ("open-plug", False),
        ("open-plug", True),
    ]
    assert steps[-1]["elapsed_s"] > 60


@pytest.mark.slow
def test_the_window_agrees_with_an_independent_computation(warmwatch: Run, rise: Path) -> None:
    """The first and last second inside the band, found by a plain scan of the file."""
    rows = [row.split(",") for row in rise.read_text(encoding="utf-8").splitlines()[1:]]
    inside = [float(t) for t, temp in rows if 60 <= float(temp) <= 70]
    ran = warmwatch("watch", rise, *COLUMNS, "--band", "60:70", "--json", "--no-record", "--quiet")
    (window,) = lines(ran.out)[-1]["windows"]
    assert window["entered_crossed_s"] == inside[0]
    assert window["left_crossed_s"] == inside[-1] + 1


@pytest.mark.slow
def test_a_replayed_recording_gives_the_same_events(warmwatch: Run, rise: Path) -> None:
    """Feeding the recording back gives identical readings, events and forecasts."""
    first = warmwatch("watch", rise, *COLUMNS, "--band", "80:90", "--json", "--record", "r")
    (recording,) = Path("r").glob("*.csv")
    again = warmwatch("watch", recording, "--json", "--no-record", "--quiet")
    assert lines(again.out)[:-1] == lines(first.out)[:-1]
    frame = package.read_recording(recording)
    told = list(frame[frame["kind"] == "event"]["name"])
    assert told == events(first.out)
    assert frame.attrs["closed"]


@pytest.mark.slow
def test_plain_lines_say_it_in_words(warmwatch: Run, rise: Path) -> None:
    """Without a terminal there is a sentence for each event, the summary and what to do next."""
    ran = warmwatch("watch", rise, *COLUMNS, "--band", "80:90", "--quiet")
    assert "20:03  In the band 80 to 90 °C (80 °C), since 20:00" in ran.out
    assert "Left the band at the top (91 °C), crossed at 25:30" in ran.out
    assert "Next: warmwatch plot" in ran.out
    assert "Caution" in ran.out


@pytest.mark.slow
def test_fahrenheit_everywhere(warmwatch: Run, rise: Path) -> None:
    """185F:203F is 85 to 95 degC (common practice, no source), and is shown in degF."""
    ran = warmwatch(
        "watch", f"csv:{rise}?unit=C", *COLUMNS, "--band", "185:203", "--unit", "F", "--quiet"
    )
    assert ran.code == 0
    assert "In the band 185 to 203 °F (185 °F), since 22:30" in ran.out


@pytest.mark.slow
@pytest.mark.parametrize(
    ("until", "last_s"), [("entered", 1203.0), ("left", 1533.0), ("100", 100.0)]
)
def test_until_ends_the_watch(warmwatch: Run, rise: Path, until: str, last_s: float) -> None:
    """It ends at the event, or after so many recorded seconds, and closes the recording."""
    ran = warmwatch(
        "watch", rise, *COLUMNS, "--band", "80:90", "--json", "--until", until, "--record", "r"
    )
    readings = [line for line in lines(ran.out) if line["kind"] == "reading"]
    assert readings[-1]["elapsed_s"] == last_s
    (recording,) = Path("r").glob("*.csv")
    assert package.read_recording(recording).attrs["closed"]


@pytest.mark.slow
def test_a_job_file_sets_everything(warmwatch: Run, rise: Path, tmp_path: Path) -> None:
    """Band, labels and limits come from the file; options win over it."""
    job = tmp_path / "job.toml"
    job.write_text(
        'band = "140F:158F"\nvehicle = "blue van"\nmethod = "idle"\nlead_s = 60\n', "utf-8"
    )
    ran = warmwatch("watch", rise, *COLUMNS, "--job", job, "--method", "drive", "--record", "r")
    assert ran.code == 0
    (recording,) = Path("r").glob("*.csv")
    assert recording.name.endswith("_blue-van_drive.csv")
    kept = package.read_recording(recording).attrs["sidecar"]["warmwatch:job"]
    assert kept["band"] == {"low_c": 60.0, "high_c": 70.0}
    assert kept["lead_s"] == 60.0


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--band", "90:80"], "the lower edge of the band must be below"),
        (["--band", "80:80"], "the lower edge of the band must be below"),
        (["--band", "80"], "two temperatures with a colon"),
        (["--band", "warm:hot"], "not a temperature"),
        (["--band", "185:203"], "185F:203F"),
        ([], "The band is missing"),
        (["--band", "80:90", "--column", "fluid_c"], "write it like --column"),
        (["--band", "80:90", "--until", "never"], "--until never"),
        (["--band", "80:90", "--pace", "0"], "--pace 0"),
        (["--band", "80:90", "--job", "none.toml"], "no job file"),
        (["--band", "80:90", "--record", "x", "--no-record"], "cannot be used together"),
        (["--band", "80:90", "--lead", "-1"], "lead_s"),
    ],
)
def test_wrong_usage_is_one_sentence_and_exit_2(
    warmwatch: Run, rise: Path, arguments: list[str], sentence: str
) -> None:
    """What is wrong and what to write instead; nothing is recorded."""
    ran = warmwatch("watch", rise, *COLUMNS, *arguments)
    assert ran.code == 2
    assert sentence in ran.err
    assert ran.err.count("\n") == 1
    assert not Path("warmwatch-recordings").exists()


def test_an_unwritable_folder_is_exit_1(warmwatch: Run, rise: Path) -> None:
    """The folder is named and what to do."""
    Path("blocked").write_text("", encoding="utf-8")
    ran = warmwatch("watch", rise, *COLUMNS, "--band", "80:90", "--record", "blocked/sub")
    assert ran.code == 1
    assert "Cannot record in blocked" in ran.err
    assert "--no-record" in ran.err


def test_help_loads_nothing_heavy() -> None:
    """`warmwatch --help` imports none of the heavy libraries, nor any command."""
    code = (
        "import sys; from warmwatch.commands.main import run; run(['--help']);"
        "print([m for m in sys.modules if m.split('.')[0] in "
        "('pandas', 'numpy', 'matplotlib', 'can', 'aiohttp', 'rich', 'serial')])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines()[-1] == "[]"


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
def test_ctrl_c_closes_the_recording_and_says_so(rise: Path, tmp_path: Path) -> None:
    """Ctrl-C ends in order: recording closed, summary printed, exit code 130."""
    process = subprocess.Popen(
        [*WATCH, str(rise), *COLUMNS, "--band", "80:90", "--pace", "real", "--quiet"],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    while "Caution" not in process.stdout.readline():
        pass
    time.sleep(1.5)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 130, err
    assert "Never confirmed inside the band" in out
    (recording,) = (tmp_path / "warmwatch-recordings").glob("*.csv")
    assert package.read_recording(recording).attrs["closed"]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="POSIX pipes")
def test_a_closed_pipe_loses_nothing(rise: Path, tmp_path: Path) -> None:
    """When nobody reads stdout any more, the recording still goes to the end."""
    process = subprocess.Popen(
        [*WATCH, str(rise), *COLUMNS, "--band", "80:90", "--json", "--quiet"],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    process.stdout.readline()
    process.stdout.close()
    assert process.stderr is not None
    err = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=30) == 1
    assert "the watch goes on" in err
    assert "Traceback" not in err
    (recording,) = (tmp_path / "warmwatch-recordings").glob("*.csv")
    frame = package.read_recording(recording)
    assert frame.attrs["closed"]
    assert (frame["kind"] == "reading").sum() == 1800


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="uses a tiny tmpfs or RLIMIT")
def test_a_full_disk_does_not_stop_the_watch(rise: Path, tmp_path: Path) -> None:
    """With no room left the watch goes on to the end, says loudly that it no longer records."""
    import resource

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))

    ran = subprocess.run(
        [*WATCH, str(rise), *COLUMNS, "--band", "80:90", "--quiet"],
        cwd=tmp_path, capture_output=True, text=True, preexec_fn=limit, check=False,
    )  # fmt: skip
    assert ran.returncode == 1
    assert "! No longer recorded" in ran.stderr
    assert "Left the band at the top" in ran.stdout
    (recording,) = (tmp_path / "warmwatch-recordings").glob("*.csv")
    frame = package.read_recording(recording)
    assert len(frame) > 100
    assert not frame.attrs["closed"]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="POSIX pipes")
def test_lines_from_a_pipe_with_marks(tmp_path: Path) -> None:
    """Numbers and marks typed into `lines:-` are watched and recorded; the end closes the file."""
    process = subprocess.Popen(
        [*WATCH, "lines:-", "--band", "80:90", "--json", "--quiet"],
        cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    begun = ""
    for line in ("85", "garbage", "85.5", "mark=plug-out", "85", "85"):
        process.stdin.write(line + "\n")
        process.stdin.flush()
        begun = begun or process.stdout.readline()  # from here on it reads as they come
        time.sleep(1.1)
    out = begun + process.communicate(timeout=20)[0]
    assert process.returncode == 0
    assert "entered" in events(out)
    assert [line["mark"] for line in lines(out) if line["kind"] == "mark"] == ["plug-out"]
    (recording,) = (tmp_path / "warmwatch-recordings").glob("*.csv")
    frame = package.read_recording(recording)
    assert frame.attrs["closed"]
    assert "plug-out" in list(frame["name"])


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="POSIX pipes")
def test_a_pipe_that_falls_silent_is_blind(tmp_path: Path) -> None:
    """Five seconds without a line is told, while the pipe is still open."""
    process = subprocess.Popen(
        [*WATCH, "lines:-", "--band", "80:90", "--json", "--quiet", "--no-record"],
        cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write("85\n")
    process.stdin.flush()
    while json.loads(process.stdout.readline())["kind"] != "reading":
        pass
    read_s = time.monotonic()
    while json.loads(process.stdout.readline()).get("event") != "blind":
        pass
    assert 4.0 < time.monotonic() - read_s < 20.0
    process.stdin.close()
    assert process.wait(timeout=20) == 0
    process.stdout.close()


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="POSIX pty")
def test_keys_set_marks(rise: Path, tmp_path: Path) -> None:
    """On a terminal one key is one mark, a note is typed, and q ends in order."""
    import pty

    master, slave = pty.openpty()
    process = subprocess.Popen(
        [*WATCH, str(rise), *COLUMNS, "--band", "80:90", "--pace", "real", "--json", "--quiet"],
        cwd=tmp_path, stdin=slave, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    time.sleep(2.0)
    for keys in ("o", "d", "nwobbly step\r", "i", "q"):
        os.write(master, keys.encode())
        time.sleep(0.3)
    out, _ = process.communicate(timeout=20)
    os.close(master)
    os.close(slave)
    assert process.returncode == 0
    marks = [(line["mark"], line["note"]) for line in lines(out) if line["kind"] == "mark"]
    assert marks == [("plug-out", ""), ("drip", ""), ("note", "wobbly step"), ("plug-in", "")]


def test_notices_reach_stderr_beside_json(warmwatch: Run, tmp_path: Path) -> None:
    """With --json the notices for people are on stderr, and stdout holds JSON alone."""
    path = tmp_path / "holes.csv"
    path.write_text("t,temp\n0,85\n,85\n1,85\n", encoding="utf-8")
    ran = warmwatch("watch", path, *COLUMNS, "--band", "80:90", "--json", "--quiet")
    assert "no readable time" in ran.err
    assert lines(ran.out)[-1]["kind"] == "summary"


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="POSIX shell")
@pytest.mark.parametrize("closed", [">&-", "<&-", "2>&-"])
def test_closed_streams_are_no_error(rise: Path, tmp_path: Path, closed: str) -> None:
    """A standard stream closed before the start costs neither the watch nor a traceback."""
    words = [*WATCH, str(rise), *COLUMNS, "--band", "80:90", "--quiet", "--json"]
    ran = subprocess.run(
        ["/bin/sh", "-c", f'"$@" {closed}', "sh", *words],
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    (recording,) = (tmp_path / "warmwatch-recordings").glob("*.csv")
    assert package.read_recording(recording).attrs["closed"]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="POSIX pipes")
def test_until_ends_a_silent_link(tmp_path: Path) -> None:
    """So many seconds are over even when nothing was ever read."""
    process = subprocess.Popen(
        [*WATCH, "lines:-", "--band", "80:90", "--quiet", "--json", "--until", "1"],
        cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    assert json.loads(process.stdout.read().splitlines()[-1])["stopped_by"] == "until"
    assert process.stdin is not None
    process.stdin.close()
    process.stdout.close()
    assert process.wait(timeout=20) == 0


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="POSIX pipes")
def test_readings_that_end_are_an_alarm(tmp_path: Path) -> None:
    """A sensor program that stops is told as loss of sight, not as a quiet end."""
    ran = subprocess.run(
        [*WATCH, "lines:-", "--band", "80:90", "--quiet"],
        input="85\n", cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "! The readings ended: the temperature is not known now." in ran.stderr


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
def test_a_closed_terminal_closes_the_recording(rise: Path, tmp_path: Path) -> None:
    """SIGHUP ends in order, like Ctrl-C."""
    process = subprocess.Popen(
        [*WATCH, str(rise), *COLUMNS, "--band", "80:90", "--pace", "real", "--quiet", "--json"],
        cwd=tmp_path, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    process.stdout.readline()
    process.send_signal(signal.SIGHUP)
    process.communicate(timeout=20)
    assert process.returncode == 130
    (recording,) = (tmp_path / "warmwatch-recordings").glob("*.csv")
    assert package.read_recording(recording).attrs["closed"]


@pytest.mark.parametrize("pace", ["-5", "nan", "inf", "fast"])
def test_a_pace_that_is_none_is_refused(warmwatch: Run, pace: str) -> None:
    """The demo takes the same paces as a replay."""
    assert warmwatch("demo", "--pace", pace).code == 2


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be moved there")
def test_a_folder_moved_under_way_is_told_loudly(tmp_path: Path) -> None:
    """The notice is heard, exit code 1, and the summary names no path that is not there."""
    command = [*WATCH, "lines:-", "--band", "80:90", "--json", "--quiet", "--record", "here"]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    process = subprocess.Popen(command, cwd=tmp_path, text=True, **pipes)  # type: ignore[call-overload]
    process.stdin.write("50\n")
    process.stdin.flush()
    process.stdout.readline()  # the reading is through: it has been recorded
    (tmp_path / "here").rename(tmp_path / "there")
    out, err = process.communicate("51\n")
    assert process.returncode == 1
    assert "No longer recorded as" in err
    (summary,) = [line for line in lines(out) if line["kind"] == "summary"]
    assert summary["recording"] is None
    assert "moved or renamed" in summary["recording_trouble"]
    (moved,) = (tmp_path / "there").glob("*.csv")
    assert len(package.read_recording(moved).query("kind == 'reading'")) == 2


@pytest.mark.slow
def test_a_label_that_is_no_text_does_not_stop_the_watch(tmp_path: Path, rise: Path) -> None:
    """A byte that is no UTF-8 on the command line is shown as a question mark."""
    label = "--vehicle=van \udcff"  # becomes the byte FF on its way
    command = [*WATCH, str(rise), *COLUMNS, "--band", "80:90", "--quiet", label]
    ran = subprocess.run(command, cwd=tmp_path, capture_output=True, check=False)
    assert ran.returncode == 0, ran.stderr
    (recording,) = (tmp_path / "warmwatch-recordings").glob("*.csv")
    job = package.read_recording(recording).attrs["sidecar"]["warmwatch:job"]
    assert job["vehicle"] == "van ?"


@pytest.mark.slow
def test_a_recording_without_its_sidecar_is_replayed_when_the_band_is_given(
    warmwatch: Run, tmp_path: Path
) -> None:
    """Only what stood in the sidecar is missing: it is told, and 10 s between rows are no gap."""
    rows = "".join(f"{t},{70 + t / 60:.0f}\n" for t in range(0, 1200, 10))
    (tmp_path / "slow.csv").write_text("t,temp\n" + rows, encoding="utf-8")
    options = ("--band", "80:85", "--json", "--quiet")
    first = warmwatch("watch", "slow.csv", *COLUMNS, *options, "--record", "r")
    (recording,) = Path("r").glob("*.csv")
    sidecar_path(recording).unlink()
    again = warmwatch("watch", recording, *options, "--no-record")
    assert again.code == 0
    assert "is missing" in again.err
    assert (
        events(again.out) == events(first.out) == ["nearing", "entered", "top-nearing", "left-high"]
    )
    refused = warmwatch("watch", recording, "--no-record")
    assert refused.code == 2
    assert "--band 80:90" in refused.err
    assert refused.err.count("\n") == 1


@pytest.mark.slow
def test_a_replay_follows_the_unit_of_its_recording(
    warmwatch: Run, rise: Path, tmp_path: Path
) -> None:
    """Recorded in °F, told again in °F: figures and bare numbers; `--unit` still wins."""
    given = (*COLUMNS, "--band", "80C:90C", "--quiet", "--plain")
    warmwatch("watch", f"csv:{rise}?unit=C", *given, "--unit", "F", "--record", tmp_path / "kept")
    (kept,) = (tmp_path / "kept").glob("*.csv")
    assert "Band 176 to 194 °F" in warmwatch("watch", kept, "--plain", "--no-record").out
    other = warmwatch("watch", kept, "--plain", "--no-record", "--unit", "C").out
    assert "Band 80 to 90 °C" in other
