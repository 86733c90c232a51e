"""The board: the one state, and that no temperature is ever claimed while blind."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.outputs.views import BAND, Played, ramp, silent
from warmwatch.core.approach import Approach
from warmwatch.core.band import Band
from warmwatch.core.events import EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import MarkName, Reading
from warmwatch.outputs.screen.board import board, stalled
from warmwatch.outputs.screen.headline import Headline, headline
from warmwatch.outputs.screen.history import History
from warmwatch.words.speech import sentence
from warmwatch.words.status import status_line
from warmwatch.words.view import View

STEADY = [Reading(float(i), {"fluid_c": 85.0, "engine_rpm": 780.0}) for i in range(5)]


def forecast(q50_s: float | None, chance: float = 0.9, edge: str = "low") -> Forecast:
    to = "enter" if edge == "low" else "leave"
    return Forecast(0.0, edge, q50_s, q50_s, q50_s, chance, None, 1.0, to=to)


def with_forecast(played: Played, made: Forecast, said: EventKind | None = None) -> View:
    """Return the view with another forecast, after an announcement."""
    view, job = played.view(), played.watch.job
    approach = Approach(job)
    if said is not None:
        approach.event(said)
    snapshot = view.snapshot
    holds = approach.holds(snapshot.place, snapshot.fluid_c, made)
    return replace(view, snapshot=replace(snapshot, forecast=made, approach=holds))


def test_before_the_first_reading() -> None:
    """Without any reading the board waits and shows no figure."""
    seen = board(Played().view(), History())
    assert (seen.headline, seen.figure, seen.place) == (Headline.WAITING, "", None)


def test_the_first_readings_are_shown_as_such() -> None:
    """A reading whose place is not confirmed yet is shown, and nothing is claimed of the band."""
    played = Played().take(STEADY[:2])
    seen = board(played.view(), played.history())
    assert (seen.headline, seen.figure) == (Headline.WAITING, "85")
    assert "not yet confirmed" in seen.act


def test_in_the_band() -> None:
    """Inside, the board says so with the figure and the place in the band."""
    played = Played().take(STEADY)
    seen = board(played.view(), played.history())
    assert (seen.word, seen.figure, seen.place) == ("IN THE BAND", "85", 0.5)


def test_blind_claims_nothing() -> None:
    """When blind there is no figure, no time, no rate and no place, and the silence is told."""
    played = Played().take(STEADY).take(silent(4.0, 14))
    seen = board(played.view(link_trouble="The cable was pulled."), played.history())
    assert seen.headline is Headline.BLIND
    assert (seen.figure, seen.time, seen.soon, seen.rate, seen.place) == ("", "", "", "", None)
    assert "NO GOOD READING for 14 s: The cable was pulled." in seen.link
    assert not seen.link_ok


def test_blind_even_when_the_fold_is_held_up() -> None:
    """A view whose last reading is too old is blind, whatever its snapshot says."""
    played = Played().take(STEADY)
    view = played.view(later_s=6.5)
    assert not view.snapshot.blind
    assert board(view, played.history()).headline is Headline.BLIND
    assert board(played.view(later_s=5.5), played.history()).headline is Headline.INSIDE


def test_a_stuck_watch_is_blind() -> None:
    """When the watch itself shows nothing any more, what it showed last is not claimed."""
    played = Played().take(STEADY)
    seen = stalled(board(played.view(), played.history()), 7.0)
    assert (seen.headline, seen.figure, seen.conditions) == (Headline.BLIND, "", ())
    assert seen.link == "THE WATCH DOES NOT ANSWER for 7 s"


@pytest.mark.slow
@given(
    st.lists(st.tuples(st.floats(-60, 260), st.floats(0, 9), st.booleans()), max_size=30),
    st.floats(0, 20),
)
def test_a_figure_is_always_fresh(steps: list[tuple[float, float, bool]], later_s: float) -> None:
    """Whatever comes in, a figure is shown only of a good reading within the limit."""
    played, now_s = Played(), 0.0
    for fluid_c, pause_s, tick in steps:
        now_s += pause_s
        played.take(silent(now_s - 1.0, 1.0) if tick else [Reading(now_s, {"fluid_c": fluid_c})])
    view = played.view(later_s=later_s)
    seen = board(view, played.history())
    if seen.figure:
        last_s = view.snapshot.last_good_s
        assert last_s is not None
        assert view.now_s - last_s <= view.job.blind_limit_s + 1.0
        assert not view.snapshot.blind


@pytest.mark.slow
def test_near_only_while_it_is_true() -> None:
    """Near is shown after the event, but not once the forecast is far off again."""
    played = Played().take(ramp(60, 70, per_min=6.0))
    near = EventKind.NEARING
    assert headline(with_forecast(played, forecast(150.0), near)) is Headline.NEAR
    assert headline(with_forecast(played, forecast(150.0))) is Headline.BELOW
    assert headline(with_forecast(played, forecast(900.0), near)) is Headline.BELOW
    assert headline(with_forecast(played, forecast(None), near)) is Headline.BELOW


@pytest.mark.parametrize(
    ("quantiles", "edge", "soon", "time"),
    [
        ((240.0, 360.0, 480.0), "low", "6 min", "about 6 min to the band (4 to 8 min)"),
        ((80.0, 90.0, 99.0), "low", "90 s", "about 90 s to the band (80 to 100 s)"),
        ((240.0, 360.0, None), "high", "6 min or longer", "about 6 min or longer to the top"),
        ((1.0, 2.0, 5.0), "low", "any moment", "the band: any moment"),
    ],
)
def test_the_time_ahead(
    quantiles: tuple[float, float, float | None], edge: str, soon: str, time: str
) -> None:
    """The time ahead is said with its spread, and its middle alone for the large type."""
    to = "enter" if edge == "low" else "leave"
    made = Forecast(4.0, edge, *quantiles, 0.9, None, 1.0, to=to)
    played = Played().take(STEADY)
    seen = board(with_forecast(played, made), History())
    assert (seen.soon, seen.time) == (soon, time)


def test_no_time_is_made_up() -> None:
    """Without a forecast that can be said, no figure stands for it, and why is said."""
    played = Played().take(STEADY)
    seen = board(with_forecast(played, forecast(None, 0.2, "high")), History())
    assert seen.soon == ""
    assert seen.time == "the top of the band: not reached by heating like this"
    assert board(with_forecast(played, forecast(None, 0.9)), History()).time.endswith("not known")


def test_where_it_levels_off_is_on_the_board_and_in_the_plain_lines() -> None:
    """The level and what is missing are said wherever the time would stand."""
    played = Played().take(ramp(60.0, 62.0))
    made = Forecast(4.0, "low", None, None, None, 0.1, 77.8, 0.3)
    view = with_forecast(played, made, EventKind.LEVELLING_OFF)
    words = "levelling off near 78 °C, 2 °C below the band"
    assert board(view, History()).time == words
    assert board(with_forecast(played, made), History()).time == words
    assert status_line(view).endswith(f"; {words}")
    assert sentence(EventKind.LEVELLING_OFF, view) == (
        "Levelling off near seventy-seven, below the band."
    )


def test_levelling_off_only_while_it_is_true() -> None:
    """Levelling off is shown after the event until the forecast says that all is well again."""
    played = Played().take(ramp(60, 70, per_min=6.0))
    levels = EventKind.LEVELLING_OFF
    assert headline(with_forecast(played, forecast(None, 0.1), levels)) is Headline.LEVELLING
    assert headline(with_forecast(played, forecast(300.0, 0.9), levels)) is Headline.BELOW


def test_too_hot_comes_before_the_band() -> None:
    """At a ceiling, of the fluid or of the coolant, the board says too hot; blind comes first."""
    hot = Played().take([replace(r, values={**r.values, "coolant_c": 118.0}) for r in STEADY])
    assert board(hot.view(), hot.history()).headline is Headline.TOO_HOT
    hot.take(silent(4.0, 10))
    assert board(hot.view(), hot.history()).headline is Headline.BLIND


def test_what_forbids_the_check_is_said() -> None:
    """In the band a moving vehicle is not told that the level may be checked."""
    moving = {"fluid_c": 85.0, "engine_rpm": 1600.0, "speed_kmh": 30.0}
    played = Played().take([Reading(float(i), moving) for i in range(10)])
    seen = board(played.view(), played.history())
    assert seen.headline is Headline.INSIDE
    assert not seen.fit
    assert seen.act.startswith("Not fit for the check: ")
    assert "may be checked" not in seen.act


def test_old_values_are_left_out() -> None:
    """A condition that has not been read for 10 s is not shown as one of now."""
    played = Played().take([Reading(0.0, {"fluid_c": 85.0, "voltage_v": 13.9}), *STEADY[1:]])
    assert "13.9 V" in board(played.view(), played.history()).conditions
    later = Played().take(
        [Reading(0.0, {"fluid_c": 85.0, "voltage_v": 13.9})]
        + [Reading(float(i), {"fluid_c": 85.0}) for i in range(1, 12)]
    )
    assert board(later.view(), later.history()).conditions == ()


def test_fahrenheit() -> None:
    """In degF, figure, rate and band are in degF (85 °C = 185 °F, 1 K = 1.8 °F, exact)."""
    played = Played(Job(BAND, unit="F")).take(ramp(79, 85, per_min=6.0))
    seen = board(played.view(), played.history())
    assert (seen.figure, seen.unit, seen.band) == ("185.0", "°F", "176 to 194 °F")
    assert seen.rate == "+10.8 °F/min"


def test_figures_stand_still() -> None:
    """A sensor with whole degrees is shown without decimals, one with tenths always with one."""
    whole = Played().take([Reading(float(i), {"fluid_c": 60.0 + i}) for i in range(5)])
    assert board(whole.view(), whole.history()).figure == "64"
    tenths = Played().take([Reading(float(i), {"fluid_c": 60.5 + i / 2}) for i in range(6)])
    assert board(tenths.view(), tenths.history()).figure == "63.0"


def test_recording_trouble_is_said() -> None:
    """A recording that failed, or none at all, is said on the board."""
    assert board(Played().view(recording=""), History()).recording == "NOT RECORDED"
    seen = board(Played().view(recording_trouble="The disk is full."), History())
    assert (seen.recording, seen.recording_ok) == ("The disk is full.", False)


def test_the_demo_says_that_it_is_invented() -> None:
    """Figures of the demo's vehicle are marked as invented, those of another link are not."""
    assert "INVENTED vehicle" in board(Played(link="demo:").view(), History()).facts
    assert "INVENTED vehicle" not in board(Played(link="csv:r.csv").view(), History()).facts


