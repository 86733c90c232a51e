"""The messages to the page, as JSON values; the wording is the board's, the same as everywhere."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePath

from warmwatch.core.level.conditions import ConditionName
from warmwatch.core.reading import MarkName
from warmwatch.core.units import from_c
from warmwatch.outputs.jsonlines import alarm_object
from warmwatch.outputs.page.cues import tone_table
from warmwatch.outputs.page.marklog import Line, log_message
from warmwatch.outputs.page.rights import Right
from warmwatch.outputs.screen.board import Board, board, cautions, not_recorded, stalled
from warmwatch.outputs.screen.history import History
from warmwatch.words.catalogue import phrase
from warmwatch.words.events import clock
from warmwatch.words.forecast import outlook_text
from warmwatch.words.reasons import condition_detail, condition_name
from warmwatch.words.view import View

HAPPENED = 12


@dataclass(frozen=True, slots=True)
class Shown:
    """What the session showed at `at_s` of this machine's clock, with what the phones must play."""

    view: View
    history: History
    at_s: float
    cues: list[dict[str, object]]
    repeats: list[dict[str, object]]
    log: tuple[Line, ...] = ()
    clash: str = ""
    ended: bool = False


def state_message(shown: Shown, now_s: float, stalled_s: float) -> dict[str, object]:
    """Return the whole state; blind when the watch has shown nothing for `stalled_s`."""
    seen = board(shown.view, shown.history, ended=shown.ended)
    silent_s = now_s - shown.at_s
    stuck = silent_s > stalled_s and not shown.ended
    if stuck:
        seen = stalled(seen, silent_s)
    return {
        # The page compares this clock with its own to know a message that lay about somewhere.
        "t": round(now_s * 1000),
        "stalled": stuck,
        **_spoken_board(seen),
        "alarm": alarm_object(shown.view.snapshot.alarm),
        "clock": clock(shown.view.now_s),
        "vehicle": shown.view.job.vehicle,
        "recording": _recording(shown.view),
        **log_message(shown.log),
        "checks": check_list(shown.view),
        "step": _step(seen),
        "outlook": [] if stuck else outlook_lines(shown.view),
        "clash": shown.clash,
        "cues": shown.cues,
        "repeats": shown.repeats,
    }


def _spoken_board(seen: Board) -> dict[str, object]:
    return {
        "state": str(seen.headline),
        "word": seen.word,
        "act": seen.act,
        "fit": seen.fit,
        "figure": seen.figure,
        "unit": seen.unit,
        "band": seen.band,
        "soon": seen.soon,
        "time": seen.time,
        "rate": seen.rate,
        "place": None if seen.place is None else round(seen.place, 3),
        "facts": list(seen.facts),
        "conditions": list(seen.conditions),
        "link": seen.link,
        "link_ok": seen.link_ok,
        "recording_ok": seen.recording_ok,
        "unheard": seen.insists,
        "plug_out": seen.plug_out,
        "happened": list(seen.happened[-HAPPENED:]),
    }


def _recording(view: View) -> str:
    """Return what becomes of the recording; the laptop's folders are not the phone's matter."""
    if view.recording_trouble:
        return view.recording_trouble
    if not view.recording:
        return not_recorded()
    return phrase("board.recorded", path=PurePath(view.recording).name)


_TOLD = {
    ConditionName.SELECTOR_IN_PARK: MarkName.IN_PARK,
    ConditionName.SELECTOR_CYCLED: MarkName.SELECTOR_CYCLED,
    ConditionName.VEHICLE_LEVEL: MarkName.VEHICLE_LEVEL,
}
"""What a person must tell: the mark that tells it."""


def check_list(view: View) -> list[dict[str, object]]:
    """Return the conditions of the check, each with the mark that confirms it, if there is one."""
    found: list[dict[str, object]] = []
    for condition in view.snapshot.conditions:
        mark = _TOLD.get(condition.name)
        about = {
            "name": condition_name(condition.name),
            "state": str(condition.state),
            "why": condition_detail(condition, view.job.unit),
        }
        ask = "" if mark is None else phrase(f"page.tell-{mark}")
        found.append({**about, "mark": None if mark is None else str(mark), "ask": ask})
    return found


def hello_message(right: Right, *, speak: bool, keys: Mapping[str, str]) -> dict[str, object]:
    """Return what a page needs once."""
    settings = {"right": str(right), "speak": speak, "keys": dict(keys)}
    return {**settings, "caution": cautions()[0], **tone_table()}


def curve_message(
    view: View, points: list[list[float | None]], log: tuple[Line, ...] = ()
) -> dict[str, object]:
    """Return the curve with marks and forecast, in the unit that is shown."""
    band, unit = view.job.band, view.job.unit
    edges = [round(from_c(edge, unit), 1) for edge in (band.low_c, band.high_c)]
    marks = [[round(line.elapsed_s), str(line.name)] for line in log if not line.withdrawn]
    return {
        "low": edges[0],
        "high": edges[1],
        "unit": f"°{unit}",
        "now": round(view.now_s, 1),
        "points": points,
        "marks": marks,
        "fan": _fan(view),
    }


def _step(seen: Board) -> dict[str, str]:
    """Return what is said of the step beside the banner: nothing that the banner says already."""
    return {"now": "" if seen.step.leads else seen.step.act, "waits": seen.step.waits}


def outlook_lines(view: View) -> list[str]:
    """Return when the edge is reached in other ways, one line each; nothing while blind."""
    if view.snapshot.blind:
        return []
    return [outlook_text(outlook) for outlook in view.snapshot.outlook]


def _fan(view: View) -> dict[str, float | None] | None:
    """Return when the edge is reached, from the tenth to the ninetieth part, None without it.

    The ninetieth is None where in that part the edge is not reached.
    """
    forecast, fluid_c = view.snapshot.forecast, view.snapshot.fluid_c
    if view.snapshot.blind or forecast is None or fluid_c is None:
        return None
    if forecast.q10_s is None or forecast.q50_s is None:
        return None
    band, unit = view.job.band, view.job.unit
    edge_c = band.low_c if forecast.edge == "low" else band.high_c
    return {
        "from": round(from_c(fluid_c, unit), 1),
        "edge": round(from_c(edge_c, unit), 1),
        "q10": forecast.q10_s,
        "q50": forecast.q50_s,
        "q90": forecast.q90_s,
    }


def event_bytes(name: str, message: dict[str, object]) -> bytes:
    """Return one event of an event stream (HTML standard, server-sent events)."""
    data = json.dumps(message, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return f"event: {name}\ndata: {data}\n\n".encode()
