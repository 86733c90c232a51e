"""Hooks: run without a shell, limited in time, and harmless when they fail."""

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.outputs.views import Played
from warmwatch.core.events import Event, EventKind
from warmwatch.core.reading import Mark, MarkName
from warmwatch.errors import UsageError
from warmwatch.outputs.base import Summary
from warmwatch.outputs.hook import Hook, HookOptions, parse_hook

SAVE = "import sys; open(sys.argv[1], 'ab').write(sys.stdin.buffer.read())"
ALL = frozenset(map(str, [*EventKind, *MarkName]))


def wish(*code: str, names: frozenset[str] = ALL) -> HookOptions:
    return HookOptions((sys.executable, "-c", *code), names)


def run(hook: Hook, *entries: Event | Mark) -> None:
    for entry in entries:
        hook.take(entry)
    hook.close(Summary(Played().view(), "key"))


@pytest.fixture
def told() -> list[str]:
    return []


def test_the_event_comes_as_json(tmp_path: Path, told: list[str]) -> None:
    """Each chosen event and mark is one run, in order, with the object of docs/json.md on stdin."""
    hook = Hook(
        wish(SAVE, str(tmp_path / "got"), names=frozenset({"entered", "drip"})), told.append
    )
    run(
        hook,
        Event(466.0, EventKind.ENTERED, 85.0, 463.0),
        Event(470.0, EventKind.NEARING, 85.0),
        Mark(480.0, MarkName.DRIP, "thin – stream"),
    )
    lines = (tmp_path / "got").read_text(encoding="utf-8").splitlines()
    assert [json.loads(line) for line in lines] == [
        {"kind": "event", "elapsed_s": 466.0, "event": "entered"}
        | {"fluid_c": 85.0, "crossed_s": 463.0, "fit": None},
        {"kind": "mark", "elapsed_s": 480.0, "mark": "drip", "note": "thin – stream"},
    ]
    assert told == []


def test_no_shell_reads_it(
    tmp_path: Path, told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a shell would take apart reaches the program as one argument, and makes no file."""
    monkeypatch.chdir(tmp_path)
    code = "import sys; open('args', 'w').write(sys.argv[1])"
    words = "$(touch hacked); touch hacked | cat > hacked"
    run(Hook(wish(code, words), told.append), Event(1.0, EventKind.BLIND))
    assert (tmp_path / "args").read_text(encoding="utf-8") == words
    assert not (tmp_path / "hacked").exists()


def test_a_failure_is_told_and_harmless(tmp_path: Path, told: list[str]) -> None:
    """A hook that fails says why in one sentence each time, and at last that it stops telling."""
    code = "import sys; print('no bulb', file=sys.stderr); sys.exit(3)"
    run(Hook(wish(code), told.append), *(Event(float(i), EventKind.BLIND) for i in range(7)))
    assert len(told) == 5
    assert "ended with 3: no bulb; the watch goes on." in told[0]
    assert told[-1].endswith("Further failures are not reported.")


HANGS = """
import subprocess, sys, time
late = "import sys, time; time.sleep(2.5); open(sys.argv[1], 'a').write('still alive')"
line = sys.stdin.read()
open(sys.argv[1], "a").write(line)
if "blind" in line:
    subprocess.Popen([sys.executable, "-c", late, sys.argv[1]])
    time.sleep(60)
"""


@pytest.mark.slow
def test_one_that_hangs_is_ended(tmp_path: Path, told: list[str]) -> None:
    """A run that hangs is killed with all that it started; the next event still gets its run."""
    got = tmp_path / "got"
    hook = Hook(wish(HANGS, str(got)), told.append, limit_s=1.0)
    started = time.monotonic()
    run(hook, Event(1.0, EventKind.BLIND), Event(2.0, EventKind.SEEING))
    assert time.monotonic() - started < 8.0
    assert [line for line in told if "longer than 1 s" in line] == told
    time.sleep(2.0)
    events = [json.loads(line)["event"] for line in got.read_text(encoding="utf-8").splitlines()]
    assert events == ["blind", "seeing"]


def test_it_never_holds_up_the_watch(told: list[str]) -> None:
    """`take` returns at once however slow the command; what is too much is told, not waited for."""
    hook = Hook(wish("import time; time.sleep(0.4)"), told.append, limit_s=0.5)
    started = time.monotonic()
    for second in range(200):
        hook.take(Event(float(second), EventKind.BLIND))
    assert time.monotonic() - started < 0.3
    assert "too many runs wait" in told[0]
    hook._stop.set()
    hook.close(Summary(Played().view(), "key"))


def test_a_program_that_has_gone_is_told(told: list[str]) -> None:
    """A program that cannot be started any more is a failure like any other."""
    run(Hook(HookOptions(("/nowhere/at-all",), ALL), told.append), Event(1.0, EventKind.BLIND))
    assert "cannot be run" in told[0]


@pytest.mark.parametrize(
    "ask",
    [
        lambda: parse_hook("", None),
        lambda: parse_hook("no-such-program-here now", None),
        lambda: parse_hook("'unclosed", None),
        lambda: parse_hook(sys.executable, "entered,oops"),
        lambda: parse_hook(sys.executable, ""),
    ],
)
def test_a_wrong_hook_is_refused(ask: Callable[[], HookOptions]) -> None:
    """A hook that could never run is wrong usage, told before the watch begins."""
    with pytest.raises(UsageError, match="--hook"):
        ask()


def test_without_a_choice_all_events_count() -> None:
    """Without `--hook-on` every event runs the hook, and no mark does."""
    assert parse_hook(sys.executable, None).names == frozenset(map(str, EventKind))