def test_what_happened_is_listed() -> None:
    """Events, marks with their notes and notices are listed in their order."""
    played = Played().take(STEADY).mark(MarkName.NOTE, "left wheel high")
    played.story.take(Notice("The link is open."))
    happened = board(played.view(), played.history()).happened
    assert happened[0].startswith("00:03  In the band")
    assert happened[-2:] == ("00:04  Mark note: left wheel high", "The link is open.")


@pytest.mark.parametrize("low_c", [30.0, 80.0, 120.0])
def test_place_is_exact_at_the_edges(low_c: float) -> None:
    """Both edges belong to the band, on the board, too."""
    for fluid_c, place in ((low_c, 0.0), (low_c + 10.0, 1.0)):
        played = Played(Job(Band(low_c, low_c + 10.0), fluid_ceiling_c=200.0))
        played.take([Reading(float(i), {"fluid_c": fluid_c}) for i in range(6)])
        assert board(played.view(), played.history()).place == place


@pytest.mark.slow
def test_the_rate_is_the_forecasts() -> None:
    """On a sensor of whole degrees the rate is the one that the time ahead rests on, not zero."""
    steps = [
        Reading(float(i), {"fluid_c": float(round(76 + i * 0.4 / 60)), "engine_rpm": 780.0})
        for i in range(500)
    ]
    played = Played().take(steps)
    forecast = played.view().snapshot.forecast
    assert forecast is not None
    assert played.view().snapshot.rate_c_per_min == 0.0
    assert board(played.view(), played.history()).rate == f"{forecast.rate_c_per_min:+.1f} °C/min"
    assert forecast.rate_c_per_min > 0.2
