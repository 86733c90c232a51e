"""Compares the recordings in files and folders: one call from paths to figures."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from warmwatch.analysis.many.runs import Loaded, Wanted, load_runs
from warmwatch.analysis.methods.comparison import METHOD, Comparison
from warmwatch.analysis.methods.comparison import compare as compare_runs
from warmwatch.analysis.methods.figures import label
from warmwatch.analysis.methods.span import choose_span
from warmwatch.core.band import Band
from warmwatch.errors import RecordingError, UsageError


@dataclass(frozen=True, slots=True)
class Asked:
    """What to compare: the groups, the common span and the levels in degC, None where chosen."""

    by: str = METHOD
    from_c: int | None = None
    to_c: int | None = None
    at_c: Sequence[int] = ()
    against: str | None = None


BY_METHOD = Asked()


def compare(
    *paths: str | Path,
    by: str = METHOD,
    band: Band | None = None,
    vehicle: str | None = None,
    against: str | None = None,
) -> Comparison:
    """Compare the ways of warming up in recordings; see `warmwatch compare`.

    `by` is "method", "phase" or "both"; `band` the band to judge by (default: the one that most
    recordings were made for); `against` the group that all others are compared with. Times are in
    minutes, temperatures in degC. Raises RecordingError when no recording can be compared, and
    UsageError for a path that is not there or an unknown group.
    """
    loaded = load_runs((Path(path) for path in paths), Wanted(band, vehicle))
    if not loaded.runs:
        raise RecordingError(nothing_to_compare(paths))
    return compare_loaded(loaded, Asked(by, against=against))


def nothing_to_compare(paths: Iterable[str | Path]) -> str:
    """Return the sentence for paths without a usable recording."""
    return (
        f"No recording in {', '.join(map(str, paths))} can be compared: give recordings of "
        "warmwatch or folders with some."
    )


def compare_loaded(loaded: Loaded, asked: Asked = BY_METHOD) -> Comparison:
    """Compare what was loaded; UsageError when what is asked does not fit it."""
    by, from_c, to_c, against = asked.by, asked.from_c, asked.to_c, asked.against
    assert loaded.band is not None, "there are runs, so there is a band"
    if from_c is not None and to_c is not None and from_c >= to_c:
        raise UsageError("--from must be below --to.")
    known = {label(run) for run in loaded.runs}
    if against is not None and by == METHOD and against.casefold() not in known:
        raise UsageError(f"--against {against}: known are {', '.join(sorted(known))}.")
    span = choose_span(loaded.runs, loaded.band, from_c=from_c, to_c=to_c, at_c=asked.at_c)
    against = None if against is None else against.casefold()
    return compare_runs(loaded.runs, span, by=by, against=against)
