"""The invented transmission and engine as four thermal masses, with their cooler and thermostat.

The fluid in the sump and the fluid in the torque converter are two masses, because heat is made in
the converter and the sensor sits in the sump. All numbers are invented and plausible. The specific
heat of the fluid follows c = (0.388 + 0.00045 t_F) / sqrt(d) Btu/(lb degF), NBS Miscellaneous
Publication 97 (1929).
"""

import math
from dataclasses import dataclass

from warmwatch.demo.thermal import AMBIENT, Mass, Network, Path, loss_w

SUMP, CONVERTER, CASE, COOLANT = range(4)

KJ_PER_KG_K = 4.1868
"""One Btu/(lb degF) in kJ/(kg K)."""


def fluid_mass(name: str, kilograms: float, density: float = 0.86, metal_j_k: float = 0.0) -> Mass:
    """Return `kilograms` of fluid of a relative density as a Mass, with some metal in it."""
    scale = kilograms * 1000.0 * KJ_PER_KG_K / math.sqrt(density)
    at_zero = 0.388 + 0.00045 * 32.0
    return Mass(name, scale * at_zero + metal_j_k, scale * 0.00045 * 1.8)


@dataclass(frozen=True, slots=True)
class Demand:
    """What the driver makes the vehicle do at one moment.

    `torque_nm` enters the transmission at engine speed, and `loss` is the fraction of that power
    that stays in it as heat. `heater` is cabin heating, 0 to 1. `pour_w_k` is the heat that new
    fluid, as warm as the air, takes from the sump while it is poured in.
    """

    engine_rpm: float
    torque_nm: float
    loss: float
    speed_kmh: float = 0.0
    in_park: bool = True
    load_pct: float = 22.0
    throttle_pct: float = 14.0
    heater: float = 0.0
    pour_w_k: float = 0.0


@dataclass(frozen=True, slots=True)
class Temperatures:
    """The four masses in degC, in the order of the indices above."""

    sump_c: float
    converter_c: float
    case_c: float
    coolant_c: float

    def as_tuple(self) -> tuple[float, float, float, float]:
        """Return them in index order."""
        return self.sump_c, self.converter_c, self.case_c, self.coolant_c


@dataclass(frozen=True, slots=True)
class Plant:
    """The invented numbers, in W/K, W and degC."""

    masses: tuple[Mass, Mass, Mass, Mass] = (
        fluid_mass("fluid in the sump", 4.6),
        fluid_mass("fluid in the converter", 2.9, metal_j_k=2800.0),
        Mass("case and gears", 27000.0),
        Mass("engine and coolant", 62000.0),
    )
    sump_case_w_k: float = 150.0
    cooler_w_k: float = 8.0
    cooler_flow_w_k: float = 0.011  # more for each 1/min of the pump
    case_air_w_k: float = 8.5
    case_wind_w_k: float = 0.22  # more for each km/h
    engine_air_w_k: float = 9.0
    engine_wind_w_k: float = 0.15
    heater_w_k: float = 38.0
    radiator_w_k: float = 420.0
    thermostat_opens_c: float = 92.0
    thermostat_full_c: float = 101.0

    def thermostat(self, coolant_c: float) -> float:
        """Return how far the thermostat is open, 0 to 1."""
        span_c = self.thermostat_full_c - self.thermostat_opens_c
        return min(1.0, max(0.0, (coolant_c - self.thermostat_opens_c) / span_c))

    def network(self, demand: Demand, coolant_c: float) -> Network:
        """Return the masses and paths as they stand at this moment."""
        pumped_w_k = 0.11 * demand.engine_rpm + 45.0  # the pump turns with the engine
        cooler_w_k = self.cooler_w_k + self.cooler_flow_w_k * demand.engine_rpm
        case_w_k = self.case_air_w_k + self.case_wind_w_k * demand.speed_kmh
        engine_w_k = (
            self.engine_air_w_k
            + self.engine_wind_w_k * demand.speed_kmh
            + self.heater_w_k * demand.heater
            + self.radiator_w_k * self.thermostat(coolant_c)
        )
        paths = (
            Path(CONVERTER, SUMP, pumped_w_k),
            Path(CONVERTER, COOLANT, cooler_w_k),
            Path(SUMP, CASE, self.sump_case_w_k),
            Path(CASE, AMBIENT, case_w_k),
            Path(COOLANT, AMBIENT, engine_w_k),
            *((Path(SUMP, AMBIENT, demand.pour_w_k),) if demand.pour_w_k else ()),
        )
        return Network(self.masses, paths)

    def heat_w(self, demand: Demand) -> tuple[float, float, float, float]:
        """Return the heat in W made in each mass."""
        engine_w = 3.0 * demand.engine_rpm + 0.45 * loss_w(demand.torque_nm, demand.engine_rpm)
        converter_w = loss_w(demand.torque_nm, demand.engine_rpm, demand.loss)
        return 0.0, converter_w, 0.0, engine_w

    def advance(
        self, temps: Temperatures, demand: Demand, ambient_c: float, seconds: float
    ) -> tuple[Temperatures, float, float]:
        """Return the temperatures after `seconds`, the heat in J made, and the heat in J lost."""
        heat_w = self.heat_w(demand)
        network = self.network(demand, temps.coolant_c)
        after_c, lost_j = network.advance(temps.as_tuple(), heat_w, ambient_c, seconds)
        return Temperatures(*after_c), sum(heat_w) * seconds, lost_j
