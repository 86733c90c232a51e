"""The latest value of each quantity, with the time when it came."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from warmwatch.core.units import QUANTITIES

MOST_OTHERS = 200
"""Of values that are no quantities only so many are kept, the newest."""


@dataclass(frozen=True, slots=True)
class Timed:
    """A value and the elapsed time at which it came."""

    value: float
    at_s: float


class Latest:
    """Keeps the latest values of `names`, or of all.

    >>> latest = Latest()
    >>> latest.take(1.0, {"coolant_c": 80.0})
    >>> latest.value("coolant_c", 5.0, fresh_s=10.0), latest.value("coolant_c", 20.0, fresh_s=10.0)
    (80.0, None)
    """

    def __init__(self, names: Collection[str] | None = None) -> None:
        self._names = names
        self._values: dict[str, tuple[float, float]] = {}
        self._others: dict[str, None] = {}

    def take(self, elapsed_s: float, values: Mapping[str, float]) -> None:
        """Take the values of one reading."""
        for name in values if self._names is None else self._names:
            value = values.get(name)
            if value is not None:
                self._values[name] = (value, elapsed_s)
                if name not in QUANTITIES:
                    self._bound(name)

    def _bound(self, name: str) -> None:
        self._others.pop(name, None)
        self._others[name] = None
        if len(self._others) > MOST_OTHERS:
            oldest = next(iter(self._others))
            del self._others[oldest], self._values[oldest]

    def value(self, name: str, now_s: float, fresh_s: float) -> float | None:
        """Return a value that came at most `fresh_s` before `now_s`, else None."""
        seen = self._values.get(name)
        return None if seen is None or now_s - seen[1] > fresh_s else seen[0]

    def all(self) -> Mapping[str, Timed]:
        """Return all values as they stand; never changed afterwards."""
        return {name: Timed(*seen) for name, seen in self._values.items()}
