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


def test_all_of_it_may_come_out_and_an_exact_share_is_reached_in_time() -> None:
    """A whole exchange is all fresh; half wanted and half drained is once, 15/16 four times."""
    assert fresh(8, 8, 1) == 1.0
    assert fresh_share(7.9, 8, 0.5, 1).high == 1.0
    assert [times_for(wanted, 4, 8) for wanted in (0.5, 0.75, 0.9375)] == [1, 2, 4]
    assert times_for(0.5, 8, 8) == 1
    assert [fresh_share(4, 8, err, 1).share for err in (0.0, 7.9)] == [0.5, 0.5]
    with pytest.raises(ValueError, match="can come out"):
        fresh(0, 8, 1)
    with pytest.raises(ValueError, match="never"):
        times_for(0.0, 4, 8)
    with pytest.raises(ValueError, match="no error"):
        fresh_share(4, 8, -0.1, 1)


def test_the_ends_of_the_share_are_those_of_the_capacity() -> None:
    """By hand: 4 of 10 L is 0.4, of 8 L 0.5, of 6 L 2/3."""
    share = fresh_share(4, 8, 2, 1)
    assert (share.low, share.share, share.high) == pytest.approx((0.4, 0.5, 2 / 3))
