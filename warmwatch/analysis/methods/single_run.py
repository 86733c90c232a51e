"""What one recording with several ways of running tells by itself."""

from collections.abc import Sequence

from warmwatch.analysis.methods.figures import Run
from warmwatch.analysis.methods.run import RunFeatures
from warmwatch.analysis.methods.stages import SETTLE_S, StageModel, stage_model


def within(runs: Sequence[Run]) -> list[tuple[Run, StageModel, StageModel]]:
    """Return the runs with several ways in them: the model where they met, and in the band."""
    found = []
    for run in runs:
        blocks = run.features.blocks
        if len({block.kind for block in blocks}) < 2:
            continue
        middle_c = (run.made_for.low_c + run.made_for.high_c) / 2.0
        step_c = run.features.step_c
        met = stage_model(blocks, step_c=step_c)
        band = stage_model(blocks, middle_c, step_c=step_c)
        if met is not None and band is not None:
            found.append((run, met, band))
    return found


def rise_after_holds(features: RunFeatures) -> float | None:
    """Return the rise in degC within SETTLE_S after the last hold; None without one, or unseen."""
    end_s = max((stage.to_s for stage in features.stages if stage.kind == "loaded"), default=None)
    if end_s is None or features.gaps_between(end_s, end_s + SETTLE_S):
        return None
    before = [fluid_c for at_s, fluid_c in features.curve if end_s - SETTLE_S <= at_s <= end_s]
    after = [fluid_c for at_s, fluid_c in features.curve if end_s < at_s <= end_s + SETTLE_S]
    return max(0.0, max(after) - before[-1]) if before and after else None
