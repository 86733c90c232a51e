"""Groups, spans, differences and their adjustment, on runs whose truth is known."""

import random
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import scipy  # loads its parts when they are used

from tests.compare.made import BAND, Warm, run_of, warm_items
from warmwatch.analysis.methods.comparison import BOTH, PHASE, Comparison, Difference, compare
from warmwatch.analysis.methods.figures import NO_LABEL, Run, Span, label, rate_name
from warmwatch.analysis.methods.span import choose_span
from warmwatch.core.band import Band
from warmwatch.core.reason import Reason
from warmwatch.words.compare.notes import missing_text

SPAN = Span(BAND, 50, 78, (60, 70))


def told(why: Reason) -> str:
    """Return a reason in words."""
    return missing_text(why, "C")


def runs_of(
    method: str,
    rates: Sequence[float],
    *,
    starts: Sequence[float] = (),
    ambients: Sequence[float] = (),
    seconds: float = 2400,
    vehicle: str = "invented",
) -> list[Run]:
    runs = []
    for number, rate in enumerate(rates):
        start_c = starts[number] if starts else 40.0 + 0.3 * number
        ambient_c = ambients[number] if ambients else 20.0
        warm = Warm(rate, 0.02, start_c, ambient_c)
        items = warm_items(warm, seconds, every_s=2.0)
        runs.append(run_of(items, method, name=f"{method} {number} {vehicle}", vehicle=vehicle))
    return runs


IDLE = runs_of("idle", [1.9, 2.0, 2.05, 1.95])
DRIVE = runs_of("drive", [2.9, 3.1, 3.0])


def difference_in(comparison: Comparison, figure: str, a: str, b: str) -> Difference:
    (found,) = [d for d in comparison.differences if (d.figure, d.a, d.b) == (figure, a, b)]
    return found


def test_figures_are_those_of_the_lumped_mass() -> None:
    """Times and rates of each run equal the closed-form answers of the mass that made it."""
    comparison = compare(DRIVE, SPAN)
    for number, rate in enumerate([2.9, 3.1, 3.0]):
        warm = Warm(rate, 0.02, 40.0 + 0.3 * number)
        (piece,) = [p for p in comparison.pieces if p.run.startswith(f"drive {number}")]
        seconds = warm.time_to(80.0) - warm.time_to(50.0)
        assert piece.figures["time_to_band_min"] == pytest.approx(seconds / 60.0, abs=0.02)
        span_min = (warm.time_to(78.0) - warm.time_to(50.0)) / 60.0
        assert piece.figures["span_min"] == pytest.approx(span_min, abs=0.02)
        assert piece.figures["rate_span_c_per_min"] == pytest.approx(28.0 / span_min, rel=0.005)
        assert piece.figures[rate_name(70)] == pytest.approx(warm.rate_at(70.0), rel=0.01)


def test_unadjusted_differences_equal_scipy() -> None:
    """The plain difference and its interval are Welch's, as scipy has them, from the same runs."""
    comparison = compare([*IDLE, *DRIVE], SPAN)
    found = difference_in(comparison, "time_to_band_min", "drive", "idle")
    times = {
        name: [p.figures["time_to_band_min"] for p in comparison.pieces if p.group == name]
        for name in ("drive", "idle")
    }
    judge = scipy.stats.ttest_ind(times["drive"], times["idle"], equal_var=False)
    low, high = judge.confidence_interval()
    assert found.plain is not None
    assert (found.plain.low, found.plain.high) == pytest.approx((low, high), rel=1e-8)
    assert (found.n_a, found.n_b) == (3, 4)
    assert found.plain.tells
    assert not found.too_few


