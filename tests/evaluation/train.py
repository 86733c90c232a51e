"""Train the forecast net and write its weights: `python -m tests.evaluation.train`.

Reads nothing measured: the lessons are invented warm-ups (tests/evaluation/world.py) with fixed
seeds. Plain numpy: a small net with the activation x / (1 + |x|), Adam, and quantile loss.
"""

import argparse
import itertools
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from textwrap import fill

import numpy as np
import numpy.typing as npt

from tests.evaluation.lessons import Lessons, make
from tests.evaluation.world import STYLES
from warmwatch.core.forecast.features import CANDIDATES

Floats = npt.NDArray[np.float64]
Weights = list[Floats]
LEVELS = np.array([0.1, 0.25, 0.5, 0.75, 0.9])
HEADS = 7 + len(CANDIDATES)
TARGET = Path(__file__).parents[2] / "warmwatch" / "core" / "forecast" / "net_weights.py"
_BATCH = 1024
RUNS = 4000
_LEVEL_TARGET_CLIMB = (43, 44, 45)  # their places among the features
_CHANCE_SHARE, _GAIN_SHARE = 0.3, 0.05


def _plus(z: Floats) -> Floats:
    out: Floats = 0.5 * (z + np.sqrt(z * z + 0.25))
    return out


def _plus_slope(z: Floats) -> Floats:
    out: Floats = 0.5 * (1 + z / np.sqrt(z * z + 0.25))
    return out


def forward(weights: Weights, inputs: Floats) -> tuple[list[Floats], list[Floats]]:
    """Return the activations and the sums of every layer; the last sums are the net's outputs."""
    values, sums = [inputs], []
    for i in range(0, len(weights), 2):
        z = values[-1] @ weights[i] + weights[i + 1]
        sums.append(z)
        values.append(z / (1 + np.abs(z)))
    return values, sums


def quantiles(out: Floats, inputs: Floats) -> Floats:
    """Return the five log-ratio quantiles, as net.answer does for one row."""
    middle = out[:, 2] + (out[:, 7:] * inputs[:, CANDIDATES]).sum(1)
    low = middle - _plus(out[:, 1])
    high = middle + _plus(out[:, 3])
    return np.column_stack([low - _plus(out[:, 0]), low, middle, high, high + _plus(out[:, 4])])


def slopes(out: Floats, inputs: Floats, ratio: Floats, reached: Floats, gain: Floats) -> Floats:
    """Return the gradient of the loss by the net's outputs."""
    found = np.zeros_like(out)
    known = np.isfinite(ratio)[:, None]
    miss = np.where(known, np.nan_to_num(ratio)[:, None] - quantiles(out, inputs), 0.0)
    pull = np.where(known, np.where(miss > 0, -LEVELS, 1 - LEVELS), 0.0)
    found[:, 2] = pull.sum(1)
    found[:, 7:] = found[:, 2:3] * inputs[:, CANDIDATES]
    found[:, 1] = -(pull[:, 1] + pull[:, 0]) * _plus_slope(out[:, 1])
    found[:, 0] = -pull[:, 0] * _plus_slope(out[:, 0])
    found[:, 3] = (pull[:, 3] + pull[:, 4]) * _plus_slope(out[:, 3])
    found[:, 4] = pull[:, 4] * _plus_slope(out[:, 4])
    z = out[:, 5]
    p = np.clip(0.5 * (1 + z / np.sqrt(1 + z * z)), 1e-5, 1 - 1e-5)
    asked = np.isfinite(reached)
    error = np.where(asked, p - np.nan_to_num(reached), 0.0)
    found[:, 5] = _CHANCE_SHARE * error / (p * (1 - p)) * 0.5 * (1 + z * z) ** -1.5
    found[:, 6] = -_GAIN_SHARE * np.sign(gain - out[:, 6])
    return found


def train(lessons: Lessons, hidden: tuple[int, ...], epochs: int, seed: int) -> Weights:
    """Return the weights that fit the lessons, with the scaling of the inputs folded in."""
    rng = np.random.default_rng(seed)
    middle, scale = lessons.inputs.mean(0), lessons.inputs.std(0) + 1e-3
    scaled = (lessons.inputs - middle) / scale
    ratio = np.clip(lessons.ratio, -2.5, 4.0)
    weight = _weight(lessons)
    weights = _start(rng, (lessons.inputs.shape[1], *hidden, HEADS))
    first = [np.zeros_like(w) for w in weights]
    second = [np.zeros_like(w) for w in weights]
    batches = len(scaled) // _BATCH
    for step in range(epochs * batches):
        if step % batches == 0:
            order = rng.permutation(len(scaled))
        rows = order[step % batches * _BATCH : (step % batches + 1) * _BATCH]
        noisy = scaled[rows] + rng.normal(0, 0.02, (len(rows), scaled.shape[1]))
        gradient = _gradient(weights, noisy, lessons, ratio, rows, weight)
        rate = 3e-3 * 0.5 * (1 + np.cos(np.pi * step / (epochs * batches))) + 1e-5
        for w, m, v, g in zip(weights, first, second, gradient, strict=True):
            m += 0.1 * (g - m)
            v += 0.001 * (g * g - v)
            grown = m / (1 - 0.9 ** (step + 1)) / (np.sqrt(v / (1 - 0.999 ** (step + 1))) + 1e-8)
            w -= rate * (grown + 1e-5 * w)
    weights[1] = weights[1] - (middle / scale) @ weights[0]
    weights[0] = weights[0] / scale[:, None]
    return weights


