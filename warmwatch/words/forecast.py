"""A forecast in words for people: rounded to what its spread supports, and steady on a screen."""

from dataclasses import dataclass, field, replace
from math import inf

from warmwatch.core.forecast.forecaster import Forecast, Outlook
from warmwatch.core.units import from_c
from warmwatch.words.catalogue import phrase
from warmwatch.words.events import level_figures

_GRIDS_S = (10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0)
_FINE_ENOUGH = 0.8  # of a figure: the spread that `grid_s` rounds it to a third for
_SECONDS_BELOW_S = 100.0
_HOLD_SHARE = 0.35  # of half the spread: a smaller move of the forecast is not shown
_HOLD_LEFT = 0.12  # of the time left: nor is one under that, but never is a larger one held back
_HOLD_LEAST_S = 5.0
_FOLLOW = 0.25  # a larger move is followed by this share at each new forecast
_LEAP = 2.5  # of half the spread: so far off, the old figure is simply wrong
_LEAP_LEFT, _LEAP_LEAST_S = 0.4, 15.0  # and so it is when it misses this share of the time left
_WORDS_S, _WORDS_LEFT, _WORDS_LEAST_S = 20.0, 0.08, 3.0
"""Words stay as they are for so long, or that share of the time left, but never shorter."""
_UNKNOWN_CHANCE = 0.4  # from here nothing can be said either way
_HARDLY_CHANCE = 0.25  # up to here the edge is said not to be reached
_COOLING_C_PER_MIN = -0.2


@dataclass(frozen=True, slots=True)
class Shown:
    """What a screen shows: the times (s, on the clock of `elapsed_s`) when the edge is reached.

    `words` say it since `since_s`; they stay a while, so as not to flicker between two roundings.
    """

    edge: str
    early_s: float
    middle_s: float
    late_s: float | None
    words: str = field(default="", compare=False)
    since_s: float = field(default=-inf, compare=False)


def steady(previous: Shown | None, forecast: Forecast) -> Shown | None:
    """Return what to show after `forecast` when `previous` was shown before; None for no time.

    Small moves are held back, larger ones followed in steps, and a leap (the load changed) is taken
    at once, so that the figure counts down evenly while nothing happens.
    """
    if forecast.q10_s is None or forecast.q50_s is None:
        return None
    early, middle = forecast.elapsed_s + forecast.q10_s, forecast.elapsed_s + forecast.q50_s
    late = None if forecast.q90_s is None else forecast.elapsed_s + forecast.q90_s
    fresh = Shown(forecast.edge, early, middle, late)
    now_s = forecast.elapsed_s
    half = max(((late if late is not None else 2 * middle - early) - early) / 2.0, 5.0)
    leap_s = min(_LEAP * half, max(_LEAP_LEFT * (middle - now_s), _LEAP_LEAST_S))
    if (
        previous is None
        or previous.edge != forecast.edge
        or abs(middle - previous.middle_s) > leap_s
        or previous.middle_s <= now_s
    ):
        return replace(fresh, words=_words(fresh, now_s), since_s=now_s)
    shown = _led_on(previous, fresh, half, now_s)
    words = _words(shown, now_s)
    stay_s = max(min(_WORDS_S, _WORDS_LEFT * (shown.middle_s - now_s)), _WORDS_LEAST_S)
    if words == previous.words or now_s - previous.since_s < stay_s:
        return replace(shown, words=previous.words or words, since_s=previous.since_s)
    return replace(shown, words=words, since_s=now_s)


def _led_on(previous: Shown, fresh: Shown, half_s: float, now_s: float) -> Shown:
    mid = _followed(previous.middle_s, fresh.middle_s, half_s, now_s)
    low = min(_followed(previous.early_s, fresh.early_s, half_s, now_s), mid)
    if previous.late_s is None or fresh.late_s is None:
        return Shown(fresh.edge, low, mid, fresh.late_s)
    late = max(_followed(previous.late_s, fresh.late_s, half_s, now_s), mid)
    return Shown(fresh.edge, low, mid, late)


def _followed(shown_s: float, fresh_s: float, half_s: float, now_s: float) -> float:
    """Return the time to show: the old one while the new one is near it, else a part of the way."""
    hold_s = min(_HOLD_SHARE * half_s, max(_HOLD_LEFT * (fresh_s - now_s), _HOLD_LEAST_S))
    move_s = fresh_s - shown_s
    return shown_s if abs(move_s) <= hold_s else shown_s + _FOLLOW * move_s


def grid_s(spread_s: float) -> float:
    """Return the rounding step for a forecast whose q10 to q90 is `spread_s`: about a third."""
    fitting = [g for g in _GRIDS_S if g <= spread_s / 2.5]
    return fitting[-1] if fitting else _GRIDS_S[0]


