"""The spoken sentences: their wording, and that they never claim what has passed."""

from dataclasses import replace
from typing import Any

import pytest
from num2words import num2words

from warmwatch.core.band import Band, Place
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job
from warmwatch.core.watch import Watch
from warmwatch.outputs.sound.tones import TONES
from warmwatch.words.numbers import number_words
from warmwatch.words.speech import sentence
from warmwatch.words.view import View


def view(place: Place, fluid_c: float = 86.0, unit: str = "C", **snapshot: Any) -> View:
    """Return the state of a job with the band 80 to 90 degC."""
    job = Job(Band(80.0, 90.0), unit=unit)
    base = replace(Watch(job).snapshot(), place=place, fluid_c=fluid_c, **snapshot)
    return View(job, base, 0.0, "lines:-", "", "", "")


def ahead(edge: str, q50_s: float | None) -> Forecast:
    return Forecast(0.0, edge, q50_s, q50_s, q50_s, 0.9, None, 2.0)


def test_numbers_in_words_agree_with_an_independent_library() -> None:
    """Every whole number from -200 to 999 reads as the library num2words spells it."""
    for number in range(-200, 1000):
        assert number_words(number) == num2words(number)


def test_entered_tells_temperature_and_time_left() -> None:
    """The sentence is the one of the plan: in the band, so many degrees, about so long left."""
    state = view(Place.INSIDE, forecast=ahead("high", 7 * 60 + 59.0))
    assert (
        sentence("entered", state) == "In the band, eighty-six degrees, about eight minutes left."
    )


@pytest.mark.parametrize(
    ("q50_s", "said"),
    [
        (300.0, "About five minutes to the band."),
        (150.0, "About two and a half minutes to the band."),
        (60.0, "About sixty seconds to the band."),
        (2.0, "The band is near."),
        (None, "The band is near."),
    ],
)
def test_the_time_spoken_is_the_time_shown(q50_s: float | None, said: str) -> None:
    """Voice and screen say the same figure; without one, none is spoken."""
    assert sentence("nearing", view(Place.BELOW, forecast=ahead("low", q50_s))) == said


def test_time_left_names_only_the_forecast_of_the_right_edge() -> None:
    """A forecast for the other edge is not taken for the time left."""
    assert sentence("top-nearing", view(Place.INSIDE, forecast=ahead("high", 125.0))) == (
        "About two minutes left."
    )
    assert sentence("top-nearing", view(Place.INSIDE, forecast=ahead("low", 125.0))) == (
        "The top of the band is near."
    )


def test_degrees_are_those_of_the_job() -> None:
    """With unit F the temperature is spoken in degF (91 degC is 195.8 degF)."""
    assert sentence("left-high", view(Place.ABOVE, 91.0, "F")) == (
        "Above the band, one hundred and ninety-six degrees."
    )
    assert sentence("left-low", view(Place.BELOW, 1.0)) == "Below the band, one degree."


def test_degrees_never_contradict_the_place() -> None:
    """Outside the band a temperature is rounded away from it, inside to the nearest degree."""
    assert sentence("left-high", view(Place.ABOVE, 90.2)) == "Above the band, ninety-one degrees."
    assert sentence("left-low", view(Place.BELOW, 79.9)) == "Below the band, seventy-nine degrees."
    assert sentence("entered", view(Place.INSIDE, 80.2)) == "In the band, eighty degrees."


@pytest.mark.parametrize("kind", ["nearing", "entered", "top-nearing", "left-high", "left-low"])
@pytest.mark.parametrize("place", list(Place))
def test_nothing_is_said_of_a_place_where_the_fluid_is_not(kind: str, place: Place) -> None:
    """A sentence about a place is said only there, and never while blind."""
    homes = {
        "nearing": (Place.BELOW, Place.ABOVE),
        "left-low": (Place.BELOW,),
        "entered": (Place.INSIDE,),
        "top-nearing": (Place.INSIDE,),
        "left-high": (Place.ABOVE,),
    }[kind]
    assert (sentence(kind, view(place)) != "") == (place in homes)
    assert sentence(kind, view(place, blind=True)) == ""


def test_loss_of_signal_is_said_only_while_it_lasts() -> None:
    """`Signal lost` and its end exclude each other, and no temperature is named while blind."""
    lost, back = view(Place.UNSEEN, blind=True), view(Place.UNSEEN)
    assert (sentence("blind", lost), sentence("blind", back)) == ("Signal lost.", "")
    assert sentence("seeing", lost) == ""
    assert sentence("seeing", back) == "Signal is back, eighty-six degrees."


def test_every_event_with_a_tone_has_words_before_the_first_view() -> None:
    """Events that come before any state is known are spoken without numbers."""
    for name in set(TONES) - {"trouble"}:
        assert sentence(name, None).endswith(".")
    assert sentence("hold-start", None) == ""
