"""Ctrl-Z, `fg` and `bg` in a real shell on a pseudo-terminal, judged by a terminal emulator."""

import os
import select
import shutil
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pyte
import pytest

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(os.name != "posix", reason="POSIX job control"),
]
SIZE = (90, 24)


class Shell:
    """A shell with job control, and what its terminal shows; `alternate` after DEC mode 1049."""

    def __init__(self, folder: Path) -> None:
        import fcntl
        import pty
        import struct
        import termios

        shell = shutil.which("bash") or shutil.which("sh")
        assert shell is not None
        words = [shell, "--norc", "-i"] if shell.endswith("bash") else [shell, "-i"]
        self.emulator = pyte.Screen(*SIZE)
        self._stream = pyte.ByteStream(self.emulator)
        self.written = b""
        self.pid, self.leader = pty.fork()
        if self.pid == 0:
            os.chdir(folder)
            env = {"TERM": "xterm-256color", "PYTHONIOENCODING": "utf-8", "PS1": "ready> "}
            os.execve(shell, words, {**os.environ, **env})  # noqa: S606
        fcntl.ioctl(self.leader, termios.TIOCSWINSZ, struct.pack("HHHH", SIZE[1], SIZE[0], 0, 0))

    def type(self, text: str) -> None:
        os.write(self.leader, text.encode())

    def read(self, seconds: float) -> None:
        if select.select([self.leader], [], [], seconds)[0]:
            piece = os.read(self.leader, 65536)
            self.written += piece
            self._stream.feed(piece)

    def see(self, words: str, limit_s: float = 15.0) -> None:
        deadline = time.monotonic() + limit_s
        while words not in "\n".join(self.emulator.display):
            assert time.monotonic() < deadline, "\n".join(self.emulator.display)
            self.read(0.1)

    def see_state(self, *, alternate: bool, limit_s: float = 5.0) -> None:
        deadline = time.monotonic() + limit_s
        while self.alternate is not alternate:
            assert time.monotonic() < deadline, f"alternate screen never {alternate}"
            self.read(0.1)

    @property
    def alternate(self) -> bool:
        return self.written.rfind(b"\x1b[?1049h") > self.written.rfind(b"\x1b[?1049l")

    @property
    def cursor(self) -> bool:
        return self.written.rfind(b"\x1b[?25h") > self.written.rfind(b"\x1b[?25l")


@pytest.fixture
def shell(tmp_path: Path) -> Iterator[Shell]:
    rows = "\n".join(f"{i},{70 + i * 0.01:.2f}" for i in range(3000))
    (tmp_path / "r.csv").write_text(f"t,c\n{rows}\n", encoding="utf-8")
    made = Shell(tmp_path)
    made.see("ready>")
    made.type(
        f"{sys.executable} -m warmwatch watch r.csv --band 80:90 --quiet --column elapsed_s=t "
        "--column fluid_c=c --pace real --record rec\n"
    )
    made.see("BELOW THE BAND", 20.0)
    yield made
    made.type("\x03\nkill -9 %1\nexit\nexit\n")
    os.close(made.leader)
    os.waitpid(made.pid, 0)


def test_ctrl_z_gives_the_terminal_back_and_fg_takes_it_again(shell: Shell, tmp_path: Path) -> None:
    """Stopped, the shell is usable and told of the stop; `fg` brings screen, keys and recording."""
    assert shell.alternate
    shell.type("\x1a")
    shell.see_state(alternate=False)
    shell.see("is stopped")
    assert shell.cursor
    shell.type("echo so$((40 + 2))\n")
    shell.see("so42")
    shell.emulator.reset()
    shell.type("fg\n")
    shell.see_state(alternate=True)
    shell.see("BELOW THE BAND")
    assert not shell.cursor
    shell.type("d")
    shell.see("Mark drip")
    shell.type("q")
    shell.see("Recording: rec")
    assert not shell.alternate
    recorded = next((tmp_path / "rec").glob("*.csv")).read_text(encoding="utf-8")
    assert ",mark,drip," in recorded


def test_in_the_background_it_leaves_terminal_and_keys_alone(shell: Shell) -> None:
    """After `bg` the shell keeps screen and keys, and `fg` brings the watch to the front again."""
    shell.type("\x1a")
    shell.see("is stopped")
    shell.type("bg\n")
    shell.type("sleep 1.5; echo so$((40 + 2)); jobs\n")
    shell.see("so42")
    shell.see("Running", 3.0)
    assert not shell.alternate
    shell.type("fg\n")
    shell.see_state(alternate=True)
    shell.see("BELOW THE BAND")
    shell.type("d")
    shell.see("Mark drip")


def test_after_a_stop_that_cannot_be_caught_all_is_drawn_anew(shell: Shell) -> None:
    """After SIGSTOP the screen, with what the shell wrote over it, is drawn anew by `fg`."""
    import signal

    shell.see("°C")
    children = Path(f"/proc/{shell.pid}/task/{shell.pid}/children")
    if not children.exists():
        pytest.skip("no /proc with children here")
    os.kill(int(children.read_text(encoding="utf-8").split()[0]), signal.SIGSTOP)
    shell.see("Stopped")
    shell.type("echo so$((40 + 2))\n")
    shell.see("so42")
    shell.type("fg\n")
    shell.read(2.0)
    shell.see("BELOW THE BAND")
    deadline = time.monotonic() + 4.0
    while "so42" in "\n".join(shell.emulator.display):
        assert time.monotonic() < deadline
        shell.read(0.1)
