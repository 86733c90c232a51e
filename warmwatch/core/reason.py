"""Why something is so, as a code with figures; the words for it are made elsewhere.

The text form `code name=value name=value` is what recordings keep. A text that has another form,
such as a link's own words, is a reason, too: its code is the text as it stands.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Self

_NAME = re.compile(r"[a-z][a-z0-9_]*")
_CODE = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*")
_APART = "; "


@dataclass(frozen=True, slots=True)
class Reason:
    """A code and its figures; a figure's name ends with its unit, as in `silent_s`.

    >>> str(Reason("silent", {"silent_s": 5.0}))
    'silent silent_s=5'
    >>> Reason.parse("silent silent_s=5") == Reason("silent", {"silent_s": 5.0})
    True
    >>> Reason.parse("the cable was pulled").code
    'the cable was pulled'
    """

    code: str
    figures: Mapping[str, float] = field(default_factory=dict, hash=False)

    def __str__(self) -> str:
        figures = (f"{name}={_number(value)}" for name, value in self.figures.items())
        return " ".join([self.code, *figures])

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the reason that a text stands for; every text stands for one."""
        code, *parts = text.split(" ")
        figures = {}
        for part in parts:
            name, _, number = part.partition("=")
            try:
                value = float(number)
            except ValueError:
                return cls(text)
            if _NAME.fullmatch(name) is None or _number(value) != number:
                return cls(text)
            figures[name] = value
        return cls(code, figures) if _CODE.fullmatch(code) else cls(text)


def _number(value: float) -> str:
    return repr(float(value)).removesuffix(".0")


def reasons_text(reasons: Iterable[Reason]) -> str:
    """Return several reasons as one text."""
    return _APART.join(map(str, reasons))


def parse_reasons(text: str) -> tuple[Reason, ...]:
    """Return the reasons that `reasons_text` was given."""
    return tuple(Reason.parse(part) for part in text.split(_APART)) if text else ()
