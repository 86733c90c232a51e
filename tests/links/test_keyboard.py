"""Keys: what terminals send, what it means, and that none is lost on the way."""

import os
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.app.keyboard.keys import Decoder, windows_key
from warmwatch.app.keyboard.terminal import KEYS, KeyAct, Keyboard, KeyReader, parse_keys
from warmwatch.core.reading import MarkName
from warmwatch.errors import UsageError

# Checked against the terminfo entries as `infocmp -1` prints them (ncurses 6.4): vt220 and linux
# give kf13=\E[25~, kf20=\E[34~; xterm gives kf13=\E[1;2P, kf17=\E[15;2~, kf1=\EOP; linux
# gives kf1=\E[[A. F13 as \E[57376u is the private use code point of the terminal keyboard protocol
# (value from memory).
SEQUENCES = {
    "\x1b[25~": "f13",
    "\x1b[34~": "f20",
    "\x1b[1;2P": "f13",
    "\x1b[15;2~": "f17",
    "\x1bOP": "f1",
    "\x1b[[A": "f1",
    "\x1b[[E": "f5",
    "\x1b[24~": "f12",
    "\x1b[57376u": "f13",
    "\x1b[A": "up",
    "\x1bOA": "up",
    "\x1b[6~": "page-down",
    "\x1b[3~": "delete",
    "\r": "enter",
    "\x7f": "backspace",
    "é": "é",
    "\x1b[99~": "unknown",
    "\x1b[<0;10;10M": "unknown",
}


@pytest.mark.parametrize(("sequence", "key"), SEQUENCES.items())
def test_a_sequence_is_one_key(sequence: str, key: str) -> None:
    """What a terminal sends for one key is one key, whole or character by character."""
    assert Decoder().feed(sequence) == [key]
    decoder = Decoder()
    assert [found for char in sequence for found in decoder.feed(char)] == [key]


@pytest.mark.slow
@given(st.lists(st.sampled_from([*SEQUENCES, "a", "o", " "])), st.data())
def test_pieces_do_not_matter(sequences: list[str], data: st.DataObject) -> None:
    """However the terminal cuts the characters into pieces, the keys are the same."""
    text = "".join(sequences)
    cuts = sorted(data.draw(st.sets(st.integers(1, max(1, len(text) - 1)))) if text else [])
    pieces = [text[a:b] for a, b in zip([0, *cuts], [*cuts, len(text)], strict=True)]
    decoder = Decoder()
    found = [key for piece in pieces if piece for key in decoder.feed(piece)]
    assert found == [SEQUENCES.get(sequence, sequence) for sequence in sequences]


@pytest.mark.slow
@given(st.text(max_size=100))
def test_any_text_comes_out(text: str) -> None:
    """No text, however strange, makes the decoder fail or hold anything back for good."""
    decoder = Decoder()
    decoder.feed(text)
    decoder.feed("")
    assert decoder.feed("x") == ["x"]


def test_the_escape_key_alone() -> None:
    """An escape after which nothing comes is the escape key."""
    decoder = Decoder()
    assert decoder.feed("\x1b") == []
    assert decoder.feed("") == ["escape"]


def test_half_a_sequence_is_no_mark() -> None:
    """A sequence that stays incomplete never turns into letters that are marks."""
    decoder = Decoder()
    assert decoder.feed("\x1b[1;") == []
    assert decoder.feed("") == ["unknown"]


def test_windows_console_keys() -> None:
    """Scan codes of F1, F11 and Shift+F1 (values from memory: 3Bh, 85h, 54h)."""
    assert [windows_key(code) for code in "\x3b\x85\x54\x01"] == ["f1", "f11", "f13", "unknown"]


def acts(keys: list[str], reader: KeyReader, *, insists: bool = False) -> list[KeyAct | None]:
    return [reader.feed(key, insists=insists) for key in keys]


@pytest.mark.parametrize(("key", "mark"), KEYS.items())
def test_one_key_one_mark(key: str, mark: MarkName) -> None:
    """Each key of the table makes its mark, with the shift lock on, too."""
    pressed = [key, key.upper()]
    if mark is MarkName.VEHICLE_LEVEL:  # its figures can be typed
        pressed = [key, "enter", key.upper(), "enter"]
    assert [act for act in acts(pressed, KeyReader()) if act] == [KeyAct(mark)] * 2


def test_a_tilt_is_typed_behind_its_key() -> None:
    """Both ways, as a digital level shows them; escape ends it without a mark."""
    reader = KeyReader()
    acts(["v", *"0.3 lengthwise"], reader)
    assert reader.prompt.endswith("0.3 lengthwise")
    assert reader.feed("enter") == KeyAct(MarkName.VEHICLE_LEVEL, "0.3 lengthwise")
    assert acts(["v", "1", "escape", "n", "o", "k", "enter"], reader)[-1] == KeyAct(
        MarkName.NOTE, "ok"
    )


