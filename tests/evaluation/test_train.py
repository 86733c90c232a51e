"""The invented worlds, the lessons from them, and the net's two independent calculations."""

import numpy as np
import pytest

from tests.evaluation.lessons import make
from tests.evaluation.train import HEADS, Weights, forward, quantiles, report, text, train
from tests.evaluation.world import STYLES, simulate
from warmwatch.core.forecast.features import CANDIDATES
from warmwatch.core.forecast.net import answer
from warmwatch.core.forecast.net_weights import NETS


@pytest.mark.parametrize("style", STYLES)
def test_invented_worlds_are_finite_and_repeatable(style: str) -> None:
    """Every way of heating gives believable temperatures, the same for the same seed."""
    world, again = simulate(3, 20, style, 3600.0), simulate(3, 20, style, 3600.0)
    assert np.array_equal(world.fluid, again.fluid)
    assert np.isfinite(world.fluid).all()
    assert world.fluid.min() > -60.0
    assert np.median(world.fluid[:, -1]) > np.median(world.fluid[:, 0]) + 5.0


def test_core_net_agrees_with_numpy() -> None:
    """The core's plain-float net and numpy's matrix form give the same quantiles and chance."""
    inputs = make(5, 20).inputs[::7]
    weights = [
        [part for rows, offsets in layers for part in (np.array(rows).T, np.array(offsets))]
        for layers in NETS
    ]
    out = np.mean([forward(w, inputs)[1][-1] for w in weights], axis=0)
    expected = quantiles(out, inputs)
    for row, want, z in zip(inputs, expected, out[:, 5], strict=True):
        found = answer(row.tolist())
        assert found.ratios == pytest.approx(tuple(want), abs=1e-9)
        assert found.chance == pytest.approx(0.5 * (1 + z / np.sqrt(1 + z * z)), abs=1e-9)


def test_training_learns_and_writes_a_module() -> None:
    """A few epochs already beat the untrained mix, and the written module holds those weights."""
    lessons, unseen = make(6, 120), make(7, 60)
    raw, taught = train(lessons, (8, 6), 1, 0), train(lessons, (8, 6), 30, 0)

    def loss(weights: Weights) -> float:
        return float(report([weights], unseen).split()[1].rstrip(","))

    assert loss(taught) < loss(raw)
    held: dict[str, object] = {}
    exec(text([taught]), held)  # noqa: S102 - our own text
    nets = held["NETS"]
    assert isinstance(nets, tuple)
    rows, offsets = nets[0][-1]
    assert len(rows) == len(offsets) == HEADS == 7 + len(CANDIDATES)
    assert pytest.approx(taught[-2], rel=1e-3, abs=1e-4) == np.array(rows).T
