"""The words of the proof, as plain data for the page template."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from warmwatch._version import __version__
from warmwatch.core.band import Window
from warmwatch.core.events import EventKind
from warmwatch.core.level.check import Check, Outcome
from warmwatch.core.level.conditions import Condition, ConditionState
from warmwatch.core.level.drip import by_warming, overrun_ml
from warmwatch.core.reading import MarkName
from warmwatch.outputs.proof.amounts import balance_lines, ledger_heads, ledger_row
from warmwatch.outputs.proof.facts import Facts, Told
from warmwatch.recording.seal.report import SealState
from warmwatch.words.events import band_text, clock, event_text, window_text
from warmwatch.words.proof import (
    PROVES,
    conditions_sentence,
    temperature_or_unknown,
    verdict,
)
from warmwatch.words.reasons import condition_detail, condition_name

MOST_ROWS = 40
MOST_WINDOWS = 12
_BURNS = (
    "Fluid and metal at check temperature burn at a touch: fluid at 80 to 95 °C (176 to 203 °F) is "
    "far above the 68 °C (154 °F) at which a published chart for hot water gives about one second "
    "to a serious burn."
)
_GAS = (
    "A running engine makes carbon monoxide; a vehicle can move or fall: open air or extraction, "
    "wheels chocked, a lift or stands made for it."
)
_SERVICE = (
    "The service information of the vehicle comes before anything said here. Old fluid is "
    "disposed of by local rules."
)
CAUTIONS = (_BURNS, _GAS, _SERVICE)
_SYMBOLS = {
    ConditionState.MET: "✔",
    ConditionState.NOT_MET: "✘",
    ConditionState.UNKNOWN: "?",
}
_FLUID_MARKS = (MarkName.DRAINED, MarkName.FILLED, MarkName.TOPPED_UP)
_TOLD_EVENTS = (EventKind.BLIND, EventKind.SEEING, EventKind.DOUBTFUL, EventKind.NOT_FIT)
Row = list[str]


def proof_page(facts: Facts) -> dict[str, Any]:
    """Return all texts of the proof: strings, and lists of rows of strings."""
    job, unit, check = facts.job, facts.job.unit, facts.check
    return {
        "invented": str(facts.link.get("invented", "")),
        "vehicle": job.vehicle or "not named",
        "method": job.method or "not told",
        "date": wall_time(facts, facts.start_s) or "not known",
        "length": clock(facts.end_s - facts.start_s),
        "verdict": verdict(check, job.band, unit),
        "sign": _sign(facts),
        "remarks": remarks(facts),
        "conditions_sentence": "" if check is None else conditions_sentence(check.conditions),
        "band": band_text(job.band, unit),
        "band_source": job.band_source or "not told",
        "conditions": [_condition(c, unit) for c in (check.conditions if check else ())],
        "check": [] if check is None else list(_check_rows(facts, check)),
        "earlier": _earlier(facts),
        "windows": _band_windows(facts),
        "drain": _drain(facts),
        "marks": _marks(facts),
        "ledger": [ledger_row(facts, entry) for entry in facts.fluid.ledger],
        "ledger_heads": ledger_heads(facts),
        "balance": balance_lines(facts),
        "doubts": _doubts(facts),
        "notes": job.notes,
        "link": list(_link_rows(facts.link)),
        "raw": _raw(facts),
        "cautions": list(CAUTIONS),
        "recording": facts.path.name,
        "digest": facts.report.digest,
        "signature": _signature(facts),
        "derived": _derived(facts),
        "proves": PROVES,
        "versions": f"Recorded by warmwatch {facts.versions.get('warmwatch', 'not known')}, "
        f"proof made by warmwatch {__version__}.",
    }


def wall_time(facts: Facts, elapsed_s: float) -> str:
    """Return the wall time (UTC) at `elapsed_s`, reckoned from the first reading."""
    if facts.start_utc_s is None:
        return ""
    moment = datetime.fromtimestamp(facts.start_utc_s + elapsed_s - facts.start_s, tz=UTC)
    return moment.strftime("%Y-%m-%d %H:%M UTC")


def _sign(facts: Facts) -> str:
    """Return a tick only where nothing is unmet, not known or to be remarked."""
    if facts.outcome in (Outcome.SET_OUTSIDE, Outcome.CHECKED_OUTSIDE):
        return "✘"
    if facts.outcome is not Outcome.SET_INSIDE or facts.check is None:
        return "?"
    states = {condition.state for condition in facts.check.conditions}
    return "✔" if states == {ConditionState.MET} and not remarks(facts) else "!"


def remarks(facts: Facts) -> list[str]:
    """Return what must stand beside the verdict, so that it does not say more than it knows."""
    check, lines = facts.check, []
    if facts.report.state is SealState.OTHER_VERSION:
        lines.append(f"Of the recording, {facts.report.reason}.")
    elif facts.report.state is not SealState.INTACT:
        lines.append(
            "The recording was not closed properly, so its end may be missing: "
            f"{facts.report.reason}."
        )
    if check is not None and check.set_s is not None:
        if check.flow in (MarkName.STREAM, MarkName.NO_DRIP):
            lines.append(f"The last thing told of the open plug was: {_plug_word(check.flow)}.")
        if after := _marked_after(facts, check):
            lines.append(f"Marked after this check: {', '.join(after)}.")
    return lines


def _plug_word(flow: MarkName) -> str:
    return str(flow).replace("-", " ")


def _marked_after(facts: Facts, check: Check) -> list[str]:
    """Return the marks after a check that say that the amount of fluid was changed again."""
    return [
        f"{one.mark.name} at {clock(one.mark.elapsed_s)}"
        for one in facts.told
        if one.mark.name in _FLUID_MARKS and one.mark.elapsed_s > (check.end_s or 0.0)
    ]


def _condition(condition: Condition, unit: str) -> Row:
    name, why = condition_name(condition.name), condition_detail(condition, unit)
    return [_SYMBOLS[condition.state], name, str(condition.state), why]


def _check_rows(facts: Facts, check: Check) -> Iterator[Row]:
    unit = facts.job.unit

    def moment(name: str, at_s: float | None, at_c: float | None) -> Row:
        return [name, clock(at_s or 0.0), temperature_or_unknown(at_c, unit)]

    yield moment("plug out", check.out_s, check.out_c)
    if check.drip_s is not None:
        yield moment("first drip", check.drip_s, check.drip_c)
    if check.flow is not None:
        yield ["told of the plug last", _plug_word(check.flow), ""]
    if check.in_s is not None:
        yield moment("plug in", check.in_s, check.in_c)
        yield ["plug out for", clock(check.in_s - check.out_s), ""]
    if check.set_s is not None:
        yield ["level called set", clock(check.set_s), ""]
    if check.doubtful:
        yield ["readings not believed", str(check.doubtful), ""]
    yield from _by_warming(facts, check)


def _by_warming(facts: Facts, check: Check) -> Iterator[Row]:
    drip = by_warming(facts.fluid, check.out_c, None)
    if drip.ml_per_c is None:
        return
    unit = facts.job.unit
    per_degree = drip.ml_per_c if unit == "C" else drip.ml_per_c / 1.8
    yield ["the fluid expands by", f"{per_degree:.1f} mL per °{unit}", ""]
    from_c = check.out_c if check.drip_c is None else check.drip_c
    over = overrun_ml(facts.fluid, from_c, check.in_c)
    if over is not None:
        since = "plug out" if check.drip_c is None else "the first drip"
        yield ["run out by warming alone", f"about {over:.0f} mL", f"since {since}"]


def _earlier(facts: Facts) -> list[str]:
    unit, band = facts.job.unit, facts.job.band
    return [f"{clock(check.out_s)}: {verdict(check, band, unit)}" for check in facts.checks[:-1]]


def _band_windows(facts: Facts) -> list[str]:
    job = facts.job
    lines = _windows(facts.windows, job.unit, "Never confirmed inside the band.")
    beyond = sum(window.beyond for window in facts.windows)
    if beyond:
        lines.append(
            f"(Readings that jittered over an edge in these times: {beyond}, none for as long as "
            f"{job.confirm_s:g} s. The sentence on top goes by every single reading.)"
        )
    return lines


def _windows(windows: Sequence[Window], unit: str, none: str) -> list[str]:
    if not windows:
        return [none]
    lines = [f"Inside {window_text(window, unit)}." for window in windows[-MOST_WINDOWS:]]
    more = len(windows) - len(lines)
    return [f"{more} earlier ones in the attached recording.", *lines] if more else lines


def _drain(facts: Facts) -> list[str]:
    band = facts.job.drain_band
    if band is None:
        return []
    head = f"Range for draining warm: {band_text(band, facts.job.unit)}."
    return [head, *_windows(facts.drain_windows, facts.job.unit, "Never confirmed inside it.")]


def _marks(facts: Facts) -> list[Row]:
    """Return the marks as rows; of too many, notes are left out before anything else."""
    told = [one for one in facts.told if one.mark.name != MarkName.ACKNOWLEDGE]
    acts = [one for one in told if one.mark.name != MarkName.NOTE][-MOST_ROWS:]
    notes = [one for one in told if one.mark.name == MarkName.NOTE]
    kept = acts + notes[len(notes) - max(0, min(len(notes), MOST_ROWS - len(acts))) :]
    rows = [_mark_row(one, facts.job.unit) for one in sorted(kept, key=_when)]
    if len(rows) < len(told):
        rows.append(["…", "", "", f"{len(told) - len(rows)} more in the attached recording"])
    return rows


def _when(one: Told) -> float:
    return one.mark.elapsed_s


def _mark_row(one: Told, unit: str) -> Row:
    mark = one.mark
    fluid = temperature_or_unknown(one.fluid_c, unit)
    return [clock(mark.elapsed_s), str(mark.name), fluid, mark.note]


def _raw(facts: Facts) -> list[Row]:
    unit = facts.job.unit
    rows = [
        [clock(one.elapsed_s), temperature_or_unknown(one.fluid_c, unit), one.raw or "none"]
        for one in facts.edges[-2 * MOST_WINDOWS :]
    ]
    more = len(facts.edges) - len(rows)
    return [["…", "", f"{more} earlier ones in the attached recording"], *rows] if more else rows


def _doubts(facts: Facts) -> list[str]:
    lines = [
        f"{facts.readings} readings, {facts.doubtful} not believed; losses of signal: {facts.gaps}."
    ]
    told = [event for event in facts.events if event.kind in _TOLD_EVENTS]
    band, unit = facts.job.band, facts.job.unit
    lines += [f"{clock(e.elapsed_s)}: {event_text(e, band, unit)}" for e in told[:12]]
    if len(told) > 12:
        lines.append(f"… {len(told) - 12} more in the attached recording.")
    return lines


def _link_rows(link: Mapping[str, Any]) -> Iterator[Row]:
    if link.get("address"):
        yield ["link", str(link["address"])]
    for key, value in link.items():
        if key in ("address", "invented", "signals") or isinstance(value, dict | list):
            continue
        yield [key.replace("_", " "), str(value)]
    signals = link.get("signals")
    for signal in signals if isinstance(signals, list) else ():
        if isinstance(signal, dict) and signal.get("name") == "fluid_c":
            yield ["fluid temperature is read as", signal_text(signal)]


def signal_text(signal: Mapping[str, Any]) -> str:
    """Return a signal's definition in one line; identifiers and addresses in hex."""
    parts = []
    for key, value in signal.items():
        if value is None or value == "" or key == "name":
            continue
        hexed = key in ("service", "identifier", "target", "answer_id") and isinstance(value, int)
        parts.append(f"{key.replace('_', ' ')} {f'0x{value:X}' if hexed else value}")
    return ", ".join(parts)


def _signature(facts: Facts) -> str:
    report = facts.report
    if not report.signed_by:
        return "The recording is not signed."
    name = f" ({report.signed_name})" if report.signed_name else ""
    return f"The recording is signed by key {report.signed_by}{name} on {report.signed_time}."


def _derived(facts: Facts) -> str:
    """Return a sentence where the recorded events are not those that this version derives."""
    if facts.report.events in ("", "same"):
        return ""
    return (
        f"The events in the recording are {facts.report.events}. This page says what this version "
        "makes of the readings."
    )
