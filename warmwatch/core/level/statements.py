"""What the mechanic said beforehand about a check, until what the vehicle does takes it back."""

import re

NO_AXIS = "tilt"
KEPT_BEFORE = 20
_TILT = re.compile(r"[+-]?(\d*[.,]?\d+)\s*(?:°|deg\w*)?\s*(lengthwise|crosswise)?", re.I)


def measured_tilts(note: str, axis: str = NO_AXIS) -> dict[str, float]:
    """Return the tilts in degrees by axis from a note; a figure without an axis is of `axis`.

    Where figures with axes are told, others do not count; else the first one does.

    >>> measured_tilts("0.3 lengthwise, 1.4 crosswise")
    {'lengthwise': 0.3, 'crosswise': 1.4}
    """
    found = [(float(m[1].replace(",", ".")), (m[2] or "").lower()) for m in _TILT.finditer(note)]
    named = {name: deg for deg, name in found if name}
    return named or dict([(axis, found[0][0])] if found else [])


class Statement:
    """Something the mechanic said, until what the vehicle does takes it back."""

    def __init__(self, what: str, told: bool) -> None:
        self._what = what
        self._lapsed = ""
        self._earlier: list[tuple[bool, str]] = []
        self.told = told

    def tell(self) -> None:
        self._earlier = [*self._earlier, (self.told, self._lapsed)][-KEPT_BEFORE:]
        self.told, self._lapsed = True, ""

    def take_back(self) -> None:
        """Return to what was before it was told; what lapsed since stays so."""
        before = self._earlier.pop() if self._earlier else (False, "")
        if self.told:
            self.told, self._lapsed = before

    def lapse(self, cause: str) -> None:
        if self.told:
            self.told, self._lapsed = False, f"{cause}-since-{self._what}-told"
            self._earlier.clear()

    @property
    def code(self) -> str:
        """The code of how it stands."""
        return f"{self._what}-told" if self.told else self._lapsed or f"{self._what}-not-told"
