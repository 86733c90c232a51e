"""The screen on a terminal: judged by pyte, a terminal emulator, and once through a real one."""

import io
import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pyte
import pytest

from tests.outputs.test_sound import HeardTones
from tests.outputs.views import Played, ramp, silent
from warmwatch.app.keyboard.terminal import KEYS, key_words
from warmwatch.app.wiring import audible
from warmwatch.core.reading import Reading
from warmwatch.outputs.base import Summary
from warmwatch.outputs.guard import Guarded
from warmwatch.outputs.screen.output import Screen, can_show
from warmwatch.outputs.screen.painter import Painter
from warmwatch.outputs.sound.output import Sound

STEADY = [Reading(float(i), {"fluid_c": 85.0, "engine_rpm": 780.0}) for i in range(5)]
COLOUR = re.compile(r"\x1b\[(?:[0-9;]*;)?(?:3[0-8]|4[0-8])(?:;[0-9;]*)?m")


class Terminal(io.StringIO):
    """A stream that a pyte screen takes in; `size` may change."""

    def __init__(self, width: int = 80, height: int = 24, encoding: str = "utf-8") -> None:
        super().__init__()
        self.emulator = pyte.Screen(width, height)
        self.stream = pyte.Stream(self.emulator)
        self.written = ""
        self.hold = threading.Event()
        self.hold.set()
        self._encoding = encoding

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        self.hold.wait(30.0)
        text.encode(self._encoding)
        self.written += text
        self.stream.feed(text)
        return len(text)

    def text(self) -> str:
        return "\n".join(self.emulator.display)


@pytest.fixture(autouse=True)
def plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLORTERM", "truecolor")
    resize(monkeypatch, 80, 24)


def resize(monkeypatch: pytest.MonkeyPatch, width: int, height: int) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setenv("LINES", str(height))


@pytest.fixture
def shown() -> Iterator[Callable[[Terminal], Screen]]:
    """Return a function that makes a screen; all are stopped at the end."""
    made: list[Screen] = []

    def make(terminal: Terminal) -> Screen:
        made.append(Screen(terminal, "C", keys=key_words(KEYS)))
        return made[-1]

    yield make
    for screen in made:
        screen.stop()


def until(holds: Callable[[], bool], limit_s: float = 5.0) -> None:
    deadline = time.monotonic() + limit_s
    while not holds():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def test_it_draws_and_gives_the_terminal_back(shown: Callable[[Terminal], Screen]) -> None:
    """The screen is drawn on the alternate screen; at the end the summary stands on the old one."""
    terminal, played = Terminal(), Played().take(STEADY)
    screen = shown(terminal)
    screen.show(played.view())
    until(lambda: "IN THE BAND" in terminal.text() and "q end" in terminal.text())
    assert "\x1b[?1049h" in terminal.written
    assert "\x1b[?25l" in terminal.written
    screen.close(Summary(played.view(), "key"))
    tail = terminal.written[terminal.written.index("\x1b[?1049l") :]
    assert "\x1b[?25h" in terminal.written
    assert "Recording: r.csv" in tail


def test_only_what_changed_is_written(shown: Callable[[Terminal], Screen]) -> None:
    """A second of a standing state writes far less than a whole screen."""
    terminal, played = Terminal(), Played().take(STEADY)
    screen = shown(terminal)
    screen.show(played.view())
    until(lambda: "q end" in terminal.text())
    first = len(terminal.written)
    for tenths in range(1, 11):
        screen.show(played.view(later_s=tenths / 10))
        time.sleep(0.03)
    assert len(terminal.written) - first < first
    assert "Last reading 1.0 s ago" in terminal.text()


