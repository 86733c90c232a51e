"""Which options an interface of python-can uses: it takes any name and drops the unknown ones.

A mistyped `bitrat=500000` would open the bus at another speed without a word.
"""

import inspect
from collections.abc import Collection, Iterator, Mapping
from difflib import get_close_matches
from types import CodeType
from typing import Any

from warmwatch.errors import UsageError

# What python-can's own configuration takes for every interface, heeded by it or not.
COMMON = frozenset({"interface", "bitrate", "data_bitrate", "fd", "receive_own_messages"})
_NOT_FROM_TEXT = frozenset({"self", "channel", "args", "kwargs", "config", "can_filters", "timing"})


def check_names(interface: str, given: Collection[str], own: Collection[str]) -> None:
    """Raise UsageError for a name in `given` that nothing uses; `own` are the link's options.

    An interface that cannot be loaded is left to the opening, which says why.
    """
    heeded = _heeded(interface)
    if heeded is None:
        return
    known = sorted((heeded.named | COMMON | set(own)) - _NOT_FROM_TEXT)
    for name in given:
        if name in known or name in heeded.looked_up:
            continue
        close = get_close_matches(name, known, n=1)
        hint = f": did you mean {close[0]}?" if close else f"; it has {', '.join(known)}."
        raise UsageError(f"interface={interface} has no option {name!r}{hint}")


def takes(interface: str, name: str) -> bool:
    """True when the interface has an option of this name."""
    heeded = _heeded(interface)
    return heeded is not None and name in heeded.named


class _Heeded:
    """`named` are parameters; `looked_up` any text that the code that opens knows, so also keys."""

    def __init__(self, bus_class: type[Any]) -> None:
        from can.typechecking import BitTimingDict, BitTimingFdDict

        self.named: set[str] = set()
        # All of one of these together make the `timing` of any interface.
        self.looked_up = {*BitTimingDict.__annotations__, *BitTimingFdDict.__annotations__}
        for each in bus_class.__mro__:
            opening = each.__dict__.get("__init__")
            if not opening:
                continue
            opening = inspect.unwrap(opening)
            code = getattr(opening, "__code__", None)
            if isinstance(code, CodeType):
                self.named.update(code.co_varnames[: code.co_argcount + code.co_kwonlyargcount])
                self.looked_up.update(_texts(code, opening.__globals__))


def _heeded(interface: str) -> _Heeded | None:
    from warmwatch.links.python_can import can

    try:
        return _Heeded(can.interface._get_class_for_interface(interface))
    except Exception:  # a driver that is missing may fail in any way
        return None


def _texts(code: CodeType, around: Mapping[str, object]) -> Iterator[str]:
    """Yield the texts in `code` and in the lists and tuples that it refers to."""
    lists = (around.get(name) for name in code.co_names)
    for known in (*code.co_consts, *lists):
        if isinstance(known, str):
            yield known
        elif isinstance(known, CodeType):
            yield from _texts(known, around)
        elif isinstance(known, tuple | list):
            yield from (text for text in known if isinstance(text, str))
