"""What is wired in this vehicle, as far as a picture needs it."""
from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Wiring:
    """What the owner says of the wiring in the configuration.

    shunt_side : "low" in the house battery's negative, "high" in its positive
    solar_charger_count : solar chargers; shore_charger, inverter : there is one
    """

    shunt_side: Literal["low", "high"] = "low"
    solar_charger_count: int = 1
    shore_charger: bool = False
    inverter: bool = False


@dataclass(frozen=True, slots=True)
class WiringPlan:
    """Everything that is drawn.

    join : what joins the batteries; join_known : whether that is known, or merely usual
    trigger : a wire that is live while the engine runs switches it
    solar_measured_count : solar chargers whose current is measured apart
    starter_sense, thermometer : the starter voltage and the battery's temperature are measured
    """

    join: Literal["relay", "dc_dc"] = "relay"
    join_known: bool = True
    trigger: bool = True
    shunt_side: Literal["low", "high"] = "low"
    solar_charger_count: int = 1
    solar_measured_count: int = 0
    shore_charger: bool = False
    inverter: bool = False
    starter_sense: bool = True
    thermometer: bool = True


def make_plan(wiring: Wiring, charging: str, isolator_follows: str, measured: Collection[str], found: str = "unknown") -> WiringPlan:
    """The plan of a vehicle.

    wiring : what the configuration says of it; charging, isolator_follows : of its [vehicle] table
    measured : names of the quantities that instruments give
    found : what the log shows the join to be, used where the configuration says nothing
    """
    build = charging if charging != "unknown" else found
    solar = sum(name in measured for name in ("solar_current_a", "solar_2_current_a"))
    return WiringPlan(
        join="dc_dc" if build == "dc_dc" else "relay", join_known=build != "unknown",
        trigger=build == "dc_dc" or isolator_follows != "voltage", shunt_side=wiring.shunt_side,
        solar_charger_count=max(wiring.solar_charger_count, solar), solar_measured_count=solar,
        shore_charger=wiring.shore_charger, inverter=wiring.inverter,
        starter_sense="starter_voltage_v" in measured, thermometer="house_temperature_c" in measured)
