"""One identifier to ask for, the signals in its record, and what was learnt about it."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from warmwatch.links.asking.survey import Offer
from warmwatch.links.asking.units import Unit
from warmwatch.signals import Signal, standard_table

FLUID = "fluid_c"
SLOW = frozenset({"coolant_c", "ambient_c", "voltage_v", "run_time_s", "engine_oil_c", "intake_c"})
"""Quantities that change slowly and are asked for less often."""

TELL_AGAIN_S = 60.0

_STANDARD = SLOW - {"intake_c"} | {"engine_rpm", "speed_kmh", "load_pct", "throttle_pct"}


@dataclass(slots=True)
class Question:
    """`unit` is None until it is known who answers; then everybody is asked.

    `answered_s` is when it was answered last, None before the first time; `silent` and `refused`
    count since then.
    """

    signals: tuple[Signal, ...]
    unit: Unit | None
    answered_s: float | None = None
    silent: int = 0
    refused: int = 0
    retry_s: float = 0.0
    stopped: bool = False
    told_s: dict[str, float] = field(default_factory=dict)

    @property
    def service(self) -> int:
        return self.signals[0].service

    @property
    def identifier(self) -> int:
        return self.signals[0].identifier

    @property
    def is_fluid(self) -> bool:
        return any(signal.name == FLUID for signal in self.signals)

    @property
    def extended(self) -> bool:
        """True when its unit answers in the extended session only."""
        return any(signal.session for signal in self.signals)

    def gives(self, name: str) -> bool:
        """True when one of its signals is the quantity `name`."""
        return any(signal.name == name for signal in self.signals)

    @property
    def named(self) -> bool:
        """True when the signal file says which unit to ask."""
        return self.signals[0].target is not None

    @property
    def slow(self) -> bool:
        return all(signal.name in SLOW for signal in self.signals)

    @property
    def record_length(self) -> int | None:
        return next((s.record_length for s in self.signals if s.record_length is not None), None)

    @property
    def words(self) -> str:
        """What is asked, for people: `fluid_c (22 1234)`."""
        names = ", ".join(signal.name for signal in self.signals)
        return f"{names} ({self.signals[0].ask})"

    def may_tell(self, text: str, now_s: float) -> bool:
        """True when `text` is new, or was told long ago and the question was answered since."""
        told_s = self.told_s.get(text)
        since = told_s is not None and self.answered_s is not None and self.answered_s > told_s
        if told_s is not None and not (since and now_s - told_s >= TELL_AGAIN_S):
            return False
        self.told_s[text] = now_s
        return True


def questions(
    signals: Iterable[Signal],
    offers: Mapping[Unit, Offer],
    unit_at: Callable[[int, int | None], Unit],
    everybody: Unit | None = None,
) -> list[Question]:
    """Return what to ask, the fluid first: the user's signals and the standard ones on offer.

    A standard quantity that the user's own signals give is not asked again. Of several units that
    offer the same, the one with the lowest identifier is asked.
    """
    grouped: dict[tuple[int, int, Unit | None], list[Signal]] = {}
    own = set()
    for signal in signals:
        own.add(signal.name)
        at = everybody if signal.target is None else unit_at(signal.target, signal.answer_id)
        grouped.setdefault((signal.service, signal.identifier, at), []).append(signal)
    for signal, unit in _offered(offers):
        if signal.name not in own:
            grouped.setdefault((signal.service, signal.identifier, unit), []).append(signal)
    asked = [Question(tuple(group), unit) for (_, _, unit), group in grouped.items()]
    return sorted(asked, key=lambda question: not question.is_fluid)


def _offered(offers: Mapping[Unit, Offer]) -> Iterable[tuple[Signal, Unit]]:
    for signal in standard_table():
        if signal.name not in _STANDARD:
            continue
        for unit, offer in sorted(offers.items(), key=lambda pair: pair[0]):
            if signal.identifier in offer.pids:
                identifier = offer.identifier(signal.identifier)
                yield replace(signal, service=offer.service, identifier=identifier), unit
                break
