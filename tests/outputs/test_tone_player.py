"""The tone player against real child processes: players that work, fail, hang or are missing."""

import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.outputs.fake_programs import FakePrograms, alive, until
from warmwatch.outputs.sound import means as tone_means
from warmwatch.outputs.sound import wav_players
from warmwatch.outputs.sound.child import PlayOutcome, run_child
from warmwatch.outputs.sound.player import TonePlayer
from warmwatch.outputs.sound.tones import TONES
from warmwatch.outputs.sound.voice import Voice, find_voice
from warmwatch.outputs.sound.wav_players import find_wav_players

MakePlayer = Callable[..., TonePlayer]


@pytest.fixture
def programs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> FakePrograms:
    """An empty PATH to put players on, and temporary files in a folder of the test's own."""
    fakes = FakePrograms(tmp_path)
    monkeypatch.setenv("PATH", str(fakes.folder))
    monkeypatch.setattr(sys, "platform", "linux")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(scratch))
    monkeypatch.setattr(tone_means, "BELL_GAP_S", 0.001)
    return fakes


@pytest.fixture
def make(programs: FakePrograms, tmp_path: Path) -> Iterator[MakePlayer]:
    """Make players that are closed at the end; no thread, process or file may outlive them."""
    made: list[TonePlayer] = []

    def new(**options: object) -> TonePlayer:
        made.append(TonePlayer(**options))  # type: ignore[arg-type]
        return made[-1]

    yield new
    for player in made:
        player.close()
    assert [t for t in threading.enumerate() if t.name == "tones"] == []
    assert not any(alive(pid) for pid in programs.pids())
    assert list((tmp_path / "scratch").iterdir()) == []


def repeat(player: TonePlayer, name: str) -> None:
    """Play a tone that insists."""
    player.insist({name: (str, 0.01)})
    player.play(name)


def test_first_player_of_the_order_plays_the_events_file(
    programs: FakePrograms, make: MakePlayer
) -> None:
    """Of several players present the first of the documented order is used, with a WAV file."""
    for name in ("aplay", "paplay", "pw-play"):
        programs.add(name)
    player = make()
    assert "pw-play" in player.describe()
    player.play("blind")
    until(lambda: len(programs.lines()) == 2)
    assert programs.lines() == ["start pw-play blind.wav", "end pw-play blind.wav"]


def test_each_player_gets_the_options_it_needs(programs: FakePrograms, make: MakePlayer) -> None:
    """The last resort among the players is told to print nothing."""
    programs.add("aplay")
    make().play("seeing")
    until(lambda: programs.lines("end") == ["end aplay -q seeing.wav"])


def test_a_macintosh_uses_its_own_player(programs: FakePrograms) -> None:
    """On darwin only the system's own player is looked for."""
    programs.add("paplay")
    assert find_wav_players("darwin") == ()
    programs.add("afplay")
    assert [player.name for player in find_wav_players("darwin")] == ["afplay"]


def test_play_does_not_wait_for_the_sound(programs: FakePrograms, make: MakePlayer) -> None:
    """`play` comes back while the tone is still to be heard."""
    programs.add("paplay", seconds=3.0)
    make().play("entered")
    assert programs.lines("end") == []
    until(lambda: programs.lines() == ["start paplay entered.wav"])


def test_a_more_urgent_tone_cuts_the_present_one(programs: FakePrograms, make: MakePlayer) -> None:
    """`blind` is heard at once though another tone sounds, and the first child is gone."""
    programs.add("paplay", seconds=3.0)
    player = make()
    player.play("rest-over")
    until(lambda: programs.lines() == ["start paplay rest-over.wav"])
    player.play("blind")
    until(lambda: programs.lines()[1:] == ["start paplay blind.wav"])
    assert not alive(programs.pids()[0])


def test_a_lesser_tone_waits_its_turn(programs: FakePrograms, make: MakePlayer) -> None:
    """A lesser tone neither cuts the present one nor is lost."""
    programs.add("paplay", seconds=0.3)
    player = make()
    player.play("too-hot")
    until(lambda: len(programs.lines()) == 1)
    player.play("nearing")
    until(lambda: len(programs.lines()) == 4)
    assert programs.lines() == [
        "start paplay too-hot.wav",
        "end paplay too-hot.wav",
        "start paplay nearing.wav",
        "end paplay nearing.wav",
    ]


