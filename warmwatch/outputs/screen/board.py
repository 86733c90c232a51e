"""What every screen says, in words: the terminal and the phone page show the same board."""

from dataclasses import dataclass, replace

from warmwatch.core.alarm import Plug
from warmwatch.core.events import Event
from warmwatch.core.level.conditions import ConditionName, ConditionState
from warmwatch.core.reading import Mark
from warmwatch.core.units import from_c
from warmwatch.outputs.screen.headline import Headline, age_s, headline
from warmwatch.outputs.screen.history import History, HistoryEntry
from warmwatch.words.catalogue import figure, phrase, temperature
from warmwatch.words.events import band_text, clock, event_text, mark_text
from warmwatch.words.level import check_lines, drain_text, plug_open_text, plug_texts
from warmwatch.words.reasons import reason_text
from warmwatch.words.status import ahead_texts, basis_line, outlook_line, rest_text
from warmwatch.words.steps import StepLine, step_line
from warmwatch.words.view import View

FRESH_S = 10.0
"""A value older than this is not shown."""
_CHECKING = (Headline.INSIDE, Headline.TOP_NEAR, Headline.BOTTOM_NEAR, Headline.NOT_FIT)
_NO_PLUG_ADVICE = (
    Headline.BLIND,
    Headline.ENDED,
    Headline.TOO_HOT,
    Headline.HOLD_LIMIT,
    Headline.PLUG_OPEN,
    Headline.WAITING,
    Headline.RESTING,
)
_LEAVING = (Headline.TOP_NEAR, Headline.BOTTOM_NEAR)
_NO_FIGURE = (Headline.BLIND, Headline.ENDED, Headline.RESTING)


def cautions() -> tuple[str, str]:
    """Return the same caution, longer and shorter."""
    return phrase("caution.long"), phrase("caution.short")


@dataclass(frozen=True, slots=True)
class Board:
    """What a screen says. `figure` is empty whenever no temperature can be claimed now.

    `fit` is false when in the band something else forbids the check; `act` then says what.
    `insists` says that an alarm was not heard yet.
    `step` is the step of the visit: what to do now and what is waited for.
    `soon` is the middle of the forecast alone, `time` the whole sentence with its spread.
    `place` is 0 at the lower and 1 at the upper edge of the band, None without a temperature.
    `sound_ok` is false when the tones that are wanted cannot be heard.
    `checks` are the conditions of the check, once they matter.
    `facts` are short texts, the most important first; `happened` lines, the newest last.
    """

    headline: Headline
    word: str
    act: str
    step: StepLine
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
    checks: tuple[str, ...]
    link: str
    link_ok: bool
    recording: str
    recording_ok: bool
    plug_out: bool
    insists: bool
    happened: tuple[str, ...]
    sound_ok: bool = True


def board(view: View, history: History, *, ended: bool = False) -> Board:
    """Return what is to be said of a view."""
    shown_as = Headline.ENDED if ended else headline(view)
    seen = not view.snapshot.blind and view.snapshot.fluid_c is not None
    known = seen and shown_as not in _NO_FIGURE
    job, alarm = view.job, view.snapshot.alarm
    link, link_ok = _link(view, shown_as)
    soon, time = _ahead(view, shown_as) if known else ("", "")
    step = StepLine() if ended else _step(view, shown_as)
    unfit = _unfit(view) if shown_as in _CHECKING and not step.leads else ""
    return Board(
        headline=shown_as,
        word=phrase(f"headline.{shown_as}"),
        step=step,
        act=_act(view, shown_as, unfit, step, known=known),
        fit=not unfit,
        figure=_figure(view, history) if known else "",
        unit=f"°{job.unit}",
        band=band_text(job.band, job.unit),
        soon=soon,
        time=time,
        rate=_rate(view) if known else "",
        place=_place(view) if known else None,
        facts=_facts(view, shown_as),
        conditions=conditions(view),
        checks=check_lines(view) if view.snapshot.near_check and not ended else (),
        link=link,
        link_ok=link_ok,
        recording=view.recording_trouble
        or (phrase("board.recorded", path=view.recording) if view.recording else not_recorded()),
        recording_ok=bool(view.recording) and not view.recording_trouble,
        plug_out=alarm.plug is Plug.OUT,
        insists=alarm.insists and not ended,
        happened=tuple(entry_text(entry, view) for entry in history.latest),
    )


def not_recorded() -> str:
    """Return what is said in place of the recording's path."""
    return phrase("board.not-recorded")


def _step(view: View, shown_as: Headline) -> StepLine:
    """Return the step; it leads only where the state itself asks for nothing else."""
    if shown_as is Headline.BLIND:
        return StepLine()
    step = step_line(view)
    return replace(step, leads=False) if shown_as in _NO_PLUG_ADVICE else step


def _act(view: View, shown_as: Headline, unfit: str, step: StepLine, *, known: bool) -> str:
    """Return what to do now: one order, from what the banner says."""
    if shown_as is Headline.WAITING and known:
        return phrase("act.unconfirmed")
    if step.leads:
        return step.act
    if unfit:
        return phrase("act.unfit", unfit=unfit)
    if shown_as is Headline.RESTING:
        return rest_text(view)
    if shown_as is Headline.PLUG_OPEN:
        return plug_open_text(view)
    if shown_as in _LEAVING and view.snapshot.alarm.plug is not Plug.OUT:
        return phrase("act.little-time")
    texts = () if shown_as in _NO_PLUG_ADVICE else plug_texts(view)
    return texts[0] if texts else phrase(f"act.{shown_as}")


