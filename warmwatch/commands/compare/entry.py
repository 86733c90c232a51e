"""`warmwatch compare`: how ways of warming up differ, from recordings."""

import json
import shutil
import sys
from collections.abc import Sequence
from contextlib import closing, nullcontext
from pathlib import Path

import click

from warmwatch.analysis.compare import BY_METHOD, Asked, compare_loaded, nothing_to_compare
from warmwatch.analysis.many.cache import FeatureCache, cache_path
from warmwatch.analysis.many.runs import Loaded, Wanted, load_runs
from warmwatch.analysis.many.spread import Here, OnDask
from warmwatch.analysis.methods.comparison import BOTH, METHOD, PHASE
from warmwatch.analysis.methods.loading import declares_loading
from warmwatch.book.band_text import parse_band
from warmwatch.commands.compare.export import as_object, write_bytes, write_csv, write_parquet
from warmwatch.core.units import parse_temperature
from warmwatch.errors import RecordingError, UsageError, one_line
from warmwatch.words.catalogue import phrase
from warmwatch.words.cautions import loading_cautions
from warmwatch.words.compare.notes import comparison_notes, note_text
from warmwatch.words.compare.report import NOTES_SHOWN, Result, report
from warmwatch.words.compare.sentences import sentences

WIDTH = 100
MANY = 50
PICTURES = {".png": b"\x89PNG", ".svg": b"<?xml"}


