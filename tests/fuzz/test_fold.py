"""Whatever a link delivers, the fold goes on: no value may stop a watch."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.units import QUANTITIES
from warmwatch.core.watch import Watch

pytestmark = pytest.mark.slow

NUMBERS = st.one_of(
    st.floats(60, 95),
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([0.0, -0.0, 1e308, -1e308, 5e-324]),
)
GAPS = st.one_of(st.floats(0, 3), st.sampled_from([0.0, 1e-9, 30.0, 1e7]))
VALUES = st.dictionaries(st.sampled_from([*QUANTITIES, "odd"]), NUMBERS, max_size=5)
DOUBTS = st.dictionaries(st.sampled_from(["fluid_c", "coolant_c"]), st.text(max_size=5), max_size=1)


@st.composite
def stories(draw: st.DrawFn) -> list[Item]:
    """Draw items in the order of their times, as links give them, with anything in them."""
    items: list[Item] = []
    now_s = 0.0
    for _ in range(draw(st.integers(1, 40))):
        now_s += draw(GAPS)
        kind = draw(st.integers(0, 9))
        if kind == 0:
            items.append(Mark(now_s, draw(st.sampled_from(MarkName)), draw(st.text(max_size=9))))
        elif kind == 1:
            items.append(Tick(now_s, draw(st.sampled_from(["", "slept"]))))
        else:
            items.append(Reading(now_s, draw(VALUES), draw(DOUBTS)))
    return items


@settings(max_examples=60, deadline=None)
@given(items=stories())
def test_the_fold_takes_anything(items: list[Item]) -> None:
    """NaN, infinity, huge and tiny numbers in any quantity: results, a snapshot, and no crash."""
    job = Job(Band(80.0, 90.0), drain_band=Band(40.0, 60.0))
    watch, again = Watch(job), Watch(job)
    for item in items:
        results = watch.step(item)
        watch.snapshot()
        assert repr(again.step(item)) == repr(results)
    assert watch.snapshot().readings == sum(isinstance(item, Reading) for item in items)