def test_adjusted_differences_equal_a_regression_with_dummies() -> None:
    """The adjusted difference is that of numpy's regression on group, start, ambient, vehicle."""
    chance = random.Random(2)
    runs: list[Run] = []
    for vehicle in ("one", "two", "three"):
        for method, rate in (("drive", 3.0), ("idle", 2.0)):
            ambients = [chance.uniform(5.0, 30.0) for _ in range(3)]
            starts = [chance.uniform(30.0, 48.0) for _ in range(3)]
            rates = [rate + chance.gauss(0.0, 0.1) for _ in range(3)]
            runs += runs_of(method, rates, starts=starts, ambients=ambients, vehicle=vehicle)
    comparison = compare(runs, SPAN)
    found = difference_in(comparison, "span_min", "drive", "idle").adjusted
    assert found is not None
    pieces = [p for p in comparison.pieces if "span_min" in p.figures]
    rows = np.array(
        [
            [
                p.group == "drive",
                p.start_c,
                p.ambient_c,
                *(p.vehicle == v for v in ("one", "two", "three")),
            ]
            for p in pieces
        ],
        dtype=float,
    )
    y = np.array([p.figures["span_min"] for p in pieces])
    solution, residual, *_ = np.linalg.lstsq(rows, y)
    df = len(y) - 6
    half = scipy.stats.t.ppf(0.975, df) * np.sqrt(
        residual[0] / df * np.linalg.inv(rows.T @ rows)[0, 0]
    )
    assert found.interval.estimate == pytest.approx(solution[0], rel=1e-7)
    assert found.interval.high - found.interval.estimate == pytest.approx(half, rel=1e-6)
    assert (found.n, found.vehicles) == (len(pieces), 3)
    assert found.covariates == ("start_c", "ambient_c")


def test_a_cold_day_is_not_taken_for_a_slow_method() -> None:
    """Two labels for the same way, one recorded on colder days: the adjusted difference finds none.

    The unadjusted one claims minutes. Both are shown.
    """
    ambients = [2.0, 6.0, 10.0, 14.0, 18.0]
    warm_days = [ambient + 10.0 for ambient in ambients]
    cold = runs_of("cold", [2.6, 2.62, 2.58, 2.61, 2.59], ambients=ambients)
    warm = runs_of("warm", [2.59, 2.6, 2.61, 2.58, 2.62], ambients=warm_days)
    found = difference_in(compare([*cold, *warm], SPAN), "time_to_band_min", "cold", "warm")
    assert found.plain is not None
    assert found.adjusted is not None
    assert found.plain.estimate > 1.0
    assert abs(found.adjusted.interval.estimate) < 0.3
    assert not found.adjusted.interval.tells


def test_groups_that_never_met_are_told_to_be_carried() -> None:
    """Where one method was only seen cold and the other only warm, the line alone joins them."""
    cold = runs_of("cold", [2.6, 2.5, 2.4, 2.7], ambients=[1.0, 2.0, 3.0, 4.0])
    warm = runs_of("warm", [2.6, 2.5, 2.4, 2.7], ambients=[20.0, 21.0, 22.0, 23.0])
    found = difference_in(compare([*cold, *warm], SPAN), "span_min", "cold", "warm")
    assert found.adjusted is not None
    assert found.adjusted.carried == ("ambient_c",)


@pytest.mark.slow
def test_coverage_of_adjusted_intervals() -> None:
    """Of 95 % intervals adjusted for start and ambient about 95 in 100 hold the true difference.

    Figures drawn with a known truth: 5 and 4 runs, linear effects, normal scatter; the bounds leave
    four standard errors of 500 groups.
    """
    short = warm_items(Warm(), 60, every_s=2.0)
    base = run_of(short)
    chance = random.Random(8)
    hits = 0
    for _ in range(500):
        runs = [
            replace(
                base,
                name=f"{method} {number}",
                digest=f"{method} {number}",
                method=method,
                features=replace(
                    base.features,
                    start_c=(start := chance.uniform(10.0, 40.0)),
                    ambient_c=(ambient := chance.uniform(0.0, 30.0)),
                    coolant_peak_c=90.0
                    + (4.0 if method == "a" else 0.0)
                    + 0.1 * start
                    - 0.2 * ambient
                    + chance.gauss(0.0, 1.5),
                ),
            )
            for method, n in (("a", 5), ("b", 4))
            for number in range(n)
        ]
        found = difference_in(compare(runs, SPAN), "coolant_peak_c", "a", "b").adjusted
        assert found is not None
        hits += found.interval.low <= 4.0 <= found.interval.high
    assert 0.911 <= hits / 500 <= 0.989


@pytest.mark.parametrize(("n", "too_few"), [(1, True), (2, True), (3, False)])
def test_two_runs_are_too_few(n: int, too_few: bool) -> None:
    """With two runs of a method or fewer nothing may be claimed."""
    found = difference_in(compare([*IDLE, *DRIVE[:n]], SPAN), "span_min", "drive", "idle")
    assert found.too_few is too_few


