"""The messages to the page, as JSON values; the wording is the board's, the same as everywhere."""

import json
from dataclasses import dataclass
from pathlib import PurePath

from warmwatch.core.units import from_c
from warmwatch.outputs.page.cues import tone_table
from warmwatch.outputs.screen.board import CAUTIONS, Board, board, stalled
from warmwatch.outputs.screen.story import Tale
from warmwatch.words.events import clock
from warmwatch.words.view import View

HAPPENED = 12


@dataclass(frozen=True, slots=True)
class Shown:
    """What the session showed at `at_s` of this machine's clock, with what is to be heard."""

    view: View
    tale: Tale
    at_s: float
    cues: list[dict[str, object]]
    repeats: list[dict[str, object]]
    ended: bool = False


def state_message(shown: Shown, now_s: float, stalled_s: float) -> dict[str, object]:
    """Return the whole state; blind when the watch has shown nothing for `stalled_s`."""
    seen = board(shown.view, shown.tale, ended=shown.ended)
    silent_s = now_s - shown.at_s
    stuck = silent_s > stalled_s and not shown.ended
    if stuck:
        seen = stalled(seen, silent_s)
    marks = {str(name): clock(at_s) for name, at_s in (shown.tale.marked or {}).items()}
    return {
        # The page compares this clock with its own to know a message that lay about somewhere.
        "t": round(now_s * 1000),
        "stalled": stuck,
        **_spoken_board(seen),
        "clock": clock(shown.view.now_s),
        "vehicle": shown.view.job.vehicle,
        "recording": _recording(shown.view),
        "marks": marks,
        "cues": shown.cues,
        "repeats": shown.repeats,
    }


def _spoken_board(seen: Board) -> dict[str, object]:
    return {
        "state": str(seen.state),
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
        "unheard": seen.unheard,
        "plug_out": seen.plug_out,
        "happened": list(seen.happened[-HAPPENED:]),
    }


def _recording(view: View) -> str:
    """Return what becomes of the recording; the laptop's folders are not the phone's matter."""
    if view.recording_trouble:
        return view.recording_trouble
    return f"Recorded: {PurePath(view.recording).name}" if view.recording else "NOT RECORDED"


def hello_message(*, may_mark: bool, speak: bool) -> dict[str, object]:
    """Return what a page needs once."""
    return {"may_mark": may_mark, "speak": speak, "caution": CAUTIONS[0], **tone_table()}


def curve_message(view: View, points: list[list[float | None]]) -> dict[str, object]:
    """Return the curve in the unit of show."""
    band, unit = view.job.band, view.job.unit
    edges = [round(from_c(edge, unit), 1) for edge in (band.low_c, band.high_c)]
    return {"low": edges[0], "high": edges[1], "unit": f"°{unit}", "points": points}


def event_bytes(name: str, message: dict[str, object]) -> bytes:
    """Return one event of an event stream (HTML standard, server-sent events)."""
    data = json.dumps(message, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return f"event: {name}\ndata: {data}\n\n".encode()