def test_it_follows_the_window(
    shown: Callable[[Terminal], Screen], monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the window changes its size the next drawing fits it."""
    terminal, played = Terminal(), Played().take(STEADY)
    screen = shown(terminal)
    screen.show(played.view())
    until(lambda: "q end" in terminal.text())
    for width, height in ((60, 20), (120, 40)):
        terminal.emulator.resize(height, width)
        resize(monkeypatch, width, height)
        screen.show(played.view(later_s=0.1))
        until(lambda: "q end" in "\n".join(terminal.emulator.display[-2:]))
        until(lambda: "Last reading 0.1 s ago" in terminal.text())


def test_no_color_is_honoured(
    shown: Callable[[Terminal], Screen], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With NO_COLOR not one colour is set, and the banner still stands out: it is reversed."""
    for value, coloured in (("", True), ("1", False)):
        monkeypatch.setenv("NO_COLOR", value)
        terminal, played = Terminal(), Played().take(STEADY)
        screen = shown(terminal)
        screen.show(played.view())
        until(lambda terminal=terminal: "q end" in terminal.text())  # type: ignore[misc]
        assert bool(COLOUR.search(terminal.written)) is coloured
        if not coloured:
            row = next(i for i, line in enumerate(terminal.emulator.display) if "IN THE" in line)
            assert terminal.emulator.buffer[row][0].reverse


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "cp437"])
def test_narrow_encodings(encoding: str, shown: Callable[[Terminal], Screen]) -> None:
    """On a terminal of a narrow encoding nothing is written that it cannot show."""
    terminal, played = Terminal(encoding=encoding), Played().take(ramp(80, 83, per_min=6.0))
    played.take(silent(played.now_s, 10))
    screen = shown(terminal)
    screen.show(played.view())
    until(lambda: "BLIND" in terminal.text() and "q end" in terminal.text())


def test_a_terminal_that_hangs_never_holds_up_the_watch(
    shown: Callable[[Terminal], Screen],
) -> None:
    """While the terminal takes nothing, `show` returns at once; then the newest view is drawn."""
    terminal, played = Terminal(), Played().take(STEADY)
    screen = shown(terminal)
    terminal.hold.clear()
    started = time.monotonic()
    for second in range(1000):
        screen.take(STEADY[0])
        screen.show(played.view(later_s=second / 1000))
    assert time.monotonic() - started < 2.0
    terminal.hold.set()
    until(lambda: "Last reading 1.0 s ago" in terminal.text())


def test_a_watch_that_stands_still_is_blind(
    shown: Callable[[Terminal], Screen], monkeypatch: pytest.MonkeyPatch
) -> None:
    """When no view comes any more the screen says so by itself and shows no figure."""
    monkeypatch.setattr("warmwatch.outputs.screen.output.STALLED_S", 0.5)
    terminal, played = Terminal(), Played().take(STEADY)
    screen = shown(terminal)
    screen.show(played.view())
    until(lambda: "IN THE BAND" in terminal.text())
    until(lambda: "THE WATCH DOES NOT ANSWER" in terminal.text())
    assert "IN THE BAND" not in terminal.text()
    assert "°C" not in terminal.text()


def test_a_terminal_that_goes_away_is_told(shown: Callable[[Terminal], Screen]) -> None:
    """When the terminal is closed the next `show` raises, so that the guard can tell it."""
    terminal, played = Terminal(), Played().take(STEADY)
    screen = shown(terminal)
    screen.show(played.view())
    until(lambda: "q end" in terminal.text())

    def gone(text: str) -> int:
        raise OSError("the terminal has gone")

    terminal.write = gone  # type: ignore[method-assign]

    def raises() -> bool:
        try:
            screen.show(played.view(later_s=0.5))
        except OSError:
            return True
        return False

    until(raises)


