"""Draw the pictures of docs/forecast.md: `python -m tests.evaluation.pictures CURVES_DIR`."""

import itertools
import sys
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tests.evaluation.curves import Curve, measured
from tests.evaluation.scores import HORIZONS_S, Chance, score, wilson
from tests.evaluation.stationary import stationary
from warmwatch.core.forecast.forecaster import Forecast, Forecaster

FOLDER = Path(__file__).parents[2] / "docs" / "pictures"
_BLUE, _GREY, _RED = "#20639b", "#777777", "#b5341f"
_FANS = (
    ("s_C1", 70.0, "measured: driving, driver C"),
    ("s_D7", 70.0, "measured: driving, driver D"),
    ("idle 3", 80.0, "simulated: idle"),
    ("loaded holds 1", 80.0, "simulated: loaded holds"),
)


def follow(curve: Curve, target_c: float) -> tuple[list[Forecast], float]:
    """Return the forecasts every 5 s until the target is first reached, and that time."""
    hit = curve.first_at(target_c)
    assert hit is not None, curve.name
    forecaster, found = Forecaster(), []
    for i, row in enumerate(curve.rows[:hit]):
        row.feed(forecaster)
        if i % 5 == 0:
            found.append(forecaster.to_edge(row.elapsed_s, target_c, "low"))
    return found, curve.rows[hit].elapsed_s


def draw_fan(axes: Axes, curve: Curve, target_c: float, title: str) -> None:
    """Draw time left, forecast and true, against elapsed time, in minutes."""
    forecasts, arrives = follow(curve, target_c)
    given = [f for f in forecasts if f.elapsed_s >= 20.0]
    t = np.array([f.elapsed_s for f in given]) / 60
    low, middle, high = (
        np.array([getattr(f, q) for f in given], dtype=float) / 60
        for q in ("q10_s", "q50_s", "q90_s")
    )
    axes.fill_between(t, low, high, color=_BLUE, alpha=0.25, lw=0, label="10 to 90 %")
    axes.plot(t, middle, color=_BLUE, lw=1.5, label="median")
    axes.plot([0, arrives / 60], [arrives / 60, 0], color=_RED, lw=1.2, ls="--", label="truth")
    axes.set(title=f"{title}, to {target_c:.0f} °C", xlabel="elapsed, min", ylabel="time left, min")
    axes.set_ylim(0, 1.7 * arrives / 60)
    axes.set_xlim(0, arrives / 60)
    temperature = axes.twinx()
    rows = [r for r in curve.rows if r.elapsed_s <= arrives]
    temperature.plot([r.elapsed_s / 60 for r in rows], [r.fluid_c for r in rows], color=_GREY, lw=1)
    temperature.set_ylabel("fluid, °C", color=_GREY)


def draw_chance(axes: Axes, groups: dict[str, list[Chance]]) -> None:
    """Draw how often the target came against the chance given, with Wilson intervals."""
    edges = np.array([0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.001])
    for n, (name, chances) in enumerate(groups.items()):
        given = np.array([c.chance for c in chances])
        came = np.array([c.arrived for c in chances])
        x, y, down, up = [], [], [], []
        for a, b in itertools.pairwise(edges):
            here = (given >= a) & (given < b)
            if here.sum() < 15:
                continue
            share = came[here].mean()
            low, high = wilson(int(came[here].sum()), int(here.sum()))
            x.append(given[here].mean())
            y.append(share)
            down.append(share - low)
            up.append(high - share)
        axes.errorbar(x, y, [down, up], color=(_BLUE, _RED)[n], marker="os"[n], lw=1, label=name)
    axes.plot([0, 1], [0, 1], color=_GREY, lw=1)
    axes.set(xlabel="chance given", ylabel="share that came", title="Is the chance right?")
    axes.legend(fontsize=8)


def draw_cover(axes: Axes, groups: dict[str, list[tuple[float, bool]]]) -> None:
    """Draw the share of truths inside q10 to q90 for each horizon, with Wilson intervals."""
    for n, (name, cases) in enumerate(groups.items()):
        for k, horizon in enumerate(HORIZONS_S):
            inside = [i for h, i in cases if h == horizon]
            share = sum(inside) / len(inside)
            low, high = wilson(sum(inside), len(inside))
            axes.errorbar(
                k + 0.12 * n - 0.06, share, [[share - low], [high - share]],
                color=(_BLUE, _RED)[n], marker="os"[n], label=name if k == 0 else None,
            )  # fmt: skip
    axes.axhspan(0.75, 0.85, color=_GREY, alpha=0.2, lw=0)
    axes.set_xticks(range(len(HORIZONS_S)), [f"{h:.0f}" for h in HORIZONS_S])
    axes.set(ylim=(0.4, 1.0), xlabel="seconds before", title="Truths inside the 80 % interval")
    axes.legend(fontsize=8)


def main() -> None:
    """Write both pictures."""
    curves = measured(Path(sys.argv[1])) + stationary(60)
    by_name = {c.name: c for c in curves}
    fan = Figure(figsize=(11, 7.5), layout="constrained")
    for axes, (name, target_c, title) in zip(fan.subplots(2, 2).flat, _FANS, strict=True):
        draw_fan(axes, by_name[name], target_c, title)
    fan.axes[0].legend(fontsize=8, loc="lower left")
    fan.savefig(FOLDER / "forecast-fan.png", dpi=90)
    kinds = {"measured drives": "drivers", "simulated idle": "stationary (simulated), idle"}
    chances: dict[str, list[Chance]] = {}
    cases: dict[str, list[tuple[float, bool]]] = {}
    for title, prefix in kinds.items():
        here = [c for c in curves if c.group.startswith(prefix)]
        chances[title] = [
            x for c in here for x in score(c, (60.0, 70.0, 75.0, 80.0, 85.0), rules=False)[1]
        ]
        cases[title] = [
            (x.truth_s, x.inside)
            for c in here
            for x in score(c, (50.0, 55.0, 60.0, 65.0, 70.0, 75.0), rules=False)[0]
        ]
    sure = Figure(figsize=(11, 4.5), layout="constrained")
    left, right = sure.subplots(1, 2)
    draw_chance(left, chances)
    draw_cover(right, cases)
    sure.savefig(FOLDER / "forecast-calibration.png", dpi=90)


if __name__ == "__main__":
    main()
