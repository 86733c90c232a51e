"""The technical part of the proof: doubts, link, signal, raw bytes, signatures."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from warmwatch.core.events import EventKind
from warmwatch.outputs.proof.facts import Facts
from warmwatch.words.catalogue import capital, clock, phrase
from warmwatch.words.events import event_text
from warmwatch.words.proof import key_name_text, temperature_or_unknown
from warmwatch.words.reasons import reason_text

if TYPE_CHECKING:
    from warmwatch.outputs.proof.visit import Visit

MOST_EDGES = 24
MOST_EVENTS = 12
_TOLD_EVENTS = (EventKind.BLIND, EventKind.SEEING, EventKind.DOUBTFUL, EventKind.NOT_FIT)
_SHOWN_ELSEWHERE = ("address", "invented", "signals")
_HEXED = ("service", "identifier", "target", "answer_id")
Row = list[str]


def place(visit: "Visit", facts: Facts) -> str:
    """Return which of several recordings it is, empty where there is one."""
    if len(visit.recordings) == 1:
        return ""
    return phrase("proof.recording-number", number=visit.recordings.index(facts) + 1)


def before(visit: "Visit", facts: Facts, text: str) -> str:
    """Return a text with the number of its recording before it, where there are several."""
    which = capital(place(visit, facts))
    return phrase("proof.before", recording=which, text=text) if which else text


def doubt_lines(visit: "Visit", facts: Facts) -> Iterator[str]:
    """Yield what was lost or not believed."""
    counts = phrase(
        "proof.counts", readings=facts.readings, doubtful=facts.doubtful, gaps=facts.gaps
    )
    yield before(visit, facts, counts)
    for at_s, reason in facts.clock_moves[:MOST_EVENTS]:
        why = capital(reason_text(reason, visit.job.unit))
        moved = phrase("proof.clock-moved", clock=clock(at_s), why=why)
        yield before(visit, facts, moved)
    told = [event for event in facts.trace.events if event.kind in _TOLD_EVENTS]
    for event in told[:MOST_EVENTS]:
        sentence = event_text(event, facts.job.band, visit.job.unit)
        text = phrase("proof.event", clock=clock(event.elapsed_s), event=sentence)
        yield before(visit, facts, text)
    if len(told) > MOST_EVENTS:
        yield phrase("proof.more-events", count=len(told) - MOST_EVENTS)


def read_parts(visit: "Visit", facts: Facts) -> Iterator[dict[str, Any]]:
    """Yield how a recording was read: its link, and the bytes at each entry and exit."""
    unit, none = visit.job.unit, phrase("proof.none")
    shown = facts.edges[-MOST_EDGES:]
    raw = [
        [clock(one.elapsed_s), temperature_or_unknown(one.fluid_c, unit), one.raw or none]
        for one in shown
    ]
    if len(shown) < len(facts.edges):
        earlier = phrase("proof.earlier-edges", count=len(facts.edges) - len(shown))
        raw.insert(0, ["…", "", earlier])
    name = before(visit, facts, "").strip()
    yield {"name": name, "link": list(link_rows(facts.link)), "raw": raw}


def link_rows(link: Mapping[str, Any]) -> Iterator[Row]:
    """Yield what the sidecar tells of the link."""
    if link.get("address"):
        yield [phrase("proof.link"), str(link["address"])]
    for key, value in link.items():
        if key in _SHOWN_ELSEWHERE or value is None or isinstance(value, dict | list):
            continue
        yield [key.replace("_", " "), str(value)]
    signals = link.get("signals")
    for signal in signals if isinstance(signals, list) else ():
        if isinstance(signal, dict) and signal.get("name") == "fluid_c":
            yield [phrase("proof.read-as"), signal_text(signal)]


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
    report = facts.report
    signed = phrase("proof.not-signed")
    if report.signed_by:
        name = key_name_text(report.signed_name)
        signed = phrase("proof.signed", key=report.signed_by, name=name, time=report.signed_time)
    yield before(visit, facts, signed)
    if report.events not in ("", "same"):
        yield before(visit, facts, phrase("proof.events-differ", events=report.events))
