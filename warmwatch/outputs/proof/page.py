"""The words of the proof, as plain data for the page template."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from warmwatch import __version__
from warmwatch.core.band import Window
from warmwatch.core.events import EventKind
from warmwatch.core.level.check import Check, Outcome
from warmwatch.core.level.conditions import Condition, State
from warmwatch.core.level.drip import by_warming, overrun_ml
from warmwatch.core.level.fluid import BASE_C, volume_at
from warmwatch.core.level.ledger import Entry, at_15, balance, first_fill_l
from warmwatch.outputs.proof.facts import Facts
from warmwatch.outputs.proof.words import (
    ACTS,
    PROVES,
    balance_text,
    conditions_sentence,
    litres,
    temperature_or_unknown,
    verdict,
)
from warmwatch.outputs.words import band_text, clock, event_text, temperature, window_text
from warmwatch.recording.seal.report import SealState

MOST_ROWS = 40
_BURNS = (
    "Fluid and metal at check temperature burn at a touch: fluid at 80 to 95 °C is far above the "
    "68 °C at which a published chart for hot water gives about one second to a serious burn."
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
_SYMBOLS = {State.MET: "✔", State.NOT_MET: "✘", State.UNKNOWN: "?"}
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
        "closing": _closing(facts),
        "conditions_sentence": "" if check is None else conditions_sentence(check.conditions),
        "band": band_text(job.band, unit),
        "band_source": job.band_source or "not told",
        "conditions": [_condition(c) for c in (check.conditions if check else ())],
        "check": [] if check is None else list(_check_rows(facts, check)),
        "earlier": _earlier(facts),
        "windows": _band_windows(facts),
        "drain": _drain(facts),
        "marks": _marks(facts),
        "ledger": [_ledger_row(facts, entry) for entry in facts.fluid.ledger],
        "ledger_heads": _ledger_heads(facts),
        "balance": _balance(facts),
        "doubts": _doubts(facts),
        "notes": job.notes,
        "link": list(_link_rows(facts.link)),
        "raw": [
            [clock(one.elapsed_s), temperature_or_unknown(one.fluid_c, unit), one.raw or "none"]
            for one in facts.edges[:MOST_ROWS]
        ],
        "cautions": list(CAUTIONS),
        "recording": facts.path.name,
        "digest": facts.report.digest,
        "signature": _signature(facts),
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
    if facts.outcome in (Outcome.SET_OUTSIDE, Outcome.CHECKED_OUTSIDE):
        return "✘"
    if facts.outcome is not Outcome.SET_INSIDE or facts.check is None:
        return "?"
    unmet = any(c.state is State.NOT_MET for c in facts.check.conditions)
    return "!" if unmet or facts.report.state is not SealState.INTACT else "✔"


def _closing(facts: Facts) -> str:
    if facts.report.state is SealState.INTACT:
        return ""
    reason = facts.report.reason
    return f"The recording was not closed properly, so its end may be missing: {reason}."


def _condition(condition: Condition) -> Row:
    return [_SYMBOLS[condition.state], condition.name, str(condition.state), condition.reason]


def _check_rows(facts: Facts, check: Check) -> Iterator[Row]:
    unit = facts.job.unit

    def moment(name: str, at_s: float | None, at_c: float | None) -> Row:
        return [name, clock(at_s or 0.0), temperature_or_unknown(at_c, unit)]

    yield moment("plug out", check.out_s, check.out_c)
    if check.drip_s is not None:
        yield moment("first drip", check.drip_s, check.drip_c)
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
    yield ["the fluid expands by", f"{drip.ml_per_c:.1f} mL per °C", ""]
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
    if any(w.min_c < job.band.low_c or w.max_c > job.band.high_c for w in facts.windows):
        lines.append(f"(Beyond an edge for less than {job.confirm_s:g} s is no exit.)")
    return lines


def _windows(windows: Sequence[Window], unit: str, none: str) -> list[str]:
    if not windows:
        return [none]
    return [f"Inside {window_text(window, unit)}." for window in windows[:MOST_ROWS]]


def _drain(facts: Facts) -> list[str]:
    band = facts.job.drain_band
    if band is None:
        return []
    head = f"Range for draining warm: {band_text(band, facts.job.unit)}."
    return [head, *_windows(facts.drain_windows, facts.job.unit, "Never confirmed inside it.")]


def _marks(facts: Facts) -> list[Row]:
    unit = facts.job.unit
    rows = [
        [
            clock(one.mark.elapsed_s),
            str(one.mark.name),
            temperature_or_unknown(one.fluid_c, unit),
            one.mark.note,
        ]
        for one in facts.told
        if one.mark.name != "acknowledge"
    ]
    return _cut(rows)


def _cut(rows: list[Row]) -> list[Row]:
    if len(rows) <= MOST_ROWS:
        return rows
    more = f"{len(rows) - MOST_ROWS} more in the attached recording"
    return [*rows[:MOST_ROWS], ["…", more, *[""] * (len(rows[0]) - 2)]]


def _check_c(facts: Facts) -> float:
    check, band = facts.check, facts.job.band
    known = None if check is None else check.in_c if check.in_c is not None else check.out_c
    return (band.low_c + band.high_c) / 2.0 if known is None else known


def _ledger_heads(facts: Facts) -> Row:
    unit = facts.job.unit
    at = [temperature(celsius, unit) for celsius in (BASE_C, 20.0, _check_c(facts))]
    return ["what", "as read", *(f"at {text}" for text in at)]


def _ledger_row(facts: Facts, entry: Entry) -> Row:
    rho, unit = facts.fluid.density_kg_m3, facts.job.unit
    shown = [volume_at(entry.litres, entry.temp_c, to_c, rho) for to_c in (20.0, _check_c(facts))]
    read = f"{litres(entry.litres)} ±{entry.litres_err:g} at {temperature(entry.temp_c, unit)}"
    return [
        ACTS[entry.act],
        f"{read} ±{entry.temp_err_c:g} K",
        litres(at_15(entry, facts.fluid)),
        *(litres(value) for value in shown),
    ]


def _balance(facts: Facts) -> list[str]:
    fluid = facts.fluid
    if not fluid.ledger:
        return []
    lines = [balance_text(balance(fluid), facts.outcome)]
    first = first_fill_l(fluid, 20.0)
    if first is not None:
        lines.append(f"What was drained takes up {litres(first)} at {temperature(20.0, 'C')}.")
    lines.append(
        f"Reckoned by API MPMS 11.1 / ASTM D1250 for lubricating oils with "
        f"{fluid.density_kg_m3:g} ±{fluid.density_err_kg_m3:g} kg/m³ at 15 °C; spreads are "
        "expanded uncertainties (k = 2)."
    )
    return lines


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
