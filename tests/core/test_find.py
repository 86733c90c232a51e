"""Which byte behaves like the fluid's temperature: known curves, and things that only look like it.

The curves are first-order heating, T(t) = Tinf - (Tinf - T0) exp(-t/tau), the textbook solution
that shared/first_order_cases.csv tabulates; the values here are computed from it.
"""

import csv
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from warmwatch.analysis.finding.candidate import Candidate, Sample, Surroundings
from warmwatch.analysis.finding.pairing import why_not_clear
from warmwatch.analysis.finding.rank import rank
from warmwatch.analysis.finding.scales import SCALES, Scale

MINUTES = 12
STEP_S = 6.0
TIMES = [STEP_S * n for n in range(int(MINUTES * 60 / STEP_S))]
FIRST_ORDER = Path(__file__).parents[2] / "shared" / "first_order_cases.csv"


def heated(at_s: float, start_c: float, end_c: float, tau_s: float) -> float:
    return end_c - (end_c - start_c) * math.exp(-at_s / tau_s)


def fluid_c(at_s: float) -> float:
    return heated(at_s, 18.0, 95.0, 700.0)


def coolant_c(at_s: float) -> float:
    """Rises fast, then the thermostat holds it."""
    return min(88.0, heated(at_s, 18.0, 110.0, 260.0))


COOLANT = tuple((at_s, float(round(coolant_c(at_s)))) for at_s in TIMES)
AROUND = Surroundings(COOLANT, (17.0,))


def written(scale: Scale, celsius: float) -> bytes:
    """The bytes that a unit with this scale would send."""
    value = celsius * 1.8 + 32.0 if scale.unit == "F" else celsius
    number = round((value - scale.offset) / scale.factor)
    return number.to_bytes(scale.length, "big", signed=scale.signed)


def samples(of: object) -> list[Sample]:
    return [Sample(at_s, of(at_s)) for at_s in TIMES]  # type: ignore[operator]


DECOYS = {
    0x2001: samples(lambda t: bytes([round(coolant_c(t)) + 40])),
    0x2002: samples(lambda t: bytes([round(coolant_c(t)) + 50])),  # the same at another offset
    0x2003: samples(lambda t: round(t).to_bytes(2, "big")),  # a clock
    0x2004: samples(lambda t: bytes([round(t / 9) % 256])),  # a slow counter
    0x2005: samples(lambda t: bytes([60 + round(t * 7.3) % 11])),  # noise
    0x2006: samples(lambda t: b"\x3c"),  # never moves
    0x2007: samples(lambda t: (780 + round(t * 13) % 29).to_bytes(2, "big")),  # engine speed
    0x2008: samples(lambda t: bytes([140 - round(t / 20)])),  # falls
    0x2009: samples(lambda t: round(13800 - t).to_bytes(2, "big")),  # a voltage
}


def best_of(found: list[Candidate]) -> tuple[int, int]:
    return found[0].identifier, found[0].first_byte


def representable(scale: Scale) -> bool:
    try:
        return all(len(written(scale, fluid_c(at_s))) == scale.length for at_s in TIMES)
    except OverflowError:
        return False


@pytest.mark.parametrize("scale", [s for s in SCALES if representable(s)], ids=str)
def test_the_fluid_is_found_among_other_things_at_every_scale(scale: Scale) -> None:
    """Whatever scale a unit uses, the right place ranks first, before coolant, clock and noise."""
    fluid = samples(lambda at_s: b"\x55" + written(scale, fluid_c(at_s)))
    found = rank({**DECOYS, 0x1E1C: fluid}, AROUND)
    # a 16-bit number of whole degrees is told as well by its low byte alone
    assert best_of(found) in {(0x1E1C, 1), (0x1E1C, 2 if scale.factor == 1.0 else 1)}
    rivals = [found[0].end_c, *_rival_ends(found[0])]
    assert any(abs(end - fluid_c(TIMES[-2])) < 1.5 for end in rivals)


def _rival_ends(candidate: Candidate) -> list[float]:
    """The end temperatures of the other scales named in the doubts."""
    return [
        float(words.split(" to ")[1].split(" °C")[0])
        for words in candidate.evidence
        if words.startswith("DOUBT")
    ]


def test_a_rival_scale_is_told_as_a_doubt() -> None:
    """Bytes that fit at A-40 degC fit as degF nearly as well: that is said, not hidden."""
    fluid = samples(lambda at_s: bytes([round(fluid_c(at_s)) + 40]))
    best = rank({0x1E1C: fluid}, AROUND)[0]
    assert str(best.scale) == "unsigned 8-bit x 1 -40 °C"
    assert any(words.startswith("DOUBT: the same bytes fit as") for words in best.evidence)


def test_the_coolant_is_not_taken_for_the_fluid() -> None:
    """The coolant itself, at any offset, scores low, and the evidence says why."""
    found = rank({key: DECOYS[key] for key in (0x2001, 0x2002)}, AROUND)
    assert all(candidate.score < 0.3 for candidate in found)
    assert any("coolant" in words for candidate in found for words in candidate.evidence)


