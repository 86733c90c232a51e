"""The scales at which control units commonly send a temperature."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Scale:
    """value = number * factor + offset, in `unit` "C" or "F"; `prior`, 0 to 1: how usual it is."""

    length: int
    signed: bool
    factor: float
    offset: float
    unit: str = "C"
    prior: float = 1.0

    def __str__(self) -> str:
        kind = f"{'signed' if self.signed else 'unsigned'} {8 * self.length}-bit"
        offset = f" {self.offset:+g}" if self.offset else ""
        return f"{kind} x {self.factor:g}{offset} °{self.unit}"


# Scales in common use for temperatures (common practice, no source), but for A-40 of SAE J1979 and
# 1/32 with -273 of SAE J1939-71.
SCALES = (
    Scale(1, False, 1.0, -40.0),
    Scale(1, True, 1.0, 0.0),
    Scale(1, False, 0.5, -40.0, prior=0.9),
    Scale(1, False, 0.75, -48.0, prior=0.9),
    Scale(1, False, 1.0, -50.0, prior=0.9),
    Scale(1, False, 1.0, -40.0, "F", prior=0.8),
    Scale(1, False, 1.0, 0.0, "F", prior=0.8),
    *(Scale(2, True, factor, 0.0) for factor in (0.1, 1 / 16, 1 / 32)),
    *(Scale(2, True, factor, 0.0, prior=0.9) for factor in (1.0, 0.01, 1 / 64, 1 / 128)),
    *(Scale(2, False, factor, -40.0, prior=0.9) for factor in (0.1, 1 / 16, 1 / 32)),
    *(Scale(2, False, factor, -40.0, prior=0.8) for factor in (0.01, 1 / 64, 1 / 256)),
    Scale(2, False, 1 / 32, -273.0),
    *(Scale(2, True, factor, 0.0, "F", prior=0.8) for factor in (0.1, 1 / 16)),
)
