"""The share of fresh fluid, against the closed form and against a simulated mixing."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.level.fresh import fresh, fresh_share, times_for


def mixed(drain_l: float, capacity_l: float, times: int) -> float:
    """Return the share of fresh fluid by keeping account of both, drain by drain."""
    old, new = capacity_l, 0.0
    for _ in range(times):
        out = drain_l / (old + new)
        old, new = old - out * old, new - out * new + drain_l
    return new / (old + new)


@given(st.floats(0.5, 20), st.floats(0.05, 1), st.integers(1, 20))
def test_the_share_is_that_of_a_simulated_mixing(capacity: float, part: float, times: int) -> None:
    """Old and new litres counted through every drain and fill give the same share."""
    assert fresh(part * capacity, capacity, times) == pytest.approx(
        mixed(part * capacity, capacity, times), abs=1e-9
    )


def test_half_each_time_is_the_well_known_row() -> None:
    """1/2, 3/4, 7/8, 15/16: the closed form by hand."""
    assert [fresh(4, 8, n) for n in range(1, 5)] == [0.5, 0.75, 0.875, 0.9375]


@given(st.floats(1, 20), st.floats(0.1, 0.9), st.floats(0.0, 0.05), st.integers(1, 9))
def test_a_greater_capacity_is_less_fresh(c: float, part: float, err: float, times: int) -> None:
    """The spread holds every capacity within its error."""
    share = fresh_share(part * c, c, err * c, times)
    assert share.low <= share.share <= share.high
    inner = fresh(part * c, c * (1 + err / 2), times)
    assert share.low - 1e-12 <= inner <= share.high + 1e-12


@given(st.floats(0.05, 0.99), st.floats(0.05, 0.95))
def test_so_many_times_and_no_less(part: float, wanted: float) -> None:
    """The number reaches the wanted share, and one less does not."""
    times = times_for(wanted, part, 1.0)
    assert mixed(part, 1.0, times) >= wanted - 1e-9
    assert times == 1 or mixed(part, 1.0, times - 1) < wanted


def test_what_cannot_be_is_refused() -> None:
    """More than all, an error as big as the capacity, and all of it fresh: each in a sentence."""
    with pytest.raises(ValueError, match="can come out"):
        fresh(9, 8, 1)
    with pytest.raises(ValueError, match="no error"):
        fresh_share(4, 8, 8, 1)
    with pytest.raises(ValueError, match="never"):
        times_for(1.0, 4, 8)