@click.command("compare")
@click.argument("paths", nargs=-1, required=True, metavar="RECORDING|DIR...")
@click.option(
    "--by",
    type=click.Choice([METHOD, PHASE, BOTH]),
    default=METHOD,
    show_default=True,
    help="What the groups are.",
)
@click.option("--band", metavar="LOW:HIGH", help="Band for all [default: the commonest one].")
@click.option("--unit", type=click.Choice(["C", "F"]), default="C", help="Unit of what is shown.")
@click.option("--from", "from_text", metavar="T", help="Common start [default: chosen].")
@click.option("--to", "to_text", metavar="T", help="End of the common span [default: chosen].")
@click.option("--at", "at_text", metavar="T,T", help="Temperatures to give heating rates at.")
@click.option("--against", metavar="METHOD", help="Compare all others with this one.")
@click.option("--vehicle", help="Only recordings with this label of the vehicle.")
@click.option("--label", "labels", multiple=True, metavar="PATTERN=METHOD", help="Set a label.")
@click.option(
    "--plot",
    "picture",
    type=click.Path(path_type=Path),
    metavar="FILE.png|.svg",
    help="Draw a picture.",
)
@click.option(
    "--csv", "csv_path", type=click.Path(path_type=Path), metavar="FILE", help="Write a CSV table."
)
@click.option(
    "--parquet",
    "parquet_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a Parquet table.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
@click.option("--no-cache", is_flag=True, help="Work everything out again, keep nothing.")
@click.option("--dask", metavar="ADDRESS", help="Let the workers of a Dask cluster read the files.")
def command(
    paths: Sequence[str],
    by: str,
    band: str | None,
    unit: str,
    from_text: str | None,
    to_text: str | None,
    at_text: str | None,
    against: str | None,
    vehicle: str | None,
    labels: Sequence[str],
    picture: Path | None,
    csv_path: Path | None,
    parquet_path: Path | None,
    as_json: bool,
    no_cache: bool,
    dask: str | None,
) -> int:
    """Compare ways of warming up, from recordings: how fast, how steady, how sure that is.

    It says what was seen and recommends nothing.
    """
    if picture is not None and picture.suffix.lower() not in PICTURES:
        raise UsageError(f"--plot {picture}: end the name in .png or .svg.")
    wanted = Wanted(
        None if band is None else parse_band(band, unit), vehicle, [parse_label(t) for t in labels]
    )
    loaded = load(paths, wanted, keep=not no_cache, dask=dask)
    asked = Asked(
        by,
        from_c=parse_level("--from", from_text, unit),
        to_c=parse_level("--to", to_text, unit),
        at_c=parse_levels(at_text, unit),
        against=against,
    )
    result = compared(loaded, asked, unit)
    # The files come first: what reads the text may stop in the middle.
    write_files(result, unit, picture, csv_path, parquet_path)
    if as_json:
        found = as_object(
            result.comparison, loaded.runs, result.notes, result.sentences, result.cautions
        )
        click.echo(json.dumps(found, ensure_ascii=False))
    else:
        for line in report(result, unit, terminal_width(), drawn=picture is not None):
            click.echo(one_line(line))
    return 0


def parse_level(option: str, text: str | None, unit: str) -> int | None:
    """Return a whole degC; UsageError when the text is not a temperature."""
    if text is None:
        return None
    try:
        return round(parse_temperature(text, unit))
    except ValueError as error:
        raise UsageError(f"{option} {text}: {error}; write it like 60 or 140F.") from None


def parse_levels(text: str | None, unit: str) -> tuple[int, ...]:
    """Return whole degC from `60,70`."""
    parts = [] if text is None else text.split(",")
    found = [parse_level("--at", part, unit) for part in parts]
    return tuple(dict.fromkeys(level for level in found if level is not None))


def parse_label(text: str) -> tuple[str, str]:
    """Return the pattern and the method of `PATTERN=METHOD`."""
    pattern, equals, method = text.partition("=")
    if not equals or not pattern or not method:
        raise UsageError(f"--label {text}: write it like --label 'monday*=idle'.")
    return pattern, method


def load(paths: Sequence[str], wanted: Wanted, *, keep: bool, dask: str | None) -> Loaded:
    """Load the recordings, here or on a Dask cluster; RecordingError when none can be used."""
    cache = FeatureCache(cache_path() if keep else None)
    spread = nullcontext(Here()) if dask is None else closing(OnDask(dask))
    with spread as place:
        loaded = load_runs(
            [Path(path) for path in paths], wanted, cache=cache, spread=place, progress=_count
        )
    if not loaded.runs:
        for note in loaded.notes[:NOTES_SHOWN]:
            click.echo(f"warmwatch: {note.name}: {note_text(note)}", err=True)
        raise RecordingError(nothing_to_compare(paths))
    return loaded


def _count(done: int, total: int) -> None:
    """On a terminal, show how far it is, where it takes more than a moment."""
    if total >= MANY and sys.stderr.isatty() and (done % 10 == 0 or done == total):
        text = phrase("report.count", done=done, total=total)
        click.echo(f"\r{text}", err=True, nl=done == total)


def compared(loaded: Loaded, asked: Asked = BY_METHOD, unit: str = "C") -> Result:
    """Compare what was loaded; UsageError when what is asked does not fit it."""
    comparison = compare_loaded(loaded, asked)
    notes = (*loaded.notes, *comparison_notes(loaded, comparison, unit))
    risky = any(declares_loading(run.method) or run.features.holds.count for run in loaded.runs)
    return Result(
        comparison,
        loaded,
        notes,
        tuple(sentences(comparison, unit)),
        loading_cautions() if risky else (),
    )


def terminal_width() -> int:
    """Return the width to write for; WIDTH where there is no terminal."""
    return shutil.get_terminal_size((WIDTH, 24)).columns if sys.stdout.isatty() else WIDTH


def write_files(
    result: Result,
    unit: str,
    picture: Path | None,
    csv_path: Path | None,
    parquet_path: Path | None,
) -> None:
    """Write what was asked for and say so."""
    runs = result.loaded.runs
    if csv_path is not None:
        write_csv(csv_path, result.comparison, runs)
        click.echo(phrase("report.table", path=str(csv_path)), err=True)
    if parquet_path is not None:
        write_parquet(parquet_path, result.comparison, runs)
        click.echo(phrase("report.table", path=str(parquet_path)), err=True)
    if picture is not None:
        # The drawing library takes a second to load; only now is it needed.
        from warmwatch.outputs.picture.comparison import picture as draw

        kind = picture.suffix.lower().removeprefix(".")
        foot = [*result.loaded.invented, *result.cautions[:1]]
        image = draw(result.comparison, runs, unit, kind, foot)
        write_bytes(picture, image, PICTURES[f".{kind}"])
        click.echo(phrase("report.picture", path=str(picture)), err=True)
