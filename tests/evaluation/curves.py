"""Read measured curves the way the program would: doubtful values refused, phases followed."""

import csv
from dataclasses import dataclass, field
from pathlib import Path

from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.phase import Phase, PhaseTracker
from warmwatch.core.reading import Reading
from warmwatch.core.trust import Trust

_NAMES = {
    "temp_C": "fluid_c",
    "trans_C": "fluid_c",
    "coolant_C": "coolant_c",
    "rpm": "engine_rpm",
    "speed_kmh": "speed_kmh",
    "ambient_C": "ambient_c",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One believed reading; `fresh` says that continuity was lost just before it."""

    elapsed_s: float
    fluid_c: float
    phase: Phase
    values: dict[str, float]
    fresh: bool = False

    def feed(self, forecaster: Forecaster) -> None:
        """Let `forecaster` take this reading, as the watch does."""
        extra = {k: v for k, v in self.values.items() if k != "fluid_c"}
        forecaster.update(self.elapsed_s, self.fluid_c, phase=self.phase, **extra)


@dataclass(frozen=True, slots=True)
class Curve:
    """One warm-up; `group` is the part of the table it is reported in.

    Nothing is asked before `from_s`: the way of heating that is to be judged begins there.
    """

    name: str
    group: str
    rows: list[Row] = field(default_factory=list)
    from_s: float = 0.0


def read(path: Path, group: str) -> Curve:
    """Return one measured curve."""
    trust, phases = Trust(), PhaseTracker()
    curve = Curve(path.stem, group)
    with path.open(encoding="utf-8", newline="") as lines:
        for record in csv.DictReader(lines):
            values = {
                name: float(record[column])
                for column, name in _NAMES.items()
                if record.get(column) not in (None, "")
            }
            elapsed_s = float(record["time_s"])
            phase = phases.step(elapsed_s, values)
            verdict = trust.judge(Reading(elapsed_s, values))
            if verdict is not None and verdict.fluid_c is not None:
                row = Row(elapsed_s, verdict.fluid_c, phase, values, verdict.fresh)
                curve.rows.append(row)
    return curve


FOLDERS = (
    ("paired", "*.csv", "driving, one car"),
    ("drives", "cool_*.csv", "coolant, driving"),
    ("town", "*.csv", "coolant, town"),
    ("air", "*.csv", "aircraft oil"),
    ("other", "heat*.csv", "heater coolant"),
    ("other", "hyd*.csv", "hydraulic oil"),
)


def measured(folder: Path) -> list[tuple[Path, str]]:
    """Return the files of measured curves and the group of each."""
    return [
        (path, group)
        for part, names, group in FOLDERS
        for path in sorted((folder / part).glob(names))
    ]
