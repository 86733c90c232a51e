"""What every screen says, in words: the terminal and the phone page show the same board."""

from dataclasses import dataclass, replace

from warmwatch.core.events import Event
from warmwatch.core.level.conditions import ConditionState
from warmwatch.core.phase import Phase
from warmwatch.core.reading import Mark
from warmwatch.core.units import from_c
from warmwatch.outputs.screen.state import WORDS, State, age_s, state_of
from warmwatch.outputs.screen.story import Tale, Told
from warmwatch.words.events import band_text, clock, event_text, temperature
from warmwatch.words.forecast import forecast_text, levelling_text
from warmwatch.words.level import drain_text, plug_texts
from warmwatch.words.reasons import reason_text
from warmwatch.words.view import View

FRESH_S = 10.0
"""A value older than this is not shown."""
_CHECKING = (State.INSIDE, State.TOP_NEAR)
CAUTIONS = (
    "Hot fluid and metal burn. Mind fan and belts, exhaust gas, and a vehicle that moves.",
    "Burns! Mind fan, belts, exhaust gas, a moving vehicle.",
)
"""The same caution, longer and shorter."""
_PHASES = {
    Phase.OFF: "engine off",
    Phase.IDLE: "idling",
    Phase.LOADED: "LOADED",
    Phase.DRIVING: "DRIVING",
    Phase.UNKNOWN: "phase not known",
}


@dataclass(frozen=True, slots=True)
class Board:
    """What a screen says. `figure` is empty whenever no temperature can be claimed now.

    `fit` is false when in the band something else forbids the check; `act` then says what.
    `soon` is the middle of the forecast alone, `time` the whole sentence with its spread.
    `place` is 0 at the lower and 1 at the upper edge of the band, None without a temperature.
    `sound_ok` is false when the tones that are wanted cannot be heard.
    `facts` are short texts, the most important first; `happened` lines, the newest last.
    """

    state: State
    word: str
    act: str
    fit: bool
    figure: str
    unit: str
    band: str
    soon: str
    time: str
    rate: str
    place: float | None
    facts: tuple[str, ...]
    conditions: tuple[str, ...]
    link: str
    link_ok: bool
    recording: str
    recording_ok: bool
    plug_out: bool
    unheard: bool
    happened: tuple[str, ...]
    sound_ok: bool = True


def board(view: View, tale: Tale, *, ended: bool = False) -> Board:
    """Return what is to be said of a view."""
    state = State.ENDED if ended else state_of(view, tale)
    shown = state not in (State.BLIND, State.ENDED) and view.snapshot.fluid_c is not None
    job = view.job
    word, act = WORDS[state]
    if state is State.WAITING and shown:
        act = "The first readings: not yet confirmed."
    link, link_ok = _link(view, state)
    soon, time = _ahead(view, tale, state) if shown else ("", "")
    unfit = _unfit(view) if state in _CHECKING else ""
    return Board(
        state=state,
        word=word,
        act=_unfit_act(state, unfit) if unfit else _with_plug(view, state) or act,
        fit=not unfit,
        figure=_figure(view, tale) if shown else "",
        unit=f"°{job.unit}",
        band=band_text(job.band, job.unit),
        soon=soon,
        time=time,
        rate=_rate(view) if shown else "",
        place=_place(view) if shown else None,
        facts=_facts(view, state),
        conditions=conditions(view),
        link=link,
        link_ok=link_ok,
        recording=view.recording_trouble
        or (f"Recorded: {view.recording}" if view.recording else "NOT RECORDED"),
        recording_ok=bool(view.recording) and not view.recording_trouble,
        plug_out=view.snapshot.plug_out_s is not None,
        unheard=tale.unheard is not None and not ended,
        happened=tuple(told_text(told, view) for told in tale.latest),
    )


def _unfit(view: View) -> str:
    """Return why a check now would not count though the fluid is in the band, or nothing."""
    reasons = [
        reason_text(condition.reason, view.job.unit)
        for condition in view.snapshot.conditions
        if condition.state is ConditionState.NOT_MET
    ]
    more = f", and {len(reasons) - 1} more" if len(reasons) > 1 else ""
    return reasons[0] + more if reasons else ""


def _with_plug(view: View, state: State) -> str:
    """Return what the open plug asks for now, empty with the plug in or when more matters."""
    texts = plug_texts(view)
    if not texts or state in (State.BLIND, State.ENDED, State.TOO_HOT, State.WAITING):
        return ""
    return f"Finish. {texts[0]}" if state is State.TOP_NEAR else texts[0]


def _unfit_act(state: State, unfit: str) -> str:
    finish = "Finish. " if state is State.TOP_NEAR else ""
    return f"{finish}Not fit for the check: {unfit}."


def _figure(view: View, tale: Tale) -> str:
    fluid_c = view.snapshot.fluid_c
    if fluid_c is None:
        return ""
    shown = from_c(fluid_c, view.job.unit)
    return f"{shown:.1f}" if tale.tenths else f"{shown:.0f}"


def _place(view: View) -> float | None:
    band, fluid_c = view.job.band, view.snapshot.fluid_c
    return None if fluid_c is None else (fluid_c - band.low_c) / (band.high_c - band.low_c)


