"""The invented vehicle put together: model, clock, control units and their bus."""

import threading
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from importlib.resources import files

from warmwatch.demo.ecu import VehicleBus, open_virtual
from warmwatch.demo.scenario import Scenario
from warmwatch.demo.simulation import State, Vehicle, VehicleClock
from warmwatch.demo.unit import engine_unit, transmission_unit
from warmwatch.signals import SignalTable
from warmwatch.signals.table import parse_signals


class UpsetKind(StrEnum):
    """What may go wrong on purpose: no answer, or a broken sensor."""

    SILENCE = "silence"
    MISREAD = "misread"


@dataclass(frozen=True, slots=True)
class Upset:
    """Something that goes wrong with the transmission unit, from `at_s` on, for `for_s` seconds."""

    kind: UpsetKind
    at_s: float
    for_s: float

    def holds(self, elapsed_s: float) -> bool:
        """Return whether it is going on."""
        return self.at_s <= elapsed_s < self.at_s + self.for_s


SENSOR_CODE = 0xFF
"""What the fluid's byte shows when the invented sensor fails: 215 degC."""


class Car:
    """Opens its own channel of python-can's in-process bus; `close` ends it."""

    def __init__(
        self,
        scenario: Scenario,
        pace: float,
        start_utc_s: float,
        upsets: Sequence[Upset] = (),
        most_ahead_s: float = 1.0,
    ) -> None:
        self.vehicle = Vehicle(scenario)
        self.gate = Gate(most_ahead_s)
        self.clock = VehicleClock(self.vehicle, pace, start_utc_s, before=self.gate.wait)
        self.channel = f"invented vehicle {uuid.uuid4().hex}"
        self.engine, self.transmission = engine_unit(), transmission_unit()
        self._upsets = tuple(upsets)
        self._bus: VehicleBus | None = None

    def start(self) -> None:
        """Let the units answer."""
        units = (self.engine, self.transmission)
        self._bus = open_virtual(self.channel, units, self._look)

    def close(self) -> None:
        """Switch everything off; may be called twice."""
        self.gate.open()
        if self._bus is not None:
            self._bus.close()

    def _look(self) -> State:
        state, faults = self.vehicle.state, self.transmission.faults
        now = {upset.kind for upset in self._upsets if upset.holds(state.elapsed_s)}
        faults.silent = UpsetKind.SILENCE in now
        faults.sensor_code = SENSOR_CODE if UpsetKind.MISREAD in now else None
        return state


class Gate:
    """Holds the vehicle back until its readings were taken, so that it is never far ahead.

    Without it a slow reader would find the clock gone on, and call that silence.
    """

    def __init__(self, most_ahead_s: float) -> None:
        self._most_ahead_s = most_ahead_s
        self._taken_s = 0.0
        self._is_open = False
        self._changed = threading.Condition()

    def taken(self, elapsed_s: float) -> None:
        """Note that all readings up to this moment were taken."""
        with self._changed:
            self._taken_s = max(self._taken_s, elapsed_s)
            self._changed.notify_all()

    def wait(self, elapsed_s: float) -> None:
        """Return when a vehicle at `elapsed_s` may go on."""
        with self._changed:
            self._changed.wait_for(
                lambda: self._is_open or elapsed_s - self._taken_s < self._most_ahead_s
            )

    def open(self) -> None:
        """Hold nothing back any more."""
        with self._changed:
            self._is_open = True
            self._changed.notify_all()


def invented_signals() -> SignalTable:
    """Return the signal file of the invented vehicle, which ships with the program."""
    path = files("warmwatch.demo").joinpath("invented.toml")
    return parse_signals(path.read_text(encoding="utf-8"), "invented.toml")
