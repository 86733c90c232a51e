"""`warmwatch plot RECORDING`: a picture of a recording."""

import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import click

from warmwatch._version import __version__
from warmwatch.core.reading import Item
from warmwatch.errors import RecordingError, UsageError, WarmwatchError
from warmwatch.recording.reader import RowReader, require_recording
from warmwatch.recording.sidecar import read_sidecar, sidecar_watch

FORMATS = ("png", "svg")
_BEGINNINGS = (b"\x89PNG", b"<?xml", b"<svg")


@click.command("plot")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), metavar="FILE", help="Picture to write."
)
@click.option(
    "--unit", type=click.Choice(["C", "F"]), help="Unit of what is shown [default: the job's]."
)
@click.option(
    "--format", "image_format", type=click.Choice(FORMATS), help="[default: by FILE, else png]"
)
def command(
    recording: Path, output: Path | None, unit: str | None, image_format: str | None
) -> int:
    """Draw RECORDING: temperature, band, windows, marks, gaps, forecasts and phases."""
    target, chosen = choose_target(recording, output, image_format)
    draw_recording(recording, target, unit=unit, image_format=chosen)
    click.echo(f"Picture: {target}")
    return 0


def choose_target(
    recording: Path, output: Path | None, image_format: str | None
) -> tuple[Path, str]:
    """Return where to write and in which format; UsageError when they do not go together."""
    if output is None:
        chosen = image_format or "png"
        return recording.with_suffix(f".{chosen}"), chosen
    ending = output.suffix.lower().removeprefix(".")
    if ending not in FORMATS and image_format is None:
        raise UsageError(f"{output}: end the name in .png or .svg, or add --format.")
    if ending in FORMATS and image_format is not None and ending != image_format:
        raise UsageError(f"{output} and --format {image_format} do not agree: leave one out.")
    return output, image_format or ending


def draw_recording(
    recording: Path, target: Path, *, unit: str | None = None, image_format: str = "png"
) -> None:
    """Draw `recording` to `target`.

    Raises RecordingError when it cannot be read and WarmwatchError when `target` cannot be written
    or holds something that is no picture.
    """
    _refuse_to_overwrite(target)
    # The drawing library takes a second to load; only now is it needed.
    from warmwatch.outputs.picture.plot import picture
    from warmwatch.outputs.picture.trace import make_trace

    require_recording(recording)
    sidecar = read_sidecar(recording)
    reader = RowReader(recording)
    watch = sidecar_watch(sidecar)
    trace = make_trace(watch.job, _items(reader), watch)
    notes = foot_notes(sidecar, reader)
    image = picture(trace, unit=unit, image_format=image_format, notes=notes)
    try:
        target.write_bytes(image)
    except OSError as error:
        raise WarmwatchError(
            f"The picture cannot be written to {target} ({error.strerror or error}): "
            "give another name with -o."
        ) from None


def foot_notes(sidecar: Mapping[str, Any], reader: RowReader) -> list[str]:
    """Return what has to be said below the picture of a recording that was read to its end."""
    notes = []
    link = sidecar.get("warmwatch:link")
    if isinstance(link, dict) and link.get("invented"):
        notes.append(str(link["invented"]))
    versions = sidecar.get("warmwatch:versions")
    if not isinstance(versions, dict) or versions.get("warmwatch") != __version__:
        notes.append("Forecasts as this version of warmwatch makes them, not as they were then.")
    if reader.torn:
        notes.append(f"The last line is torn and left out: {reader.torn}.")
    elif not reader.closed:
        notes.append("This recording was never closed: it may end too early.")
    return notes


def _items(reader: RowReader) -> Iterator[Item]:
    for row in reader:
        try:
            item = row.item
            if item is not None and not math.isfinite(item.elapsed_s):
                raise ValueError(f"elapsed_s is {item.elapsed_s}")
        except ValueError as error:
            raise RecordingError(
                f"Row {row.number} of {reader.path.name} cannot be read ({error}): "
                "it was changed or damaged."
            ) from None
        if item is not None:
            yield item


def _refuse_to_overwrite(target: Path) -> None:
    try:
        with target.open("rb") as file:
            beginning = file.read(8)
    except OSError:
        return
    if beginning and not beginning.startswith(_BEGINNINGS):
        raise WarmwatchError(
            f"{target} is there already and is not a picture, so it is left alone: "
            "give another name with -o."
        )