def _weight(lessons: Lessons) -> Floats:
    """Return 1 for a climb of 12 K and more in all, less for a target close to the start.

    A band is far above a cold start; steady warm-ups count half as much again, for their errors are
    small and would be lost among those of uneven ones.
    """
    level, target, climb = (lessons.inputs[:, i] for i in _LEVEL_TARGET_CLIMB)
    far = 20.0 * climb + 100.0 * (target - level) >= 12.0
    steady = np.isin(lessons.style, [STYLES.index("idle"), STYLES.index("heater")])
    weight: Floats = np.where(far, 1.0, 0.35) * np.where(steady, 1.5, 1.0)
    return weight


def _start(rng: np.random.Generator, sizes: tuple[int, ...]) -> Weights:
    weights: Weights = []
    for a, b in itertools.pairwise(sizes):
        weights += [rng.normal(0, a**-0.5, (a, b)), np.zeros(b)]
    weights[-2][:, 7:] *= 0.1
    weights[-1][7:] = 1 / len(CANDIDATES)
    weights[-1][[0, 1, 3, 4]] = -0.3
    weights[-1][5] = 1.0
    return weights


def _gradient(
    weights: Weights,
    scaled: Floats,
    lessons: Lessons,
    ratio: Floats,
    rows: npt.NDArray[np.int64],
    weight: Floats,
) -> Weights:
    values, sums = forward(weights, scaled)
    back = slopes(
        sums[-1], lessons.inputs[rows], ratio[rows], lessons.reached[rows], lessons.gain[rows]
    )
    back = back * weight[rows, None] / len(rows)
    found: Weights = [np.empty(0)] * len(weights)
    for i in range(len(weights) - 2, -1, -2):
        found[i], found[i + 1] = values[i // 2].T @ back, back.sum(0)
        if i:
            back = (back @ weights[i].T) / (1 + np.abs(sums[i // 2 - 1])) ** 2
    return found


def report(nets: list[Weights], lessons: Lessons) -> str:
    """Return a line on how the mean of `nets` does on lessons it has not seen."""
    out = np.mean([forward(w, lessons.inputs)[1][-1] for w in nets], axis=0)
    known = np.isfinite(lessons.ratio)
    found, truth = quantiles(out, lessons.inputs)[known], lessons.ratio[known]
    loss = truth[:, None] - found
    quantile_loss = np.where(loss > 0, LEVELS * loss, (LEVELS - 1) * loss).sum(1).mean()
    inside = ((truth >= found[:, 0]) & (truth <= found[:, 4])).mean()
    error = np.median(np.abs(np.exp(found[:, 2] - truth) - 1))
    return f"loss {quantile_loss:.4f}, median error {error:.1%}, inside q10-q90 {inside:.1%}"


def text(nets: list[Weights]) -> str:
    """Return the weights as a Python module."""
    lines = [
        '"""Weights of the forecast net, written by the training program; see docs/forecast.md."""',
        "",
        "# fmt: off",
        "Layer = tuple[tuple[tuple[float, ...], ...], tuple[float, ...]]",
        "",
        "NETS: tuple[tuple[Layer, ...], ...] = (",
    ]
    for weights in nets:
        lines.append("    (")
        for i in range(0, len(weights), 2):
            lines += ["        (", "            ("]
            for row in weights[i].T:
                lines += ["                (", _numbers(row), "                ),"]
            lines += ["            ),", "            (", _numbers(weights[i + 1])]
            lines += ["            ),", "        ),"]
        lines.append("    ),")
    return "\n".join([*lines, ")", "# fmt: on", ""])


def _numbers(row: Floats) -> str:
    shown = ", ".join(f"{x:.4g}" if f"{x:.4g}".strip("-").count(".") else f"{x:.1f}" for x in row)
    return fill(shown + ",", 98, initial_indent=" " * 18, subsequent_indent=" " * 18)


def _made(seed: int) -> Lessons:
    lessons = make(seed, RUNS)
    return replace(
        lessons, inputs=lessons.inputs.astype(np.float32)
    )  # they travel in half the room


def _trained(job: tuple[Lessons, tuple[int, ...], int, int]) -> Weights:
    lessons, hidden, epochs, seed = job
    return train(_wide(lessons), hidden, epochs, seed)


def _wide(lessons: Lessons) -> Lessons:
    return replace(lessons, inputs=lessons.inputs.astype(np.float64))


def main() -> None:
    """Train and write."""
    parser = argparse.ArgumentParser(prog="python -m tests.evaluation.train", description=__doc__)
    parser.add_argument("--blocks", type=int, default=15, help=f"lessons, {RUNS} runs a block")
    parser.add_argument("--epochs", type=int, default=28)
    parser.add_argument("--hidden", type=int, nargs="+", default=[24, 16])
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2], help="one net for each")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--out", type=Path, default=TARGET)
    options = parser.parse_args()
    with ProcessPoolExecutor(options.processes) as pool:
        unseen, *blocks = pool.map(_made, range(1, options.blocks + 2))
        names = ("inputs", "ratio", "reached", "gain", "style")
        lessons = Lessons(*(np.concatenate([getattr(b, n) for b in blocks]) for n in names))
        hidden = tuple(options.hidden)
        jobs = [(lessons, hidden, options.epochs, seed) for seed in options.seeds]
        nets = list(pool.map(_trained, jobs))
    options.out.write_text(text(nets), encoding="utf-8")
    print("seen:", report(nets, _wide(lessons)))
    print("unseen:", report(nets, _wide(unseen)))


if __name__ == "__main__":
    main()
