"""Makes docs/worked-comparison.md and its picture: `python -m tests.make_worked_comparison`.

Every output on the page is what the program prints when the page is made; a test makes it anew and
compares. The recordings are the invented ones in recordings/.
"""

import contextlib
import io
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path

from click.testing import CliRunner

from warmwatch.commands.compare.entry import command

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "worked-comparison.md"
PICTURE = ROOT / "docs" / "pictures" / "compare-methods.png"

TEXT = """\
# A comparison, worked through

*Made by `python -m tests.make_worked_comparison`; do not edit by hand.* The recordings are the
invented ones in [recordings/](../recordings/README.md): **no number on this page was measured**,
and none says anything about your vehicle. [compare.md](compare.md) explains the words and how to
record a fair comparison of your own.

Five ways, three recordings of each, one invented vehicle, band 80 to 90 °C.

## The question

Does the fluid reach the band sooner by idling, idling faster, idling with the cabin heater on, or
driving? And what happened in the recordings with holds against the brakes, which people ask about
and nobody needs?

$ warmwatch compare recordings/*.csv --against idle

How to read it:

- Every sentence with a number has an interval. 95 of 100 such intervals hold the true difference,
  if the runs are a fair sample of the method.
- The heater runs end before the band, so no time to the band is claimed for them; they are compared
  over the span that all recordings cover.
- Start and ambient temperature hardly differ between these runs, so the adjusted differences lie
  close to the plain ones. On a real driveway they will not.
- Most recordings end inside the band, so how long the stay lasts is only known to be "at least".

## The picture

`warmwatch compare recordings/*.csv --plot compare.png` draws this:

![Five ways of warming up an invented vehicle: curves from the common start, and heating rate
against temperature](pictures/compare-methods.png)

The slope of a curve on the left is the height of its line on the right. All lines fall towards the
right: the warmer the fluid, the more heat it loses.

## One warm-up by itself

Ten minutes of idling, ten with holds, ten of idling, in one recording. Both ways meet at no common
temperature, so a model with one shared loss term brings them together:

$ warmwatch compare recordings/single/*mixed.csv

What matters for the check: after holds the reading runs behind the heat, and while they go on the
stay in the band is short.

## By phase

What the vehicle was doing counts, not the label:

$ warmwatch compare recordings/single --by phase

## Further in pandas

`read_recordings` gives one frame for a whole folder, and `--csv` one row for each recording.

>>> import warmwatch
>>> frame = warmwatch.read_recordings("recordings/single")
>>> readings = frame[frame["kind"] == "reading"]
>>> print(readings.groupby("method")["fluid_c"].max().to_dict())

Seconds spent in the band, from the readings themselves (1 s apart):

>>> inside = readings[readings["fluid_c"].between(80.0, 90.0)]
>>> print(inside.groupby("method").size().to_dict())
"""


def page() -> str:
    """Return the page with its outputs."""
    names: dict[str, object] = {}
    with contextlib.chdir(ROOT):
        return "\n".join(part for line in TEXT.splitlines() for part in _line(line, names)) + "\n"


def _line(line: str, names: dict[str, object]) -> Iterator[str]:
    if line.startswith("$ "):
        yield from ["```", line, *typed(line[2:]), "```"]
    elif line.startswith(">>> "):
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            exec(line[4:], names)  # noqa: S102 - the page's own lines, above
        yield f"    {line}"
        yield from (f"    {told}".rstrip() for told in printed.getvalue().splitlines())
    else:
        yield line


def typed(line: str) -> list[str]:
    """Return what a `warmwatch compare` line prints."""
    _, _, *words = shlex.split(line)
    paths = [
        str(path)
        for word in words
        for path in (sorted(Path().glob(word)) if "*" in word else [word])
    ]
    found = CliRunner().invoke(command, [*paths, "--no-cache"])
    if found.exit_code != 0:
        raise RuntimeError(found.output)
    return found.stdout.rstrip("\n").split("\n")


def main() -> None:
    """Write the page and its picture."""
    PAGE.write_text(page(), encoding="utf-8")
    PICTURE.parent.mkdir(exist_ok=True)
    PICTURE.unlink(missing_ok=True)
    with contextlib.chdir(ROOT):
        recordings = [str(path) for path in sorted(Path("recordings").glob("*.csv"))]
        CliRunner().invoke(command, [*recordings, "--no-cache", "--plot", str(PICTURE)])
    sys.stdout.write(f"{PAGE.name} and {PICTURE.name}\n")


if __name__ == "__main__":
    main()