def test_nothing_that_is_no_temperature_scores_high() -> None:
    """Clock, counter, noise, a falling value: none reaches the score that offers a file."""
    others = {key: DECOYS[key] for key in DECOYS if key > 0x2002}
    assert all(candidate.score < 0.4 for candidate in rank(others, AROUND))


@pytest.mark.parametrize(
    "broken",
    [
        [],
        samples(lambda at_s: b"")[:3],
        [Sample(0.0, b"\x3c"), Sample(6.0, b"\x3c\x3d")] * 10,  # its length changes
        [Sample(6.0 * n, bytes([60 + 40 * (n % 2)])) for n in range(20)],  # jumps
    ],
)
def test_what_cannot_be_judged_is_left_out(broken: list[Sample]) -> None:
    """Too few samples, records of changing length, and jumps no fluid can make: no candidate."""
    assert rank({0x1000: broken}, AROUND) == []


def test_without_any_reference_the_score_stays_modest() -> None:
    """Nothing known of air or coolant: the fluid is named, with what is missing."""
    fluid = samples(lambda at_s: bytes([round(fluid_c(at_s)) + 40]))
    best = rank({0x1E1C: fluid}, Surroundings())[0]
    assert best.score < 0.6
    assert "nothing to compare with" in " ".join(best.evidence)


@pytest.mark.parametrize(
    ("from_s", "around", "words"),
    [
        (300.0, Surroundings(tuple(p for p in COOLANT if p[0] >= 300.0)), "no cold start"),
        (300.0, Surroundings((), (17.0, 40.0)), "no cold start"),
        (60.0, AROUND, "before this was first read"),
    ],
    ids=["warm coolant", "air and intake differ", "begun while warming up"],
)
def test_without_a_cold_start_no_scale_is_clear(
    from_s: float, around: Surroundings, words: str
) -> None:
    """The start of a warm vehicle fits a wrong scale by chance: doubted, and too low for a file."""
    fluid = [Sample(s, written(Scale(2, True, 0.1, 0.0), fluid_c(s))) for s in TIMES if s >= from_s]
    found = rank({0x1E1C: fluid}, around)
    assert found
    assert all(candidate.score < 0.4 for candidate in found)
    assert any(e.startswith("DOUBT") and words in e for e in found[0].evidence)


def test_the_curves_are_those_of_the_reference() -> None:
    """The formula used here reproduces the tabulated fractions after n time constants."""
    with FIRST_ORDER.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["variant"].startswith("n=")]
    assert len(rows) >= 4
    for row in rows:
        fraction = heated(float(row["variant"][2:]), 0.0, 1.0, 1.0)
        assert fraction == pytest.approx(float(row["published_or_exact"]), abs=1e-9)


@settings(max_examples=40)
@given(st.lists(st.binary(min_size=1, max_size=4), min_size=0, max_size=30))
def test_any_records_are_ranked_without_an_error(records: list[bytes]) -> None:
    """Whatever bytes come, ranking ends, and scores lie between 0 and 1."""
    found = rank({1: [Sample(5.0 * n, r) for n, r in enumerate(records)]}, AROUND)
    assert all(0.0 <= candidate.score <= 1.0 for candidate in found)


TENTHS = Scale(2, True, 0.1, 0.0)
LONELY = {
    0x3001: samples(lambda t: bytes([round(coolant_c(t)) + 40])),
    0x3002: samples(lambda t: written(TENTHS, fluid_c(t))),
}


def test_without_a_coolant_curve_what_leads_is_marked_down() -> None:
    """Coolant passed on by the gearbox rises sooner than the fluid: that is evidence against it."""
    around = Surroundings((), (18.0,))
    found = rank(LONELY, around)
    assert best_of(found) == (0x3002, 0)
    coolant = next(one for one in found if one.identifier == 0x3001)
    assert "rises sooner than 22 3002 byte 0" in coolant.evidence[-1]
    assert why_not_clear(found, around) == ""


def test_nothing_is_clear_without_a_known_start() -> None:
    """With neither air nor coolant any scale may fit, so that no file may be offered."""
    assert "--air" in why_not_clear(rank(LONELY, Surroundings()), Surroundings())


def test_nothing_is_clear_where_two_places_differ_or_little_was_seen() -> None:
    """Two good fits that show different temperatures, a rise of 9 K, and a low score."""
    around = Surroundings((), (18.0,))
    one = Candidate(0x10, 0, TENTHS, 2, 0.8, 18.0, 60.0, ())
    assert why_not_clear([one, replace(one, identifier=0x11, end_c=61.0)], around) == ""
    assert "differ" in why_not_clear([one, replace(one, identifier=0x11, end_c=70.0)], around)
    assert "only 9 K" in why_not_clear([replace(one, end_c=27.0)], around)
    assert "longer" in why_not_clear([replace(one, score=0.3)], around)


def test_a_run_time_that_stood_before_the_start_is_a_counter() -> None:
    """It stands at 0 until the engine runs, and counts evenly from then on."""
    run_time = {0x3003: samples(lambda t: max(0, round((t - 60.0) / 10)).to_bytes(1, "big"))}
    found = rank(run_time, Surroundings((), (0.0,)))
    assert any("as evenly as a counter" in words for words in found[0].evidence)
