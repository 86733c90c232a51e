"""What a proof tells beside the measurement: the sections `[shop]` and `[work]` of a job.

All of it is free text that somebody typed; nothing in the fold depends on it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

MOST_LETTERS = 2000


@dataclass(frozen=True, slots=True)
class Shop:
    """Who did the work."""

    name: str = ""
    address: str = ""
    mechanic: str = ""


@dataclass(frozen=True, slots=True)
class Work:
    """What was done to which vehicle; `parts` with their torques, one a line."""

    order: str = ""
    plate: str = ""
    odometer: str = ""
    fluid: str = ""
    parts: str = ""
    torques: str = ""
    next_check: str = ""


def section_to_mapping(section: Shop | Work) -> dict[str, str]:
    """Return what was filled in."""
    named = ((field.name, getattr(section, field.name)) for field in fields(section))
    return {name: text for name, text in named if text}


def shop_from_mapping(mapping: Mapping[str, Any]) -> Shop:
    """Return the `[shop]` section; ValueError names the key that is wrong."""
    return Shop(**_texts("shop", [field.name for field in fields(Shop)], mapping))


def work_from_mapping(mapping: Mapping[str, Any]) -> Work:
    """Return the `[work]` section; ValueError names the key that is wrong."""
    return Work(**_texts("work", [field.name for field in fields(Work)], mapping))


def _texts(section: str, known: list[str], mapping: Mapping[str, Any]) -> dict[str, str]:
    if unknown := mapping.keys() - set(known):
        names = ", ".join(known)
        raise ValueError(f"{min(unknown)}: there is no such key in {section}; known are {names}")
    return {key: _text(key, value) for key, value in mapping.items()}


def _text(key: str, value: Any) -> str:
    """Return a text, a number or a list of them (one a line) as text."""
    if isinstance(value, list | tuple):
        return "\n".join(_text(key, one) for one in value)[:MOST_LETTERS]
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError(f'{key}: a text in quotes is needed, not {value!r}, as {key} = "..."')
    return str(value).strip()[:MOST_LETTERS]