def test_of_those_that_wait_the_most_urgent_stays(programs: FakePrograms, make: MakePlayer) -> None:
    """A waiting tone gives way to a more urgent one and not to a lesser one."""
    programs.add("paplay", seconds=0.3)
    player = make()
    player.play("too-hot")
    until(lambda: len(programs.lines()) == 1)
    for kind in ("nearing", "top-nearing", "rest-over"):
        player.play(kind)
    until(lambda: len(programs.lines("end")) == 2)
    player.close(finish_s=5.0)
    assert programs.lines("start")[1:] == ["start paplay top-nearing.wav"]


def test_what_became_untrue_is_dropped(programs: FakePrograms, make: MakePlayer) -> None:
    """`seeing` cuts `blind` though it is less urgent, and ends its repeats."""
    programs.add("paplay", seconds=0.4)
    player = make()
    repeat(player, "blind")
    until(lambda: len(programs.lines()) == 1)
    player.play("seeing")
    until(lambda: programs.lines("end") == ["end paplay seeing.wav"])
    player.close(finish_s=5.0)
    assert programs.lines("start") == ["start paplay blind.wav", "start paplay seeing.wav"]


def test_repeats_go_on_as_long_as_they_insist(programs: FakePrograms, make: MakePlayer) -> None:
    """A repeated tone is heard again and again by itself, until it insists no more."""
    programs.add("paplay")
    player = make()
    repeat(player, "blind")
    until(lambda: len(programs.lines("end")) >= 3)
    player.insist({})
    player.play("seeing")
    until(lambda: "end paplay seeing.wav" in programs.lines())
    assert programs.lines()[-1] == "end paplay seeing.wav"


def test_a_repeat_survives_being_cut(programs: FakePrograms, make: MakePlayer) -> None:
    """`blind` comes back after another urgent tone has cut it."""
    programs.add("paplay", seconds=0.2)
    player = make()
    repeat(player, "blind")
    until(lambda: len(programs.lines()) == 1)
    player.play("too-hot")
    until(lambda: programs.lines("start").count("start paplay blind.wav") == 2)


def test_failing_player_gives_way_to_the_next(programs: FakePrograms, make: MakePlayer) -> None:
    """The same tone is heard by the next player, the failure is told, three end the trust."""
    programs.add("pw-play", code=1)
    programs.add("paplay")
    told: list[str] = []
    player = make(notice=told.append)
    for count in range(1, 5):
        player.play("entered")
        until(lambda n=count: len(programs.lines("end paplay")) == n)  # type: ignore[misc]
    until(lambda: len(told) == 3)
    assert len(programs.lines("start pw-play")) == 3
    assert "pw-play" in told[0]
    assert "does not work" in told[2]
    assert "paplay" in player.describe()


def test_hanging_player_is_killed(
    programs: FakePrograms, make: MakePlayer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A player that outlasts its tone is killed, told and given up; the bell rings instead."""
    monkeypatch.setattr(wav_players, "GRACE_S", 0.4)
    programs.add("pw-play", seconds=60.0)
    rings: list[str] = []
    told: list[str] = []
    player = make(bell=lambda: rings.append("ring"), notice=told.append)
    player.play("nearing")
    until(lambda: len(rings) == 2)
    assert not alive(programs.pids()[0])
    assert "only the terminal bell" in told[0]
    assert "only the terminal bell" in player.describe()


def test_killing_reaches_what_a_wrapper_started(programs: FakePrograms, make: MakePlayer) -> None:
    """A shell script around a player leaves no player behind when it is cut."""
    programs.add("inner", seconds=60.0)
    inner = programs.folder / "inner"
    programs.add_text("paplay", f'#!/bin/sh\n{inner} "$@"\nexit $?\n')
    player = make()
    player.play("entered")
    until(lambda: programs.lines() == ["start inner entered.wav"])
    player.close()
    until(lambda: not alive(programs.pids()[0]))


def test_player_that_vanishes_is_told(programs: FakePrograms, make: MakePlayer) -> None:
    """A player removed after the start counts as failing, and the bell rings."""
    programs.add("paplay")
    rings: list[str] = []
    told: list[str] = []
    player = make(bell=lambda: rings.append("ring"), notice=told.append)
    (programs.folder / "paplay").unlink()
    player.play("entered")
    until(lambda: len(rings) == 3)
    assert "paplay failed" in told[0]


def test_no_player_rings_the_bell_and_says_so(make: MakePlayer) -> None:
    """Without any player the bell rings once for each pulse, five times at most."""
    rings: list[str] = []
    player = make(bell=lambda: rings.append("ring"))
    assert "only the terminal bell" in player.describe()
    player.play("nearing")
    until(lambda: len(rings) == 2)
    player.play("too-hot")
    until(lambda: len(rings) == 7)
    player.close(finish_s=5.0)
    assert len(rings) == 7


def test_neither_player_nor_bell_is_said_loudly(make: MakePlayer) -> None:
    """With nothing to be heard the description begins with NO SOUND and playing is harmless."""
    player = make()
    assert player.describe().startswith("NO SOUND")
    player.play("blind")
    player.close(finish_s=5.0)


def test_bell_of_a_closed_terminal_is_told(make: MakePlayer) -> None:
    """A bell that cannot be rung any more is told, and the thread lives on."""

    def broken() -> None:
        raise OSError("closed")

    told: list[str] = []
    player = make(bell=broken, notice=told.append)
    player.play("blind")
    until(lambda: len(told) == 1)
    assert told[0].startswith("NO SOUND")
    player.play("blind")
    player.close(finish_s=5.0)


def test_a_listener_that_fails_ends_nothing(programs: FakePrograms, make: MakePlayer) -> None:
    """An error in `notice` neither stops the thread nor the tones that follow."""
    programs.add("pw-play", code=1)
    programs.add("paplay")

    def broken(text: str) -> None:
        raise RuntimeError(text)

    player = make(notice=broken)
    for count in (1, 2):
        player.play("entered")
        until(lambda n=count: len(programs.lines("end paplay")) == n)  # type: ignore[misc]


def test_unwritable_temporary_folder_falls_back_to_the_bell(
    programs: FakePrograms, make: MakePlayer, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Where no tone can be written the bell rings and the reason is told."""
    programs.add("paplay")
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "missing"))
    rings: list[str] = []
    told: list[str] = []
    player = make(bell=lambda: rings.append("ring"), notice=told.append)
    player.play("nearing")
    until(lambda: len(rings) == 2)
    assert "cannot be written" in told[0]


