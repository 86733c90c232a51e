"""What the drip says: the trade's advice, and what warming alone explains."""

import pytest

from warmwatch.core.band import Band, Place
from warmwatch.core.level.drip import Advice, advice, by_warming, overrun_ml
from warmwatch.core.level.ledger import FluidData
from warmwatch.core.reading import MarkName
from warmwatch.words.catalogue import phrase

BAND = Band(85.0, 95.0)
FLUID = FluidData(capacity_l=8.0)


@pytest.mark.parametrize(
    ("flow", "place", "fluid_c", "says"),
    [
        (MarkName.STREAM, Place.INSIDE, 88.0, "let it run"),
        (MarkName.DRIP, Place.INSIDE, 90.0, "the level is set"),
        (MarkName.DRIP, Place.INSIDE, 86.9, "high limit"),
        (MarkName.NO_DRIP, Place.INSIDE, 90.0, "wait while it warms"),
        (MarkName.NO_DRIP, Place.INSIDE, 94.5, "top up"),
        (MarkName.NO_DRIP, Place.ABOVE, 96.0, "top up"),
        (MarkName.DRIP, Place.ABOVE, 96.0, "close the plug"),
        (MarkName.STREAM, Place.BELOW, 80.0, "does not count"),
        (None, Place.INSIDE, 90.0, "a stream, a drip or nothing"),
        (MarkName.DRIP, Place.UNSEEN, 90.0, "not known"),
        (MarkName.DRIP, Place.INSIDE, None, "not known"),
    ],
)
def test_advice_is_the_trades(
    flow: MarkName | None, place: Place, fluid_c: float | None, says: str
) -> None:
    """Stream: let it run; drip inside: set; none by the top: low; drip at the bottom edge: at its
    high limit (common practice, no source); unknown temperature: no judgement.
    """
    assert says in phrase(f"plug.{advice(flow, place, fluid_c, BAND)}")


@pytest.mark.parametrize(
    ("flow", "fluid_c", "told"),
    [
        (MarkName.DRIP, 87.0, Advice.HIGH_LIMIT),
        (MarkName.DRIP, 87.1, Advice.LEVEL_SET),
        (MarkName.NO_DRIP, 93.9, Advice.WAIT),
        (MarkName.NO_DRIP, 94.0, Advice.LOW),
    ],
)
def test_the_bottom_is_two_degrees_and_the_top_one(
    flow: MarkName, fluid_c: float, told: Advice
) -> None:
    """In a band of 85 to 95 °C, to the tenth (common practice, no source)."""
    assert advice(flow, Place.INSIDE, fluid_c, BAND) is told


def test_a_narrow_band_has_a_middle() -> None:
    """In a band of 2 degC a drip near its top is not one at its bottom, nor all of it the top."""
    narrow = Band(80.0, 82.0)
    assert advice(MarkName.DRIP, Place.INSIDE, 81.8, narrow) is Advice.LEVEL_SET
    assert advice(MarkName.DRIP, Place.INSIDE, 80.4, narrow) is Advice.HIGH_LIMIT
    assert advice(MarkName.NO_DRIP, Place.INSIDE, 81.2, narrow) is Advice.WAIT


def test_a_drip_after_a_stream_is_the_level() -> None:
    """What was too much has run out: even at the bottom edge it now only drips, so close."""
    drips = advice(MarkName.DRIP, Place.INSIDE, 85.2, BAND, streamed=True)
    assert drips is Advice.DRIPS_NOW
    assert "close the plug" in phrase(f"plug.{drips}").lower()


def test_one_order_at_a_time_near_the_top() -> None:
    """A stream near the top is not to be let run and finished at once."""
    order = advice(MarkName.STREAM, Place.INSIDE, 94.0, BAND, top_near=True)
    assert order is Advice.STREAM_AT_TOP
    assert "let it run" not in phrase(f"plug.{order}")


def test_warming_alone_explains_a_drip() -> None:
    """8 L at 90 degC grow by about 6.3 mL/degC (7.9e-4 per degC, reference); at 1.5 degC/min that
    is about 9.5 mL/min or 190 drops of 0.05 mL.
    """
    drip = by_warming(FLUID, 90.0, 1.5)
    assert drip.ml_per_c == pytest.approx(8000 * 7.9e-4, rel=0.01)
    assert drip.ml_per_min == pytest.approx(9.5, rel=0.02)
    assert drip.drops_per_min == pytest.approx(190, rel=0.02)


def test_a_fluid_that_cools_explains_no_drip() -> None:
    """Falling temperature gives nothing, and an unknown rate stays unknown."""
    assert by_warming(FLUID, 90.0, -1.0).ml_per_min == 0.0
    assert by_warming(FLUID, 90.0, None).ml_per_min is None
    assert by_warming(FluidData(), 90.0, 1.0).ml_per_c is None


def test_overrun_is_what_warming_pushed_out() -> None:
    """Two degrees of warming after the first drip push out twice the expansion per degree."""
    assert overrun_ml(FLUID, 88.0, 90.0) == pytest.approx(2 * 8000 * 7.88e-4, rel=0.01)
    assert overrun_ml(FLUID, 90.0, 88.0) == 0.0
    assert overrun_ml(FLUID, None, 88.0) is None
