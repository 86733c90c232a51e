"""The options of the page, the keys and the hooks on the command line."""

import json
import os
import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

WATCH = (sys.executable, "-m", "warmwatch", "watch", "lines:-", "--band", "80:90", "--quiet")


def run(folder: Path, *options: str) -> "subprocess.CompletedProcess[str]":
    """Watch three readings with the options."""
    return subprocess.run(
        [*WATCH, "--no-record", *options],
        cwd=folder, input="60\n61\n62\n", capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


def test_the_link_is_printed(tmp_path: Path) -> None:
    """Both links stand on stdout, each in a line that says what it gives, and who can open it."""
    ran = run(tmp_path, "--page")
    assert ran.returncode == 0
    lines = ran.stdout.splitlines()
    assert re.fullmatch(r"Page to watch and mark: http://127\.0\.0\.1:\d+/open/[\w-]{24}", lines[0])
    assert re.fullmatch(r"Page to watch only: http://127\.0\.0\.1:\d+/open/[\w-]{24}", lines[1])
    assert lines[2].startswith("Only this machine can open it")


def test_with_json_the_link_is_on_stderr(tmp_path: Path) -> None:
    """With --json nothing but JSON is on stdout; the link is on stderr."""
    ran = run(tmp_path, "--page", "--json", "--no-page-marks")
    assert [json.loads(line)["kind"] for line in ran.stdout.splitlines()].count("reading") == 3
    assert "Page to watch: http://" in ran.stderr
    assert "mark" not in ran.stderr


def test_a_taken_port_is_wrong_usage(tmp_path: Path) -> None:
    """A port that somebody else has ends with exit code 2, before anything is recorded."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        ran = subprocess.run(
            [*WATCH, "--page", "--page-port", port],
            cwd=tmp_path, input="", capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
    assert ran.returncode == 2
    assert "choose another" in ran.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "options",
    [
        ("--page-host", "private"),
        ("--page-marks",),
        ("--page", "--page-host", "0.0.0" + ".0"),
        ("--page", "--page-host", "8.8.8.8"),
        ("--key", "f13"),
        ("--hook-on", "entered"),
        ("--hook", "no-such-program-here"),
    ],
)
def test_wrong_options_are_one_sentence(tmp_path: Path, options: tuple[str, ...]) -> None:
    """Options that would be without effect, or open the page to all, are wrong usage."""
    ran = run(tmp_path, *options)
    assert ran.returncode == 2
    assert ran.stderr.startswith("warmwatch: --")
    assert ran.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="tee")
def test_a_hook_gets_what_json_gives(tmp_path: Path) -> None:
    """The command line's hook runs on the chosen event with the object of the JSON line."""
    rows = "\n".join(f"{i},85" for i in range(10))
    (tmp_path / "r.csv").write_text(f"t,c\n{rows}\n", encoding="utf-8")
    ran = subprocess.run(
        [
            *(sys.executable, "-m", "warmwatch", "watch", "r.csv", "--band", "80:90", "--json"),
            *("--column", "elapsed_s=t", "--column", "fluid_c=c", "--no-record"),
            *("--hook", "tee -a 'got it'", "--hook-on", "entered"),
        ],
        cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert ran.returncode == 0
    entered = [line for line in ran.stdout.splitlines() if '"entered"' in line]
    assert len(entered) == 1
    assert (tmp_path / "got it").read_text(encoding="utf-8").splitlines() == entered


@pytest.mark.skipif(os.name != "posix", reason="sh")
@pytest.mark.parametrize("form", ["--plain", "--json"])
def test_a_hook_that_fails_after_the_end_is_told(tmp_path: Path, form: str) -> None:
    """A hook still runs when the last line is out; that it failed is told all the same."""
    rows = "\n".join(f"{i},85" for i in range(10))
    (tmp_path / "r.csv").write_text(f"t,c\n{rows}\n", encoding="utf-8")
    ran = subprocess.run(
        [
            *(sys.executable, "-m", "warmwatch", "watch", "r.csv", "--band", "80:90", form),
            *("--column", "elapsed_s=t", "--column", "fluid_c=c", "--no-record"),
            *("--hook", "sh -c 'sleep 1; exit 3'", "--hook-on", "entered"),
        ],
        cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert ran.returncode == 0
    assert "The hook sh: it ended with 3" in ran.stderr
