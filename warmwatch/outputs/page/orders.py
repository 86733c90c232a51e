"""What the pages ask for: marks, and orders about the visit. Read from strangers' bytes."""

import json
from dataclasses import dataclass
from typing import Any

from warmwatch.core.reading import MarkName

LONGEST_NOTE = 500
LONGEST_FIELD = 200
ORDERS = frozenset(
    {"vehicle", "new", "adapter", "look", "try", "start", "stop", "proof", "again", "next"}
)


@dataclass(frozen=True, slots=True)
class MarkSet:
    """A mark from a page; `browser` tells whose it is, where that is known."""

    name: MarkName
    note: str = ""
    browser: str | None = None


@dataclass(frozen=True, slots=True)
class Order:
    """An order about the visit: its name, texts and ticks by name, and the stage it was meant for.

    `seen` is the number of the visit as the page showed it, None when it does not matter.
    """

    name: str
    texts: dict[str, str]
    ticks: dict[str, bool]
    seen: int | None = None


def parse_mark(body: bytes, browser: str | None = None) -> MarkSet | None:
    """Return the mark of a request's body, None when it is none.

    >>> parse_mark(b'{"mark": "drip"}')
    MarkSet(name=<MarkName.DRIP: 'drip'>, note='', browser=None)
    """
    told = _object(body)
    if told is None or not isinstance(told.get("note", ""), str):
        return None
    name, note = told.get("mark"), told.get("note", "")
    if name not in [str(mark) for mark in MarkName]:
        return None
    clean = _clean(note, LONGEST_NOTE)
    if name == MarkName.NOTE and not clean:
        return None
    return MarkSet(MarkName(name), clean, browser)


def parse_order(body: bytes) -> Order | None:
    """Return the order of a request's body, None when it is none.

    >>> parse_order(b'{"do": "start", "n": 3}').seen
    3
    """
    told = _object(body)
    if told is None or told.get("do") not in ORDERS:
        return None
    others = {name: value for name, value in told.items() if name not in ("do", "n")}
    texts = {k: _clean(v, LONGEST_FIELD) for k, v in others.items() if isinstance(v, str)}
    ticks = {k: v for k, v in others.items() if isinstance(v, bool)}
    seen = told.get("n")
    if len(others) > 8 or len(texts) + len(ticks) != len(others):
        return None
    if seen is not None and (isinstance(seen, bool) or not isinstance(seen, int)):
        return None
    return Order(str(told["do"]), texts, ticks, seen)


def _object(body: bytes) -> dict[str, Any] | None:
    try:
        told = json.loads(body)
    except (ValueError, RecursionError):
        return None
    return told if isinstance(told, dict) and isinstance(_name(told), str) else None


def _name(told: dict[str, Any]) -> object:
    return told.get("do", told.get("mark"))


def _clean(text: str, longest: int) -> str:
    return "".join(char if char.isprintable() else " " for char in text)[:longest].strip()