def test_runs_that_end_before_the_band_are_not_averaged_away() -> None:
    """If a run ended below the band no mean time is claimed: the slow ones would be missing."""
    short = runs_of("idle", [1.9, 1.2, 2.0, 2.05])
    comparison = compare([*short, *DRIVE], SPAN)
    (idle,) = [group for group in comparison.groups if group.name == "idle"]
    assert idle.not_reached == 1
    found = difference_in(comparison, "time_to_band_min", "drive", "idle")
    assert found.censored == 1
    assert found.plain is None
    assert found.best is None


def test_what_a_run_does_not_cover_is_missing_with_its_reason() -> None:
    """A run that starts above the common start or ends below its end says so, figure by figure."""
    late = runs_of("late", [2.5], starts=[55.0])
    early = runs_of("early", [2.5], seconds=600)
    pieces = {p.group: p for p in compare([*late, *early], SPAN).pieces}
    assert told(pieces["late"].missing["span_min"]) == "begins at 55.1 °C, above 50 °C"
    assert pieces["late"].figures[rate_name(70)] > 0
    assert told(pieces["early"].missing["span_min"]) == "does not reach 78 °C"
    assert "did not reach the band in 10 min" in missing_text(
        pieces["early"].missing["time_to_band_min"], "C"
    )


def test_a_gap_in_the_span_counts_only_where_its_length_is_known() -> None:
    """Across a gap that the wall clock confirms a duration is used and told; else it is not."""
    whole = list(warm_items(Warm(2.5), 1800))
    holed = [item for item in whole if not 500.2 < item.elapsed_s < 530.5]
    (known,) = compare([run_of(holed)], SPAN).pieces
    assert "span_min" in known.figures
    assert tuple(told(note) for note in known.notes) == (
        "a gap of 31 s in the span; its length is known",
    )
    blind = [replace(item, utc_s=None) for item in holed]
    (unknown,) = compare([run_of(blind)], SPAN).pieces
    assert told(unknown.missing["span_min"]).startswith("a gap of unknown length in the span")


def test_the_order_of_the_recordings_changes_nothing() -> None:
    """Shuffled runs give the same comparison to the last digit."""
    runs = [*IDLE, *DRIVE]
    shuffled = random.Random(1).sample(runs, len(runs))
    assert compare(runs, SPAN) == compare(shuffled, SPAN)
    assert choose_span(runs, BAND) == choose_span(shuffled, BAND)


def test_nothing_is_ranked() -> None:
    """Groups stand in the order of their names, whatever their speed."""
    runs = [*runs_of("zeta", [4.0] * 3), *IDLE, *runs_of("alpha", [1.9] * 3)]
    assert [group.name for group in compare(runs, SPAN).groups] == ["alpha", "idle", "zeta"]


@pytest.mark.parametrize(
    ("written", "grouped"),
    [("Drive ", "drive"), ("  fast   idle", "fast idle"), ("", NO_LABEL), (" ", NO_LABEL)],
)
def test_spaces_and_capitals_make_no_new_method(written: str, grouped: str) -> None:
    """A label is the same label however it was typed; a missing one has a group of its own."""
    assert label(replace(IDLE[0], method=written)) == grouped


def test_many_groups_are_compared_with_the_largest_alone() -> None:
    """Beyond six groups there are as many differences as other groups, not all pairs."""
    runs = [*IDLE, *(run for name in "abcdefg" for run in runs_of(name, [2.4, 2.5, 2.6]))]
    found = [d for d in compare(runs, SPAN).differences if d.figure == "span_min"]
    assert [(d.a, d.b) for d in found] == [(name, "idle") for name in "abcdefg"]


def test_against_names_the_reference() -> None:
    """All others are compared with the method that was asked for."""
    runs = [*IDLE, *DRIVE, *runs_of("hill", [4.0, 4.1, 4.2])]
    found = [d for d in compare(runs, SPAN, against="drive").differences if d.figure == "span_min"]
    assert [(d.a, d.b) for d in found] == [("hill", "drive"), ("idle", "drive")]