def test_a_fault_in_drawing_leaves_no_figure_standing(
    shown: Callable[[Terminal], Screen],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Whatever fails: the terminal is given back, the guard tells it there, the watch goes on."""
    terminal, played = Terminal(), Played().take(STEADY)
    screen = shown(terminal)
    guarded = Guarded(screen, screen.tell)
    guarded.show(played.view())
    until(lambda: "q end" in terminal.text())

    def fault(*about: object) -> None:
        raise KeyError("no such sign")

    monkeypatch.setattr("warmwatch.outputs.screen.output.render", fault)

    def fails() -> bool:
        guarded.show(played.view())
        return guarded.failed

    until(fails)
    assert terminal.written.count("\x1b[?1049l") == 1
    assert "no such sign" in capsys.readouterr().err


@pytest.mark.slow
def test_tones_that_nobody_can_hear_are_told_all_the_time(
    shown: Callable[[Terminal], Screen],
) -> None:
    """NO SOUND stands on the screen for as long as the tones have no means, and no longer."""
    terminal, played = Terminal(60, 20), Played().take(STEADY)
    screen = shown(terminal)
    screen.audible = lambda: False
    screen.show(played.view())
    until(lambda: "NO SOUND" in terminal.text())
    screen.audible = lambda: True
    screen.show(played.view())
    until(lambda: "NO SOUND" not in terminal.text())


def test_the_screen_knows_whether_the_tones_are_heard() -> None:
    """Heard means: an output sounds, it has not failed, and a player or the bell is left."""
    ears = HeardTones()
    sound = Guarded(Sound(ears), print)
    assert audible([sound])
    ears.audible = False
    assert not audible([sound])
    assert not audible([])


def test_sentences_from_other_threads_are_listed(shown: Callable[[Terminal], Screen]) -> None:
    """What an output has to say while the screen stands is listed there, not written over it."""
    terminal, played = Terminal(), Played().take(STEADY)
    screen = shown(terminal)
    screen.tell("The sound player has gone.")
    screen.show(played.view())
    until(lambda: "The sound player has gone." in terminal.text())


def test_what_is_said_after_the_end_is_not_lost(
    shown: Callable[[Terminal], Screen], capsys: pytest.CaptureFixture[str]
) -> None:
    """A hook that hangs is told when its time is up, though the screen has gone by then."""
    terminal, played = Terminal(), Played().take(STEADY)
    screen = shown(terminal)
    screen.show(played.view())
    screen.close(Summary(played.view(), "end of input"))
    screen.tell("The hook took too long.")
    assert "The hook took too long." in capsys.readouterr().err


def test_where_a_screen_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    """A screen needs a terminal that is not a dumb one."""
    assert can_show(Terminal())
    assert not can_show(io.StringIO())
    monkeypatch.setenv("TERM", "dumb")
    assert not can_show(Terminal())


def test_the_painter_may_be_closed_twice() -> None:
    """Closing again changes nothing: the terminal is given back once."""
    terminal = Terminal()
    painter = Painter(terminal)
    painter.close()
    assert terminal.written == ""
    painter.open()
    painter.close()
    painter.close()
    assert terminal.written.count("\x1b[?1049l") == 1


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="POSIX pty")
def test_on_a_real_terminal(tmp_path: Path) -> None:
    """`watch` on a pseudo-terminal: screen, pedal key, note, `q`, and the terminal given back."""
    import fcntl
    import pty
    import struct
    import termios

    rows = "\n".join(f"{i},{70 + i * 0.01:.2f}" for i in range(3000))
    (tmp_path / "r.csv").write_text(f"t,c\n{rows}\n", encoding="utf-8")
    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 20, 60, 0, 0))
    before = termios.tcgetattr(follower)
    env = {**os.environ, "TERM": "xterm-256color", "PYTHONIOENCODING": "utf-8"}
    for name in ("COLUMNS", "LINES", "NO_COLOR"):
        env.pop(name, None)
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "warmwatch", "watch", "r.csv", "--band", "80:90", "--quiet"),
            *("--column", "elapsed_s=t", "--column", "fluid_c=c", "--pace", "real"),
            *("--record", "rec", "--key", "f13=drip"),
        ],
        cwd=tmp_path, stdin=follower, stdout=follower, stderr=follower, env=env,
    )  # fmt: skip
    emulator = pyte.Screen(60, 20)
    stream = pyte.ByteStream(emulator)

    def seen(words: str, limit_s: float = 20.0) -> None:
        import select

        deadline = time.monotonic() + limit_s
        while words not in "\n".join(emulator.display):
            assert time.monotonic() < deadline, "\n".join(emulator.display)
            if select.select([leader], [], [], 0.1)[0]:
                stream.feed(os.read(leader, 65536))

    seen("BELOW THE BAND")
    seen("f13 drip")
    os.write(leader, b"\x1b[25~")
    seen("No plug out was marked")  # the drip is recorded, and asked about
    os.write(leader, b"no wind")
    seen("o wind_")
    os.write(leader, b"\r")
    seen("Mark note: o wind")
    os.write(leader, b"q")
    seen("Recording: rec")
    assert process.wait(timeout=10) == 0
    after = termios.tcgetattr(follower)
    assert after[3] == before[3]
    os.close(leader)
    os.close(follower)
    recorded = next((tmp_path / "rec").glob("*.csv")).read_text(encoding="utf-8")
    assert ",mark,drip," in recorded
    assert ",o wind," in recorded
