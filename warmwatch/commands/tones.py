"""`warmwatch tones`: hear each tone with its name and meaning, or write them as WAV files."""

import json
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import click

from warmwatch.errors import UsageError, WarmwatchError
from warmwatch.outputs.sound.player import TonePlayer
from warmwatch.outputs.sound.tones import TONES, Tone, picture, write_wav
from warmwatch.outputs.sound.voice import Voice, find_voice
from warmwatch.words.speech import sentence

LONGEST_S = 45.0
"""No tone with its words takes longer, even when a player hangs and another has to help."""

ADVICE = (
    "How loud this is beside a running engine cannot be promised: try it there, and keep a screen "
    "in sight. _ is low, - middle, ^ high; three together are one long pulse."
)


@click.command("tones")
@click.argument("names", nargs=-1, metavar="[NAME]...")
@click.option(
    "--dry", type=click.Path(path_type=Path), metavar="DIR", help="Write WAV files, play nothing."
)
@click.option("--speak", is_flag=True, help="Speak the words after each tone, too.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout, play nothing.")
def command(names: Sequence[str], dry: Path | None, speak: bool, as_json: bool) -> int:
    """Play and name each tone, or only those with the NAMEs given."""
    chosen = choose(names)
    if dry is not None:
        write_all(chosen, dry)
    if as_json:
        click.echo(json.dumps({"tones": [as_object(tone, dry) for tone in chosen]}))
        return 0
    if dry is not None:
        for tone in chosen:
            click.echo(f"{dry / tone.name}.wav  {tone.meaning}")
        return 0
    return play_all(chosen, _voice() if speak else None)


def choose(names: Sequence[str]) -> list[Tone]:
    """Return the named tones, all when none is named; UsageError for an unknown name."""
    for name in names:
        if name not in TONES:
            raise UsageError(f"There is no tone {name}: the tones are {', '.join(TONES)}.")
    return [TONES[name] for name in names or TONES]


def write_all(tones: Sequence[Tone], folder: Path) -> None:
    """Write each tone to `folder`, making it; WarmwatchError when that fails."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for tone in tones:
            write_wav(tone, folder / f"{tone.name}.wav")
    except OSError as error:
        reason = error.strerror or error
        raise WarmwatchError(
            f"The tones cannot be written to {folder} ({reason}): choose another folder."
        ) from None


def as_object(tone: Tone, folder: Path | None) -> dict[str, object]:
    """Return a tone for other programs; times in seconds."""
    plain: dict[str, object] = {
        "name": tone.name,
        "meaning": tone.meaning,
        "urgency": tone.urgency,
        "pulses": [[pulse.pitch, pulse.on_s, pulse.off_s] for pulse in tone.pulses],
    }
    return plain if folder is None else plain | {"file": str(folder / f"{tone.name}.wav")}


def play_all(tones: Sequence[Tone], voice: Voice | None) -> int:
    """Play one after the other; return 1 when nothing can be heard."""
    player = TonePlayer(voice=voice, notice=lambda text: click.echo(f"! {text}", err=True))
    click.echo(player.describe())
    click.echo(ADVICE)
    try:
        for tone in tones:
            click.echo(f"{tone.name:<17}{picture(tone):<29}{tone.meaning}")
            player.play(tone.name, partial(sentence, tone.name, None))
            player.finish(LONGEST_S)
    finally:
        player.close()
    if player.audible:
        return 0
    click.echo("Nothing could be heard here: install a sound player, or use --dry DIR.", err=True)
    return 1


def _voice() -> Voice:
    voice = find_voice()
    if voice is None:
        raise UsageError("--speak: no voice was found; install espeak-ng, or leave it out.")
    return voice
