"""What is believed and what is not."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.reading import Reading
from warmwatch.core.reason import Reason
from warmwatch.core.trust import BACKWARDS, Trust, Verdict


def judge(trust: Trust, elapsed_s: float, fluid_c: float) -> Verdict:
    verdict = trust.judge(Reading(elapsed_s, {"fluid_c": fluid_c}))
    assert verdict is not None
    return verdict


def test_a_reading_without_the_fluid_says_nothing() -> None:
    """Other values alone neither prove nor refute anything about the fluid."""
    assert Trust().judge(Reading(0.0, {"engine_rpm": 800.0})) is None


def test_what_the_link_doubts_is_refused() -> None:
    """The link's own doubt decides, whatever number came with it."""
    verdict = Trust().judge(Reading(0.0, {"fluid_c": 85.0}, {"fluid_c": "error code FE"}))
    assert verdict == Verdict(None, Reason("error code FE"))


@pytest.mark.parametrize("code_c", [-40.0, 215.0, float("nan")])
def test_fault_codes_are_refused(code_c: float) -> None:
    """Raw 00 and FF of a one-byte temperature (A-40, SAE J1979) are a sensor's fault codes."""
    assert judge(Trust(), 0.0, code_c).fluid_c is None


def test_a_single_glitch_is_refused_and_the_next_reading_believed() -> None:
    """One impossible sample does not disturb what follows."""
    trust = Trust()
    judge(trust, 0.0, 60.0)
    assert judge(trust, 1.0, 130.0).reason == Reason("jump", {"to_c": 130.0})
    assert judge(trust, 2.0, 60.0) == Verdict(60.0)


def test_a_jump_that_stays_is_believed_with_continuity_lost() -> None:
    """The tool must not stay blind to a level that is real after all."""
    trust = Trust()
    judge(trust, 0.0, 20.0)
    verdicts = [judge(trust, 1.0 + at, 80.0) for at in range(5)]
    assert [v.fluid_c for v in verdicts] == [None, None, None, 80.0, 80.0]
    assert [v.fresh for v in verdicts] == [False, False, False, True, False]


@pytest.mark.parametrize("elapsed_s", [10.0, 9.0])
def test_time_that_does_not_run_forward_is_refused(elapsed_s: float) -> None:
    """A repeated or earlier time is not a new reading."""
    trust = Trust()
    judge(trust, 10.0, 60.0)
    assert judge(trust, elapsed_s, 60.0).reason == BACKWARDS


def test_the_hardest_honest_heating_is_believed() -> None:
    """A hold at stall heats slower than what is refused.

    100 N m at 2000 rpm is 20.94 kW (torque x speed, computed); into 5 kg of fluid at 2.1 kJ/kgK,
    with nothing lost, that is 2.0 K/s.
    """
    power_w = 100 * 2000 * 2 * 3.141592653589793 / 60
    rate_c_per_s = power_w / (5.0 * 2100)
    trust = Trust()
    for second in range(30):
        assert judge(trust, float(second), 60.0 + rate_c_per_s * second).fluid_c is not None


@given(st.lists(st.floats(allow_nan=True, allow_infinity=True), max_size=100))
def test_only_plausible_numbers_are_ever_believed(values: list[float]) -> None:
    """Whatever comes in, what is believed lies in the plausible range."""
    trust = Trust()
    for at, value in enumerate(values):
        fluid_c = judge(trust, float(at), value).fluid_c
        assert fluid_c is None or -39.0 <= fluid_c <= 180.0