@pytest.mark.parametrize("key", ["k", "c", "v", "r"])
def test_a_key_hit_blindly_tells_nothing_of_the_vehicle(key: str) -> None:
    """While something insists these say heard; taking back goes on."""
    heard = KeyAct(MarkName.ACKNOWLEDGE)
    assert acts([key], KeyReader(), insists=True) == [heard]
    assert acts(["u"], KeyReader(), insists=True) == [KeyAct(MarkName.WITHDRAW)]


def test_any_key_says_heard() -> None:
    """While something insists, any key without a meaning of its own acknowledges it."""
    heard = KeyAct(MarkName.ACKNOWLEDGE)
    assert acts(["z", "f9", "unknown", "escape", "n"], KeyReader(), insists=True) == [heard] * 5
    assert acts(["z", "f9", "unknown"], KeyReader()) == [None] * 3


def test_the_end_is_asked_for_twice() -> None:
    """A key hit blindly to silence an alarm, or with the plug out, never ends the watch."""
    heard, end = KeyAct(MarkName.ACKNOWLEDGE), KeyAct(None, quits=True)
    assert acts(["q"], KeyReader()) == [end]
    assert acts(["q", "z", "q"], KeyReader(), insists=True) == [heard] * 3
    assert acts(["q", "q"], KeyReader(), insists=True) == [heard, end]
    reader = KeyReader()
    assert reader.feed("q", plug_out=True) is None
    assert reader.prompt.startswith("End the watch?")
    assert reader.feed("z", plug_out=True) is None
    assert reader.prompt == ""
    assert [reader.feed("q", plug_out=True) for _ in range(2)] == [None, end]


def test_a_note_is_typed() -> None:
    """A note takes every character, also those that are marks, until Enter."""
    reader = KeyReader()
    acts(["n", *"to dox", "backspace"], reader)
    assert reader.prompt.endswith("to do")
    assert reader.feed("enter") == KeyAct(MarkName.NOTE, "to do")
    assert reader.typing is None


def test_a_pedal_counts_while_a_note_is_open() -> None:
    """A named key that is a mark is one even while a note is being typed."""
    reader = KeyReader(parse_keys(["f13=plug-out"]))
    assert acts(["n", "a", "f13"], reader)[-1] == KeyAct(MarkName.PLUG_OUT)
    assert reader.feed("enter") == KeyAct(MarkName.NOTE, "a")


def test_own_keys() -> None:
    """`--key` adds keys by name or character, and may use `=` itself."""
    keys = parse_keys(["F13=plug-out", "space=drip", "==plug-in", "7=topped-up"])
    assert keys["f13"] is MarkName.PLUG_OUT
    assert keys[" "] is MarkName.DRIP
    assert keys["="] is MarkName.PLUG_IN
    assert keys["7"] is MarkName.TOPPED_UP


@pytest.mark.parametrize(
    "text", ["f13", "f13=", "f13=oil", "f99=drip", "=drip", "q=drip", "f1=note"]
)
def test_wrong_keys_are_refused(text: str) -> None:
    """A `--key` that would be without effect is wrong usage, told in one sentence."""
    with pytest.raises(UsageError, match="--key"):
        parse_keys([text])


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_no_key_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    """5000 characters typed at once, some before the terminal was taken over, all arrive."""
    import pty

    leader, follower = pty.openpty()
    terminal = os.fdopen(follower, "r", encoding="utf-8")
    monkeypatch.setattr(sys, "stdin", terminal)
    keyboard = Keyboard()
    os.write(leader, b"early\n")
    keyboard.open()
    try:
        sent = ["o", "d", "f13"] * 1000
        for key in sent:
            os.write(leader, b"\x1b[25~" if key == "f13" else key.encode())
        expected = [*"early", "enter", *sent]
        found: list[str] = []
        deadline = time.monotonic() + 20.0
        while len(found) < len(expected) and time.monotonic() < deadline:
            found += keyboard.drain()
            time.sleep(0.01)
        assert found == expected
    finally:
        keyboard.close()
        time.sleep(0.3)
        terminal.close()
        os.close(leader)


def test_the_terminal_going_away_ends_the_reading(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A terminal that has gone ends the reading of keys, without a traceback."""
    keyboard = Keyboard()
    (tmp_path / "empty").touch()
    with (tmp_path / "empty").open(encoding="utf-8") as file:
        monkeypatch.setattr(sys, "stdin", file)
        keyboard._run()
    assert keyboard.drain() == []
