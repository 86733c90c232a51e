"""The technical part of the proof: doubts, link, signal, raw bytes, signatures."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from warmwatch.core.events import EventKind
from warmwatch.outputs.proof.facts import Facts
from warmwatch.words.events import clock, event_text
from warmwatch.words.proof import temperature_or_unknown

if TYPE_CHECKING:
    from warmwatch.outputs.proof.visit import Visit

MOST_EDGES = 24
MOST_EVENTS = 12
_TOLD_EVENTS = (EventKind.BLIND, EventKind.SEEING, EventKind.DOUBTFUL, EventKind.NOT_FIT)
_HEXED = ("service", "identifier", "target", "answer_id")
Row = list[str]


def doubt_lines(visit: "Visit", facts: Facts) -> Iterator[str]:
    """Yield what was lost or not believed."""
    before, unit = _before(visit, facts), visit.job.unit
    yield (
        f"{before}{facts.readings} readings, {facts.doubtful} not believed; losses of signal: "
        f"{facts.gaps}."
    )
    told = [event for event in facts.events if event.kind in _TOLD_EVENTS]
    for event in told[:MOST_EVENTS]:
        yield f"{before}{clock(event.elapsed_s)}: {event_text(event, facts.job.band, unit)}"
    if len(told) > MOST_EVENTS:
        yield f"… {len(told) - MOST_EVENTS} more in the attached recording."


def read_parts(visit: "Visit", facts: Facts) -> Iterator[dict[str, Any]]:
    """Yield how a recording was read: its link, and the bytes at each entry and exit."""
    unit = visit.job.unit
    shown = facts.edges[-MOST_EDGES:]
    raw = [
        [clock(one.elapsed_s), temperature_or_unknown(one.fluid_c, unit), one.raw or "none"]
        for one in shown
    ]
    if len(shown) < len(facts.edges):
        earlier = f"{len(facts.edges) - len(shown)} earlier ones in the attached recording"
        raw.insert(0, ["…", "", earlier])
    yield {"name": _before(visit, facts).strip(), "link": list(link_rows(facts.link)), "raw": raw}


def link_rows(link: Mapping[str, Any]) -> Iterator[Row]:
    """Yield what the sidecar tells of the link."""
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
        if value is None or value is False or value == "" or key == "name":
            continue
        name = key.replace("_", " ")
        if value is True:
            parts.append(name)
        elif key in _HEXED and isinstance(value, int):
            parts.append(f"{name} 0x{value:X}")
        else:
            parts.append(f"{name} {value}")
    return ", ".join(parts)


def seal_lines(visit: "Visit", facts: Facts) -> Iterator[str]:
    """Yield who signed a recording, and what is not as this version works it out."""
    report, before = facts.report, _before(visit, facts)
    if report.signed_by:
        name = f" ({report.signed_name})" if report.signed_name else ""
        yield f"{before}Signed by key {report.signed_by}{name} on {report.signed_time}."
    else:
        yield f"{before}The recording is not signed."
    if report.events not in ("", "same"):
        yield (
            f"{before}The events in the recording are {report.events}. This page says what this "
            "version makes of the readings."
        )


def _before(visit: "Visit", facts: Facts) -> str:
    if len(visit.recordings) == 1:
        return ""
    return f"Recording {visit.recordings.index(facts) + 1}: "