def test_quiet_plays_nothing(programs: FakePrograms, make: MakePlayer) -> None:
    """`quiet` starts no thread and no program, and says that sound is off."""
    programs.add("paplay")
    player = make(quiet=True, bell=lambda: pytest.fail("the bell rang"))
    repeat(player, "blind")
    player.close(finish_s=5.0)
    assert programs.lines() == []
    assert player.describe().startswith("Sound is off")


def test_kinds_without_a_tone_are_ignored(programs: FakePrograms, make: MakePlayer) -> None:
    """An event that has no tone, and any play after closing, does nothing."""
    programs.add("paplay")
    player = make()
    player.play("hold-start")
    player.play("no such kind")
    player.close(finish_s=5.0)
    player.play("blind")
    assert programs.lines() == []


def test_closing_lets_the_last_tone_finish_if_asked(
    programs: FakePrograms, make: MakePlayer
) -> None:
    """`close(finish_s)` hears the last tone out; without it the tone is cut."""
    programs.add("paplay", seconds=0.3)
    player = make()
    player.play("entered")
    player.close(finish_s=10.0)
    assert programs.lines("end") == ["end paplay entered.wav"]
    other = make()
    other.play("left-high")
    until(lambda: "start paplay left-high.wav" in programs.lines())
    other.close()
    assert "end paplay left-high.wav" not in programs.lines()


