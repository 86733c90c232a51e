"""What a search for the fluid's temperature is asked to do, read from the options."""

import re
from dataclasses import dataclass

from warmwatch.core.units import parse_temperature
from warmwatch.errors import UsageError

USUAL_RANGE = {0x22: "1000:12FF", 0x21: "00:FF"}
FASTEST_RATE = 10.0
_RANGE = re.compile(r"(?:0x)?([0-9A-F]{1,4}):(?:0x)?([0-9A-F]{1,4})", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Plan:
    """What to search: identifiers from `first` to `last`, the unit, and how long to watch.

    `air_c` is the air's temperature where the vehicle stood, if the user gives it.
    """

    first: int
    last: int
    target: int | None
    minutes: float
    rate: float
    air_c: float | None = None
    service: int = 0x22

    @classmethod
    def of(
        cls,
        text: str,
        unit_address: str | None,
        minutes: float,
        rate: float,
        air: str | None,
        service: int = 0x22,
    ) -> "Plan":
        """Return the plan that the options mean. Raises UsageError."""
        usual = USUAL_RANGE[service]
        match = _RANGE.fullmatch(text or usual)
        highest = int(match[2], 16) if match is not None else 0
        if match is None or int(match[1], 16) > highest:
            raise UsageError(
                f"--find-temperature {text}: write two hex numbers with a colon, such as "
                f"{usual}, the lower one first."
            )
        if service != 0x22 and highest > 0xFF:
            raise UsageError(f"--find-temperature {text}: service 21 has identifiers up to FF.")
        if not 0.0 < rate <= FASTEST_RATE:
            raise UsageError(f"--rate {rate:g}: above 0 and up to {FASTEST_RATE:g} a second.")
        if not 0.0 < minutes <= 180.0:
            raise UsageError(f"--minutes {minutes:g}: above 0 and up to 180.")
        try:
            target = None if unit_address is None else int(unit_address, 16)
        except ValueError:
            raise UsageError(f"--unit-address {unit_address} is not a hex number.") from None
        try:
            air_c = None if air is None else parse_temperature(air)
        except ValueError:
            raise UsageError(f"--air {air} is not a temperature: write 18 or 64F.") from None
        return cls(int(match[1], 16), highest, target, minutes, rate, air_c, service)

    @property
    def identifiers(self) -> range:
        return range(self.first, self.last + 1)
