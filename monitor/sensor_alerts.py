"""What is said when instruments are silent, absurd, hung or at odds: one condition for each battery."""
from typing import Literal

from monitor.findings import Condition

#: A silence shorter than this is counted, not told; and nobody is told of one that ends within the second.
PATIENCE_S, TOLD_AFTER_S = 60.0, 240.0
BATTERIES: tuple[Literal["house", "starter", "vehicle"], ...] = ("house", "starter", "vehicle")

_NAMES = {
    "house_voltage_v": "the house battery's voltage", "house_current_a": "the house battery's current",
    "starter_voltage_v": "the starter battery's voltage", "house_temperature_c": "the house battery's temperature",
    "starter_temperature_c": "the starter battery's temperature", "ambient_temperature_c": "the air's temperature",
    "solar_current_a": "the solar current", "ignition_on": "the ignition",
}


def battery_of(quantity: str) -> Literal["house", "starter", "vehicle"]:
    """Which battery a quantity tells of; an instrument that has never answered tells of the vehicle."""
    if quantity.startswith("house_"):
        return "house"
    return "starter" if quantity.startswith("starter_") else "vehicle"


def conditions(silences: dict[str, tuple[str, float]], differ: dict[str, str]) -> tuple[Condition, ...]:
    """Conditions from quantity -> (reason, seconds it has lasted), and quantity -> the two values."""
    if not silences and not differ:
        return QUIET
    found = []
    for battery in BATTERIES:
        lost = {q: (why, s) for q, (why, s) in silences.items() if battery_of(q) == battery and s >= PATIENCE_S}
        names = ", ".join(_NAMES.get(q, f"anything by {q}") for q in sorted(lost))
        found.append(Condition(
            "sensor_lost", battery, active=bool(lost), priority="medium" if battery == "vehicle" else "high",
            seen=f"Not measured: {names}. {' '.join(f'{why[:1].upper()}{why[1:]}.' for why, _ in sorted(lost.values()))}" if lost else "",
            means="What rests on it is not followed meanwhile; its intervals grow, and the log shows a gap.",
            look_first="The instrument's plug, fuse and cable; then `ampledger check`.",
            clears_when="It has been measured again for a minute.", on_delay_s=TOLD_AFTER_S, off_delay_s=60.0))
        wrong = {q: words for q, words in differ.items() if battery_of(q) == battery}
        words = "; ".join(f"{_NAMES.get(q, q)}: {w}" for q, w in sorted(wrong.items()))
        found.append(Condition(
            "sensors_disagree", battery, active=bool(wrong), priority="medium", seen=f"Two instruments differ. {words[:1].upper()}{words[1:]}." if wrong else "",
            means="One of them is wrong; the first in the configuration is used.", look_first="Compare both with a multimeter.",
            clears_when="They have agreed for five minutes.", off_delay_s=300.0))
    return tuple(found)


#: Everything is measured, and so there is nothing to say.
QUIET = tuple(Condition(kind, battery, False, off_delay_s=delay_s) for battery in BATTERIES
              for kind, delay_s in (("sensor_lost", 60.0), ("sensors_disagree", 300.0)))
