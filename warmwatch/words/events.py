"""The sentences of the watch, the same on every screen and in every voice."""

from collections.abc import Callable

from warmwatch.core.band import Band, Place, Window
from warmwatch.core.events import Event, EventKind
from warmwatch.core.units import from_c


def temperature(fluid_c: float, unit: str) -> str:
    """Return `86 °C` or `186.8 °F`: a decimal only where there is one."""
    shown = round(from_c(fluid_c, unit), 1)
    return f"{shown:g} °{unit}"


def band_text(band: Band, unit: str) -> str:
    """Return `80 to 90 °C`."""
    low, high = (round(from_c(edge, unit), 1) for edge in (band.low_c, band.high_c))
    return f"{low:g} to {high:g} °{unit}"


def clock(elapsed_s: float) -> str:
    """Return elapsed time as `07:46`, with hours in front where there are any."""
    minutes, seconds = divmod(int(elapsed_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes:02}:{seconds:02}"


def event_text(event: Event, band: Band, unit: str) -> str:
    """Return one sentence for an event."""
    return _SENTENCES[event.kind](event, band, unit)


def _at(event: Event, unit: str) -> str:
    return "" if event.fluid_c is None else f" ({temperature(event.fluid_c, unit)})"


def _because(event: Event) -> str:
    return f": {event.reason}" if event.reason else ""


def _left_high(event: Event, band: Band, unit: str) -> str:
    if event.reason:
        return f"Above the band{_at(event, unit)}. Let it cool; do not set the level now."
    crossed = clock(event.crossed_s or event.elapsed_s)
    return (
        f"Left the band at the top{_at(event, unit)}, crossed at {crossed}: too hot for the level."
    )


def _left_low(event: Event, band: Band, unit: str) -> str:
    if event.reason:
        return f"Below the band{_at(event, unit)}."
    crossed = clock(event.crossed_s or event.elapsed_s)
    return f"Left the band at the bottom{_at(event, unit)}, crossed at {crossed}: too cold."


def _entered(event: Event, band: Band, unit: str) -> str:
    crossed = clock(event.crossed_s or event.elapsed_s)
    return (
        f"In the band {band_text(band, unit)}{_at(event, unit)}, since {crossed}: "
        "the level may be checked."
    )


def _levelling(event: Event, band: Band, unit: str) -> str:
    where = event.reason or "levelling off below the band"
    now = "" if event.fluid_c is None else f" ({temperature(event.fluid_c, unit)} now)"
    return f"{where[:1].upper()}{where[1:]}{now}: not reached at the present way of heating."


_SENTENCES: dict[EventKind, Callable[[Event, Band, str], str]] = {
    EventKind.NEARING: lambda e, b, u: f"The band {band_text(b, u)} is near{_at(e, u)}.",
    EventKind.ENTERED: _entered,
    EventKind.TOP_NEARING: lambda e, b, u: (
        f"The top of the band {temperature(b.high_c, u)} is near{_at(e, u)}: finish."
    ),
    EventKind.LEFT_HIGH: _left_high,
    EventKind.LEFT_LOW: _left_low,
    EventKind.LEVELLING_OFF: _levelling,
    EventKind.BLIND: lambda e, b, u: f"SIGNAL LOST{_because(e)}. The temperature is not known now.",
    EventKind.SEEING: lambda e, b, u: f"Signal is back{_at(e, u)}.",
    EventKind.DOUBTFUL: lambda e, b, u: f"A reading is not believed{_because(e)}.",
    EventKind.HOLD_START: lambda e, b, u: f"Hold against the brake began{_at(e, u)}{_because(e)}.",
    EventKind.HOLD_LIMIT: lambda e, b, u: f"HOLD LIMIT{_because(e)} now.",
    EventKind.HOLD_END: lambda e, b, u: (
        f"Hold ended{_because(e)}. Rest at idle in park or neutral."
    ),
    EventKind.REST_OVER: lambda e, b, u: f"The rest after the hold is over{_at(e, u)}.",
    EventKind.DRAIN_ENTERED: lambda e, b, u: f"Warm enough to drain{_at(e, u)}. Hot fluid burns.",
    EventKind.DRAIN_LEFT: lambda e, b, u: f"Left the range for draining{_at(e, u)}.",
    EventKind.NOT_FIT: lambda e, b, u: f"PLUG OUT, but not fit for the check{_because(e)}.",
    EventKind.TOO_HOT: lambda e, b, u: f"TOO HOT{_because(e)}. Stop loading; let it idle and cool.",
}


def place_text(place: Place, *, blind: bool) -> str:
    """Return the state in words; blind comes before everything else."""
    if blind:
        return "BLIND: temperature not known"
    return {
        Place.UNSEEN: "waiting for readings",
        Place.BELOW: "below the band",
        Place.INSIDE: "IN THE BAND",
        Place.ABOVE: "above the band",
    }[place]


def window_text(window: Window, unit: str) -> str:
    """Return one line for a window, with both its temperatures and how it ended."""
    low, high = temperature(window.min_c, unit), temperature(window.max_c, unit)
    start = clock(window.entered_crossed_s)
    if window.left_s is None or window.left_crossed_s is None:
        return f"from {start}, still inside at the end: {low} to {high}"
    how = {
        "left-high": "left at the top",
        "left-low": "left at the bottom",
        "blind": "ended by loss of signal",
        "jump": "ended by a jump of the reading",
    }.get(window.ended_by, window.ended_by)
    return f"from {start} to {clock(window.left_crossed_s)}: {low} to {high}, {how}"