def _ahead(view: View, tale: Tale, state: State) -> tuple[str, str]:
    """Return the middle of the forecast alone and the whole sentence, both empty without one."""
    forecast = view.snapshot.forecast
    if forecast is None or state in (State.ABOVE, State.TOO_HOT):
        return "", ""
    low = forecast.edge == "low"
    band = view.job.band
    level = levelling_text(forecast, band.low_c if low else band.high_c, view.job.unit)
    if level or state is State.LEVELLING:
        return "", level
    goal, edge = ("to the band", "the band") if low else ("to the top", "the top of the band")
    text = forecast_text(forecast, tale.expected)
    if forecast.q50_s is None or not text:
        return "", f"{edge}: {text}" if text else f"time {goal} not known"
    head, _, spread = text.partition(", ")
    if not head.startswith("about "):
        return head, f"{edge}: {head}"
    # With its unit: "to the band (80 to 100)" would be read as degrees.
    spread = f" ({spread} {head.split()[-1]})" if spread else ""
    return head.removeprefix("about "), f"{head} {goal}{spread}"


def _rate(view: View) -> str:
    # The forecast sees a slow rise through the steps of a sensor that only tells whole degrees.
    forecast = view.snapshot.forecast
    rate = view.snapshot.rate_c_per_min if forecast is None else forecast.rate_c_per_min
    if rate is None:
        return ""
    scale = 1.8 if view.job.unit == "F" else 1.0
    return f"{rate * scale:+.1f} °{view.job.unit}/min"


def _facts(view: View, state: State) -> tuple[str, ...]:
    snapshot, job = view.snapshot, view.job
    facts = []
    if snapshot.held_s is not None:
        facts.append(f"HOLD {snapshot.held_s:.0f} s of {job.hold_limit_s:g} s at most")
    elif snapshot.rest_left_s:
        facts.append(f"rest {snapshot.rest_left_s:.0f} s more")
    if snapshot.plug_out_s is not None:
        facts.append(f"PLUG OUT since {clock(snapshot.plug_out_s)}")
        facts += plug_texts(view)[1:]
    elif drain := drain_text(view):
        facts.append(drain)
    if state is not State.BLIND:
        facts.append(_PHASES[snapshot.phase])
    if view.link.startswith("demo:"):
        facts.append("INVENTED vehicle")
    return tuple(facts)


_CONDITIONS = {
    "engine_rpm": "engine {:.0f}/min",
    "speed_kmh": "road {:.0f} km/h",
    "voltage_v": "{:.1f} V",
    "load_pct": "load {:.0f} %",
}
_TEMPERATURES = {"coolant_c": "coolant", "engine_oil_c": "engine oil", "ambient_c": "air"}


def conditions(view: View) -> tuple[str, ...]:
    """Return what else is known of engine and vehicle; only what is fresh."""
    fresh = {
        name: value
        for name, value in view.values.items()
        if view.now_s - view.value_s[name] <= max(FRESH_S, view.job.blind_limit_s)
    }
    texts = [form.format(fresh[name]) for name, form in _CONDITIONS.items() if name in fresh]
    if "in_park" in fresh:
        texts.insert(0, "in park" if fresh["in_park"] else "NOT IN PARK")
    warm = [
        f"{label} {temperature(fresh[name], view.job.unit)}"
        for name, label in _TEMPERATURES.items()
        if name in fresh
    ]
    return (*texts[:2], *warm, *texts[2:])


def _link(view: View, state: State) -> tuple[str, bool]:
    silent_s = age_s(view)
    if view.snapshot.last_good_s is None:
        silent = "NO READING so far" if state is State.BLIND else "No reading yet"
        return view.link_trouble or silent, not view.link_trouble and state is not State.BLIND
    if state is State.BLIND:
        why = f": {view.link_trouble}" if view.link_trouble else ""
        return f"NO GOOD READING for {_span(silent_s)}{why}", False
    doubts = f", doubtful: {view.snapshot.doubtful}" if view.snapshot.doubtful else ""
    losses = f", losses: {view.snapshot.gaps}" if view.snapshot.gaps else ""
    return f"Last reading {silent_s:.1f} s ago{losses}{doubts}", silent_s <= view.job.blind_limit_s


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else clock(seconds)


def told_text(told: Told, view: View) -> str:
    """Return one line for something that happened."""
    head = "" if told.elapsed_s is None else f"{clock(told.elapsed_s)}  "
    if isinstance(told.entry, Event):
        return head + event_text(told.entry, view.job.band, view.job.unit)
    if isinstance(told.entry, Mark):
        note = f": {told.entry.note}" if told.entry.note else ""
        return f"{head}Mark {told.entry.name}{note}"
    return told.entry.text


def stalled(shown: Board, silent_s: float) -> Board:
    """Return the board of a watch that has not shown anything for `silent_s`: blind."""
    word, act = WORDS[State.BLIND]
    link = f"THE WATCH DOES NOT ANSWER for {_span(silent_s)}"
    return replace(
        shown,
        state=State.BLIND,
        word=word,
        act=act,
        figure="",
        soon="",
        time="",
        rate="",
        place=None,
        facts=(),
        conditions=(),
        link=link,
        link_ok=False,
        unheard=True,
    )
