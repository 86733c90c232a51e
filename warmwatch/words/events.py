"""The sentences of the watch, the same on every screen and in every voice."""

from warmwatch.core.band import Band, Place, Window
from warmwatch.core.events import Event, EventKind
from warmwatch.core.reading import Mark
from warmwatch.core.units import from_c
from warmwatch.words.catalogue import capital, clock, has, mark_name, phrase, temperature
from warmwatch.words.reasons import reasons_words

__all__ = [
    "band_text",
    "clock",
    "event_text",
    "mark_name",
    "mark_text",
    "place_text",
    "temperature",
    "window_text",
]


def band_text(band: Band, unit: str) -> str:
    """Return `80 to 90 °C`."""
    low, high = (round(from_c(edge, unit), 1) for edge in (band.low_c, band.high_c))
    return phrase("band", low=f"{low:g}", high=f"{high:g} °{unit}")


def event_text(event: Event, band: Band, unit: str) -> str:
    """Return one sentence for an event."""
    fluid = None if event.fluid_c is None else temperature(event.fluid_c, unit)
    why = reasons_words(event.reasons, unit)
    values = {
        "band": band_text(band, unit),
        "high": temperature(band.high_c, unit),
        "low": temperature(band.low_c, unit),
        "at": "" if fluid is None else f" ({fluid})",
        "now": "" if fluid is None else phrase("event.now", fluid=fluid),
        "crossed": clock(event.crossed_s or event.elapsed_s),
        "why": f": {why}" if why else "",
        "reasons": why,
        "Reasons": capital(why),
    }
    return phrase(f"event.{_variant(event)}", unit, **(values | _level(event, band, unit)))


def _variant(event: Event) -> str:
    """Return the code of the sentence: some events have several."""
    if event.kind in (EventKind.ENTERED, EventKind.FIT):
        if not event.reasons:
            return str(event.kind)
        return f"{event.kind}-{'unknown' if event.fit is None else 'unfit'}"
    codes = {reason.code for reason in event.reasons}
    if "not-seen-inside" in codes:
        return "above" if event.kind is EventKind.LEFT_HIGH else "below"
    if "holds-above" in codes:
        return "levelling-off-above"
    return "levelling-off-near" if "levels-off" in codes else str(event.kind)


def _level(event: Event, band: Band, unit: str) -> dict[str, str]:
    for reason in event.reasons:
        if reason.code == "levels-off":
            return level_figures(reason.figures["level_c"], band.low_c, unit)
        if reason.code == "holds-above":
            return {"level": temperature(round(reason.figures["level_c"]), unit)}
    return {}


def level_figures(level_c: float, target_c: float, unit: str) -> dict[str, str]:
    """Return the level that the fluid levels off at, and how far short of the target that is."""
    target = from_c(target_c, unit)
    missing = target - from_c(level_c, unit)
    short = max(round(missing), 1)
    level = min(target - missing, target - short)  # 79.6 is not said to be 80, 1 below 80
    return {"level": f"{level:.0f} °{unit}", "short": f"{short} °{unit}"}


def mark_text(mark: Mark) -> str:
    """Return a mark with its note in words."""
    note = f": {mark.note}" if mark.note else ""
    return phrase("mark.set", name=mark_name(mark.name), note=note)


def place_text(place: Place, *, blind: bool) -> str:
    """Return the state in words; blind comes before everything else."""
    return phrase("place.blind" if blind else f"place.{place}")


def window_text(window: Window, unit: str) -> str:
    """Return one line for a window, with both its temperatures and how it ended."""
    low, high = temperature(window.min_c, unit), temperature(window.max_c, unit)
    start = clock(window.entered_crossed_s)
    if window.left_s is None or window.left_crossed_s is None:
        return phrase("window.open", start=start, low=low, high=high)
    code = f"window.{window.ended_by}"
    how = phrase(code) if has(code) else window.ended_by
    return phrase(
        "window.ended", start=start, end=clock(window.left_crossed_s), low=low, high=high, how=how
    )
