"""Readers of the output that pause, go or cannot take it: the watch goes on and can be ended."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import warmwatch as package

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="POSIX pipes"),
]

WATCH = [sys.executable, "-m", "warmwatch", "watch"]
COLUMNS = ("--column", "elapsed_s=t", "--column", "fluid_c=temp")
ROWS = 2000
READINGS = 2000


@pytest.fixture
def long(tmp_path: Path) -> Path:
    """A rise of 1 degC a minute; its JSON is several times what a pipe holds (64 KiB on Linux)."""
    path = tmp_path / "long.csv"
    rows = "".join(f"{t},{20 + t / 60:.2f}\n" for t in range(ROWS))
    path.write_text("t,temp\n" + rows, encoding="utf-8")
    return path


def replayed(path: Path, form: str) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [*WATCH, str(path), *COLUMNS, "--band", "80:90", form, "--quiet"],
        cwd=path.parent, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def recording(folder: Path) -> Path:
    (path,) = (folder / "warmwatch-recordings").glob("*.csv")
    return path


def wait_for_readings(folder: Path) -> None:
    """Return when the watch has begun to record, however slow the machine is."""
    deadline = time.monotonic() + 60.0
    while time.monotonic() < deadline:
        with contextlib.suppress(ValueError):
            if b",reading," in recording(folder).read_bytes():
                return
        time.sleep(0.1)
    raise AssertionError("no reading was recorded")


def test_a_replay_waits_for_its_reader_and_loses_nothing(long: Path) -> None:
    """Read only after a pause, every line is there."""
    process = replayed(long, "--json")
    assert process.stdout is not None
    wait_for_readings(long.parent)
    time.sleep(1.0)
    assert process.poll() is None
    out, _ = process.communicate(timeout=100)
    assert process.returncode == 0
    assert out.count(b'"kind": "reading"') == ROWS
    assert b'"missed"' not in out
    assert out.splitlines()[-1].startswith(b'{"kind": "summary"')


def test_ctrl_c_ends_a_watch_that_nobody_reads(long: Path) -> None:
    """The reader holds the pipe open and never reads: the recording is closed, exit 130."""
    process = replayed(long, "--json")
    wait_for_readings(long.parent)
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=60) == 130
    assert process.stdout is not None
    process.stdout.close()
    assert package.read_recording(recording(long.parent)).attrs["closed"]


@pytest.mark.parametrize("form", ["--json", "--plain"])
def test_a_vehicle_does_not_wait_for_a_reader(tmp_path: Path, form: str) -> None:
    """2 000 readings by a pipe while nobody reads stdout nor stderr: all are recorded."""
    process = subprocess.Popen(
        [*WATCH, "lines:-", "--band", "80:90", form, "--quiet"],
        cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stdin is not None
    for number in range(READINGS):
        # Marks make plain lines long enough to fill a pipe, too.
        process.stdin.write(b"mark=drip\n%d\n" % (50 + number % 2))
    process.stdin.flush()
    deadline = time.monotonic() + 100.0
    found = 0
    while found < READINGS and time.monotonic() < deadline:
        time.sleep(0.5)
        with contextlib.suppress(ValueError):
            found = recording(tmp_path).read_bytes().count(b",reading,")
    assert found == READINGS
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=60) == 130
    for stream in (process.stdin, process.stdout, process.stderr):
        assert stream is not None
        stream.close()
    assert package.read_recording(recording(tmp_path)).attrs["closed"]


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="only Linux has /dev/full")
@pytest.mark.parametrize("form", ["--json", "--plain"])
def test_an_output_that_takes_nothing_does_not_end_the_watch(long: Path, form: str) -> None:
    """/dev/full refuses even the greeting: told, recorded to the end, exit 1."""
    with open("/dev/full", "wb") as full:
        ran = subprocess.run(
            [*WATCH, str(long), *COLUMNS, "--band", "80:90", form, "--quiet"],
            cwd=long.parent, stdout=full, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert ran.returncode == 1
    assert "the watch goes on" in ran.stderr
    assert "Traceback" not in ran.stderr
    frame = package.read_recording(recording(long.parent))
    assert (frame["kind"] == "reading").sum() == ROWS
    assert frame.attrs["closed"]