def forecast_text(forecast: Forecast, shown: Shown | None = None) -> str:
    """Return `about 6 min, 4 to 9`, or why no time can be said.

    `shown` is what `steady` returned, for a figure that does not jump about; without it the
    forecast itself is worded.
    """
    times = shown if shown is not None else steady(None, forecast)
    if forecast.q50_s is None or times is None:
        return _refusal(forecast)
    text = times.words or _words(times, forecast.elapsed_s)
    return phrase("forecast.perhaps", text=text) if is_doubtful(forecast) else text


def is_doubtful(forecast: Forecast) -> bool:
    """Whether the edge is rather not reached, so that a time is no promise."""
    return forecast.chance < _UNKNOWN_CHANCE


def outlook_text(outlook: Outlook) -> str:
    """Return `idling 14 min`, `engine off: not`."""
    way = phrase(f"ahead.way-{outlook.way}")
    if outlook.q10_s is None or outlook.q50_s is None or outlook.q90_s is None:
        return phrase("ahead.outlook-not", way=way)
    text = time_text(outlook.q10_s, outlook.q50_s, outlook.q90_s)
    head = bare_time(text.partition(", ")[0])
    code = "outlook" if outlook.chance >= _UNKNOWN_CHANCE else "outlook-perhaps"
    return phrase(f"ahead.{code}", way=way, time=head)


def _words(times: Shown, now_s: float) -> str:
    early, middle = max(times.early_s - now_s, 0.0), max(times.middle_s - now_s, 0.0)
    if times.late_s is None:
        return phrase("forecast.or-longer", text=_about(_amount(middle, grid_s(middle))))
    return time_text(early, middle, max(times.late_s - now_s, 0.0))


def _refusal(forecast: Forecast) -> str:
    """Return why no time is said; empty where that is not known."""
    if forecast.chance >= _UNKNOWN_CHANCE:
        return ""
    if forecast.falling:
        return phrase("forecast.not-cooled-to")
    if forecast.rate_c_per_min <= _COOLING_C_PER_MIN:
        return phrase("forecast.not-while-cooling")
    perhaps = "" if forecast.chance <= _HARDLY_CHANCE else "perhaps-"
    return phrase(f"forecast.{perhaps}not-this-way")


def time_text(early_s: float, middle_s: float, late_s: float) -> str:
    """Return `about 6 min, 4 to 9` for a q10, q50 and q90."""
    if middle_s < 7.5 and late_s < 30.0:
        return phrase("forecast.any-moment")
    grid = grid_s(max(late_s - early_s, 0.12 * middle_s))
    if late_s < _SECONDS_BELOW_S:
        low, mid, high = (_round(t, grid) for t in (early_s, middle_s, late_s))
        text = _about(f"{mid:.0f} s")
        return text if low == high else _spread(text, f"{low:.0f}", f"{high:.0f}")
    grid = max(grid, 30.0 if late_s < 300.0 else 60.0)
    low = _round(early_s, min(grid, max(grid_s(1.25 * early_s), 30.0))) / 60.0
    # A wide spread makes the figures coarse, but never so coarse that the middle is another one.
    mid_grid = min(grid, max(grid_s(_FINE_ENOUGH * middle_s), 30.0))
    mid = max(_round(middle_s, mid_grid) / 60.0, low, 0.5)
    high = max(_round(late_s, grid) / 60.0, mid)
    if low == high:
        return _about(f"{mid:g} min")
    return _spread(_about(f"{mid:g} min"), f"{low:g}", f"{high:g}")


def _about(amount: str) -> str:
    return phrase("forecast.about", amount=amount)


def _spread(text: str, low: str, high: str) -> str:
    return phrase("forecast.spread", text=text, low=low, high=high)


def bare_time(text: str) -> str:
    """Return a time without the word for about; as it is where it has none."""
    return text.removeprefix(_about(""))


def _round(time_s: float, grid: float) -> float:
    return max(round(time_s / grid) * grid, grid if time_s >= grid / 2 else 0.0)


def _amount(time_s: float, grid: float) -> str:
    if time_s < _SECONDS_BELOW_S:
        return f"{_round(time_s, min(grid, 10.0)):.0f} s"
    return f"{_round(time_s, max(grid, 30.0)) / 60.0:g} min"


def levelling_text(forecast: Forecast, target_c: float, unit: str = "C") -> str:
    """Return `levelling off near 78 °C, 2 °C below the band`; empty when that cannot be said.

    `target_c` is the edge the forecast is for; `unit` is "C" or "F".
    """
    level_c = forecast.level_c
    if level_c is None or forecast.chance > _HARDLY_CHANCE:
        return ""
    if forecast.falling:
        if level_c <= target_c:
            return ""
        code = "level-above-band" if forecast.to == "enter" else "level-above-bottom"
        above = from_c(level_c, unit) - from_c(target_c, unit)
        level, short = f"{from_c(level_c, unit):.0f} °{unit}", f"{max(round(above), 1)} °{unit}"
        return phrase(f"forecast.{code}", level=level, short=short)
    if level_c >= target_c:
        return ""
    code = "level-below-band" if forecast.edge == "low" else "level-below-top"
    return phrase(f"forecast.{code}", **level_figures(level_c, target_c, unit))