def test_phases_are_groups_of_their_own() -> None:
    """By phase a run counts where its stages are; by both, each method's phases stand apart."""
    runs = [
        run_of(warm_items(Warm(2.5), 1500, phase="driving"), "visit", name="v"),
        run_of(warm_items(Warm(1.9), 1500), "visit", name="w"),
    ]
    assert [group.name for group in compare(runs, SPAN, by=PHASE).groups] == ["driving", "idle"]
    both = compare(runs, SPAN, by=BOTH)
    assert [group.name for group in both.groups] == ["visit: driving", "visit: idle"]
    (driving,) = [p for p in both.pieces if p.group == "visit: driving"]
    assert driving.figures[rate_name(60)] == pytest.approx(Warm(2.5).rate_at(60.0), rel=0.01)


def test_the_span_lets_every_method_take_part() -> None:
    """One method recorded from a warmer start does not fall out: the span begins where it does."""
    hot = runs_of("hot", [2.5, 2.6], starts=[60.5, 60.8])
    found = choose_span([*IDLE, *hot], BAND)
    assert (found.from_c, found.to_c) == (61, 80)
    alone = choose_span(IDLE, BAND)
    assert (alone.from_c, alone.to_c) == (41, 80)


def test_the_span_is_never_above_the_band_and_keeps_what_is_given() -> None:
    """The common end is the band's lower edge at most; given ends stay as given."""
    assert choose_span(DRIVE, Band(60.0, 70.0)).to_c == 60
    given = choose_span(DRIVE, BAND, from_c=45, to_c=47, at_c=(50,))
    assert given == Span(BAND, 45, 47, (50,))
    assert choose_span(DRIVE, BAND, from_c=55).from_c == 55


def test_without_a_common_span_the_rest_is_still_compared() -> None:
    """Recordings that share no 5 degC have no span figures, and nothing fails."""
    low = runs_of("low", [2.5], seconds=120)
    high = runs_of("high", [2.5], starts=[88.0])
    span = choose_span([*low, *high], BAND)
    comparison = compare([*low, *high], span)
    assert {p.group for p in comparison.pieces} == {"low", "high"}


def test_the_window_after_is_compared() -> None:
    """A faster warm-up stays shorter in the band: the closed-form lengths come out."""
    fast, slow = Warm(4.0), Warm(2.2)
    runs = [run_of(warm_items(fast, 2400), "fast"), run_of(warm_items(slow, 3600), "slow")]
    pieces = {p.group: p for p in compare(runs, SPAN).pieces}
    for warm, name in ((fast, "fast"), (slow, "slow")):
        minutes = (warm.time_to(90.0) - warm.time_to(80.0)) / 60.0
        assert pieces[name].figures["window_min"] == pytest.approx(minutes, abs=0.1)
    peak_c = fast.at(2400)
    assert pieces["fast"].figures["overshoot_c"] == pytest.approx(peak_c - 90.0, abs=0.2)


def test_reasons_name_what_happened_around_the_band() -> None:
    """Begun inside it, entered in a gap, passed a level in a gap: each has its own words."""
    hot = run_of(warm_items(Warm(2.5, start_c=84.0), 600), "hot")
    whole = list(warm_items(Warm(2.5), 1800))
    at_s = Warm(2.5).time_to(80.0)
    holed = [item for item in whole if not at_s - 20.0 < item.elapsed_s < at_s + 20.0]
    unseen = run_of([replace(item, utc_s=None) for item in holed], "unseen")
    pieces = {p.group: p for p in compare([hot, unseen], Span(BAND, 85, 86, (83,))).pieces}
    assert told(pieces["hot"].missing["time_to_band_min"]) == "begins in the band or above it"
    early = compare([unseen], Span(BAND, 50, 70, (80,))).pieces[0]
    assert told(early.missing["time_to_band_min"]) == "entered the band unseen, in a gap"
    assert told(early.missing[rate_name(80)]) == "a gap of unknown length there"
    crossed = compare([unseen], Span(BAND, 50, 80, (70,))).pieces[0]
    assert told(crossed.missing["span_min"]) == "passed 80 °C unseen, in a gap"


def test_a_phase_too_short_for_the_model_says_so() -> None:
    """A minute of driving gives no rate by the model, and the reason."""
    short = run_of(warm_items(Warm(2.5), 100, phase="driving"))
    (piece,) = compare([short], SPAN, by=PHASE).pieces
    assert told(piece.missing["rate_model_c_per_min"]) == "too short for the model"
    assert told(piece.missing[rate_name(60)]) == "does not reach 57 °C"
