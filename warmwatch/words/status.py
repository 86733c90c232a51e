"""The state in words: where the fluid is and what lies ahead."""

from warmwatch.core.alarm import AlarmCode
from warmwatch.core.rest import reckoned_c
from warmwatch.core.watch import AMBIENT_FRESH_S
from warmwatch.words.catalogue import clock, phrase, span, temperature, whole_degrees
from warmwatch.words.events import place_text
from warmwatch.words.forecast import (
    bare_time,
    forecast_text,
    is_doubtful,
    levelling_text,
    outlook_text,
)
from warmwatch.words.level import alarm_text
from warmwatch.words.reasons import reason_text
from warmwatch.words.view import View


def _edge_code(view: View) -> str:
    """Return the code of what the forecast is for: to the band, or to one of its edges."""
    forecast = view.snapshot.forecast
    assert forecast is not None
    if forecast.to == "enter":
        return "band"
    return "top" if forecast.edge == "high" else "bottom"


def rest_text(view: View) -> str:
    """Return what was last read before a rest, and what is reckoned of now."""
    rest, unit = view.snapshot.rest, view.job.unit
    if rest is None:
        return ""
    if rest.last_c is None or rest.last_s is None:
        return phrase("rest.no-last")
    text = phrase(
        "rest.last", fluid=temperature(rest.last_c, unit), age=span(view.now_s - rest.last_s)
    )
    reckoned = reckoned_c(rest, view.now_s)
    if reckoned is None:
        return text
    low, middle, high = (whole_degrees(each, unit) for each in reckoned)
    return text + phrase("rest.reckoned", low=low, middle=middle, high=high)


def ahead_texts(view: View, *, levels: bool = False) -> tuple[str, str]:
    """Return the middle of the forecast alone and the whole sentence; `levels`: no time is said."""
    forecast, band = view.snapshot.forecast, view.job.band
    if forecast is None:
        return "", ""
    if forecast.falling and forecast.to == "enter" and (air := _air_too_warm(view)):
        return "", air
    low, code = forecast.edge == "low", _edge_code(view)
    level = levelling_text(forecast, band.low_c if low else band.high_c, view.job.unit)
    if level or levels:
        return "", level
    text = forecast_text(forecast, view.expected)
    if forecast.q50_s is None or not text or is_doubtful(forecast):
        missing = phrase(f"ahead.{code}-not-known")
        return "", phrase(f"ahead.{code}", text=text) if text else missing
    head, _, spread = text.partition(", ")
    bare = bare_time(head)
    if bare == head:
        return head, phrase(f"ahead.{code}", text=head)
    # With its unit: "to the band (80 to 100)" would be read as degrees.
    spread = f" ({spread} {bare.split()[-1]})" if spread else ""
    return bare, phrase(f"ahead.to-{code}", time=head, spread=spread)


def _air_too_warm(view: View) -> str:
    """Return that the air is warmer than the band; empty while it is not, or not lately read."""
    air = view.snapshot.latest.get("ambient_c")
    if air is None or view.now_s - air.at_s > AMBIENT_FRESH_S or air.value < view.job.band.high_c:
        return ""
    return phrase("ahead.air-too-warm", air=temperature(air.value, view.job.unit))


def basis_line(view: View) -> str:
    """Return what the forecast rests on, as `from its own pace like this, 4 min`; else empty."""
    forecast = view.snapshot.forecast
    if forecast is None or forecast.basis is None:
        return ""
    return phrase("ahead.basis", reason=reason_text(forecast.basis, view.job.unit))


def outlook_line(view: View) -> str:
    """Return the forecast for the other ways that are known: `driving 5 min · engine off: not`."""
    return " · ".join(map(outlook_text, view.snapshot.outlook))


def status_line(view: View) -> str:
    """Return the state in one line; a temperature is shown only while it is fresh."""
    snapshot = view.snapshot
    resting = snapshot.rest is not None and snapshot.rest.silent
    place = place_text(snapshot.place, blind=snapshot.blind)
    head = f"{clock(view.now_s)}  {rest_text(view) if resting else place}"
    first = snapshot.alarm.first
    if first is not None and first.code is not AlarmCode.BLIND and not (resting and first.heard):
        head = f"{head.rstrip('.')}, {alarm_text(first, view.job.unit).rstrip('.')}"
    if resting or snapshot.blind or snapshot.fluid_c is None:
        return head
    head = f"{head}, {temperature(snapshot.fluid_c, view.job.unit)}"
    ahead = ahead_texts(view)[1]
    return f"{head}; {ahead}" if ahead else head