def test_no_thread_to_be_had_is_told(
    programs: FakePrograms, make: MakePlayer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`play` does not raise when the machine has no thread left."""

    def refuse(self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    programs.add("paplay")
    told: list[str] = []
    player = make(notice=told.append)
    with monkeypatch.context() as patch:
        patch.setattr(threading.Thread, "start", refuse)
        player.play("blind")
    assert told[0].startswith("NO SOUND")


def test_windows_plays_by_file_name_and_purges(
    make: MakePlayer, monkeypatch: pytest.MonkeyPatch, programs: FakePrograms
) -> None:
    """On Windows the sound call gets a file name with async flags, and a cut stops the sound."""
    calls: list[tuple[str | None, int]] = []
    fake = SimpleNamespace(
        SND_FILENAME=0x20000,
        SND_ASYNC=1,
        SND_NODEFAULT=2,
        SND_PURGE=0x40,
        PlaySound=lambda name, flags: calls.append((name, flags)),
    )
    monkeypatch.setitem(sys.modules, "winsound", fake)
    monkeypatch.setattr(tone_means, "find_wav_players", lambda: find_wav_players("win32"))
    player = make()
    assert "Windows" in player.describe()
    player.play("too-hot")
    until(lambda: len(calls) == 1)
    player.play("blind")
    until(lambda: len(calls) == 3)
    names = [Path(name).name if name else None for name, _ in calls]
    assert names == ["too-hot.wav", None, "blind.wav"]
    assert [flags for _, flags in calls] == [0x20003, 0x40, 0x20003]


def test_windows_sound_that_fails_rings_the_bell(
    make: MakePlayer, monkeypatch: pytest.MonkeyPatch, programs: FakePrograms
) -> None:
    """The RuntimeError that the sound call raises without a device leads to the bell."""

    def broken(name: str | None, flags: int) -> None:
        raise RuntimeError("Failed to play sound")

    fake = SimpleNamespace(
        SND_FILENAME=1, SND_ASYNC=1, SND_NODEFAULT=1, SND_PURGE=1, PlaySound=broken
    )
    monkeypatch.setitem(sys.modules, "winsound", fake)
    monkeypatch.setattr(tone_means, "find_wav_players", lambda: find_wav_players("win32"))
    rings: list[str] = []
    make(bell=lambda: rings.append("ring")).play("nearing")
    until(lambda: len(rings) == 2)


def test_words_are_spoken_after_the_tone(programs: FakePrograms, make: MakePlayer) -> None:
    """The voice gets the words as they are, after the tone has ended."""
    programs.add("paplay")
    programs.add("espeak-ng")
    player = make(voice=find_voice())
    player.play("entered", words=lambda: "In the band; $(rm x)")
    until(lambda: len(programs.lines("end")) == 3)
    assert programs.lines()[1:] == [
        "end paplay entered.wav",
        "start espeak-ng -v en -s 150 -w words.wav In the band; $(rm x)",
        "end espeak-ng -v en -s 150 -w words.wav In the band; $(rm x)",
        "start espeak-ng -v en -s 150 In the band; $(rm x)",  # it left no file to be played
        "end espeak-ng -v en -s 150 In the band; $(rm x)",
    ]


def test_voice_that_fails_is_told_and_tones_go_on(programs: FakePrograms, make: MakePlayer) -> None:
    """A failing voice is told once and never tried again."""
    programs.add("paplay")
    programs.add("espeak-ng", code=1)
    told: list[str] = []
    player = make(voice=find_voice(), notice=told.append)
    for count in (1, 2):
        player.play("entered", words=lambda: "one two")
        until(lambda n=count: len(programs.lines("end paplay")) == n)  # type: ignore[misc]
        player.close(finish_s=5.0) if count == 2 else until(lambda: len(told) == 1)
    assert len(programs.lines("start espeak-ng")) == 1
    assert len(told) == 1


def test_a_new_tone_cuts_the_voice(programs: FakePrograms, make: MakePlayer) -> None:
    """Words are cut short by a more urgent tone."""
    programs.add("paplay")
    programs.add("espeak-ng", seconds=60.0)
    player = make(voice=find_voice())
    player.play("nearing", words=lambda: "five minutes")
    until(lambda: programs.lines("start espeak-ng") != [])
    player.play("blind")
    until(lambda: "end paplay blind.wav" in programs.lines())


def test_no_voice_is_none(programs: FakePrograms) -> None:
    """A machine without a voice has None, and each system looks for its own."""
    assert find_voice() is None
    programs.add("say")
    assert find_voice() is None
    assert find_voice("darwin") == Voice("say", (str(programs.folder / "say"),))


def test_windows_voice_gets_words_outside_the_command_line(
    programs: FakePrograms, tmp_path: Path
) -> None:
    """On Windows the words travel in a variable, so that its shell cannot take them apart."""
    target = tmp_path / "words.txt"
    text = f"#!/bin/sh\nprintf '%s' \"$WARMWATCH_WORDS\" > {target}\n"
    programs.add_text("powershell", text)
    voice = find_voice("win32")
    assert voice is not None
    assert voice.say("eighty-six; exit", lambda _: False) is PlayOutcome.DONE
    assert target.read_text(encoding="utf-8") == "eighty-six; exit"
    assert "eighty-six" not in " ".join(voice.argv)


def test_child_that_cannot_start_has_failed() -> None:
    """A missing program is an outcome and no exception."""
    assert run_child(["/no/such/program"], 1.0, lambda _: False) is PlayOutcome.FAILED


def test_outputs_import_no_heavy_library() -> None:
    """Sound needs the standard library alone (no numpy, pandas or matplotlib is loaded)."""
    code = (
        "import sys, warmwatch.outputs.sound.player; "
        "print([m for m in ('numpy', 'pandas', 'matplotlib', 'click') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    assert TONES


def test_a_reminder_does_not_sound_at_once(programs: FakePrograms, make: MakePlayer) -> None:
    """What insists is heard after its time and not before, unlike `play`."""
    programs.add("paplay")
    player = make()
    player.insist({"too-hot": (str, 0.05)})
    player.play("seeing")
    until(lambda: len(programs.lines("end")) >= 3)
    player.insist({})
    assert programs.lines("end")[:2] == ["end paplay seeing.wav", "end paplay too-hot.wav"]