def _unfit(view: View) -> str:
    """Return why a check now would not count though the fluid is in the band, or nothing."""
    reasons = [
        reason_text(condition.reason, view.job.unit)
        for condition in view.snapshot.conditions
        if condition.state is ConditionState.NOT_MET
        and condition.name is not ConditionName.FLUID_IN_BAND
    ]
    if len(reasons) < 2:
        return "".join(reasons)
    return phrase("board.more", first=reasons[0], count=f"{len(reasons) - 1}")


def _figure(view: View, history: History) -> str:
    fluid_c = view.snapshot.fluid_c
    if fluid_c is None:
        return ""
    shown = from_c(fluid_c, view.job.unit)
    return f"{shown:.1f}" if history.tenths else f"{shown:.0f}"


def _place(view: View) -> float | None:
    band, fluid_c = view.job.band, view.snapshot.fluid_c
    return None if fluid_c is None else (fluid_c - band.low_c) / (band.high_c - band.low_c)


def _ahead(view: View, shown_as: Headline) -> tuple[str, str]:
    """Return the middle of the forecast alone and the whole sentence, both empty without one."""
    forecast = view.snapshot.forecast
    if forecast is None or shown_as is Headline.TOO_HOT:
        return "", ""
    return ahead_texts(view, levels=shown_as is Headline.LEVELLING)


def _rate(view: View) -> str:
    # The forecast sees a slow rise through the steps of a sensor that only tells whole degrees.
    forecast = view.snapshot.forecast
    rate = view.snapshot.rate_c_per_min if forecast is None else forecast.rate_c_per_min
    return "" if rate is None else figure("rate_c_per_min", rate, view.job.unit)


def _facts(view: View, shown_as: Headline) -> tuple[str, ...]:
    snapshot, job = view.snapshot, view.job
    facts = []
    if snapshot.held_s is not None:
        held, limit = f"{snapshot.held_s:.0f} s", f"{job.hold_limit_s:g} s"
        facts.append(phrase("board.hold", held=held, limit=limit))
    elif snapshot.rest_left_s:
        facts.append(phrase("board.rest", left=f"{snapshot.rest_left_s:.0f} s"))
    if snapshot.alarm.plug_out_s is not None:
        facts.append(phrase("board.plug-out", since=clock(snapshot.alarm.plug_out_s)))
        facts += plug_texts(view)[1:]
    elif drain := drain_text(view):
        facts.append(drain)
    if shown_as not in (Headline.BLIND, Headline.RESTING):
        facts.append(phrase(f"phase.{snapshot.phase}"))
        facts += [text for text in (outlook_line(view), basis_line(view)) if text]
    if view.link.startswith("demo:"):
        facts.append(phrase("board.invented"))
    return tuple(facts)


_CONDITIONS = {
    "engine_rpm": "{:.0f}/min",
    "speed_kmh": "{:.0f} km/h",
    "voltage_v": "{:.1f} V",
    "load_pct": "{:.0f} %",
}
_TEMPERATURES = ("coolant_c", "engine_oil_c", "ambient_c")


def conditions(view: View) -> tuple[str, ...]:
    """Return what else is known of engine and vehicle; only what is fresh."""
    fresh_s = max(FRESH_S, view.job.blind_limit_s)
    fresh = {
        name: timed.value
        for name, timed in view.snapshot.latest.items()
        if view.now_s - timed.at_s <= fresh_s
    }
    texts = [
        phrase(f"quantity.{name}", value=form.format(fresh[name]))
        for name, form in _CONDITIONS.items()
        if name in fresh
    ]
    if "in_park" in fresh:
        texts.insert(0, phrase("quantity.in-park" if fresh["in_park"] else "quantity.not-in-park"))
    warm = [
        phrase(f"quantity.{name}", value=temperature(fresh[name], view.job.unit))
        for name in _TEMPERATURES
        if name in fresh
    ]
    return (*texts[:2], *warm, *texts[2:])


def _link(view: View, shown_as: Headline) -> tuple[str, bool]:
    silent_s = age_s(view)
    if shown_as is Headline.RESTING and view.snapshot.rest is not None:
        return phrase("rest.link", since=clock(view.snapshot.rest.since_s)), True
    if view.snapshot.last_good_s is None:
        none = phrase("link.none-so-far" if shown_as is Headline.BLIND else "link.none-yet")
        return view.link_trouble or none, not view.link_trouble and shown_as is not Headline.BLIND
    if shown_as is Headline.BLIND:
        why = f": {view.link_trouble}" if view.link_trouble else ""
        return phrase("link.silent", span=_span(silent_s), why=why), False
    snapshot = view.snapshot
    doubts = phrase("link.doubtful", count=snapshot.doubtful) if snapshot.doubtful else ""
    losses = phrase("link.losses", count=snapshot.gaps) if snapshot.gaps else ""
    text = phrase("link.last", age=f"{silent_s:.1f} s") + losses + doubts
    return text, silent_s <= view.job.blind_limit_s


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else clock(seconds)


def entry_text(entry: HistoryEntry, view: View) -> str:
    """Return one line for something that happened."""
    head = "" if entry.elapsed_s is None else f"{clock(entry.elapsed_s)}  "
    if isinstance(entry.entry, Event):
        return head + event_text(entry.entry, view.job.band, view.job.unit)
    if isinstance(entry.entry, Mark):
        return head + mark_text(entry.entry)
    return entry.entry.text


def stalled(shown: Board, silent_s: float) -> Board:
    """Return the board of a watch that has not shown anything for `silent_s`: blind."""
    return replace(
        shown,
        headline=Headline.BLIND,
        word=phrase(f"headline.{Headline.BLIND}"),
        act=phrase(f"act.{Headline.BLIND}"),
        step=StepLine(),
        figure="",
        soon="",
        time="",
        rate="",
        place=None,
        facts=(),
        conditions=(),
        checks=(),
        link=phrase("link.stalled", span=_span(silent_s)),
        link_ok=False,
        insists=True,
    )
