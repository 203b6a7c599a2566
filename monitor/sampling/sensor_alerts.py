"""What is said when instruments are silent, absurd, hung or at odds: one condition for each battery."""
from typing import Literal

from monitor.findings import Condition

#: A silence shorter than this is counted, not told; and nobody is told of one that ends within the second.
PATIENCE_S, TOLD_AFTER_S = 60.0, 240.0
#: Silences that began within so long of each other, for the same reason, are one fault [s].
TOGETHER_S = 60.0
BATTERIES: tuple[Literal["house", "starter", "vehicle"], ...] = ("house", "starter", "vehicle")

_NAMES = {
    "house_voltage_v": "the house battery's voltage", "house_current_a": "the house battery's current",
    "starter_voltage_v": "the starter battery's voltage", "house_temperature_c": "the house battery's temperature",
    "starter_temperature_c": "the starter battery's temperature", "ambient_temperature_c": "the air's temperature",
    "solar_current_a": "the solar current", "solar_2_current_a": "the second solar current", "ignition_on": "the ignition",
}


def battery_of(quantity: str) -> Literal["house", "starter", "vehicle"]:
    """Which battery a quantity tells of; an instrument that has never answered tells of the vehicle."""
    if quantity.startswith("house_"):
        return "house"
    return "starter" if quantity.startswith("starter_") else "vehicle"


def conditions(silences: dict[str, tuple[str, float]], differ: dict[str, str]) -> tuple[Condition, ...]:
    """Conditions from quantity -> (reason, seconds it has lasted), and quantity -> the two values.

    What one instrument gave of several batteries falls silent together: that is one fault, told of the vehicle.
    """
    if not silences and not differ:
        return QUIET
    told_of = {q: _told_of(q, silences) for q in silences}
    found = []
    for battery in BATTERIES:
        lost = {q: (why, s) for q, (why, s) in silences.items() if told_of[q] == battery and s >= PATIENCE_S}
        names = ", ".join(_NAMES.get(q, f"anything by {q}") for q in sorted(lost))
        urgent = any(battery_of(q) != "vehicle" for q in lost)
        found.append(Condition(
            "sensor_lost", battery, active=bool(lost), priority="high" if urgent else "medium",
            seen=_headline(sorted(lost)) if lost else "", evidence=f"Not measured: {names}. {_reasons(lost)}" if lost else "",
            means="What rests on it is not followed meanwhile; its intervals grow, and the log shows a gap.",
            look_first="The instrument's plug, fuse and cable; then `ampledger check`.",
            clears_when="It clears when it has been measured again for a minute.", on_delay_s=TOLD_AFTER_S, off_delay_s=60.0))
        wrong = {q: words for q, words in differ.items() if battery_of(q) == battery}
        words = "; ".join(f"{_NAMES.get(q, q)}: {w}" for q, w in sorted(wrong.items()))
        found.append(Condition(
            "sensors_disagree", battery, active=bool(wrong), priority="medium",
            seen="Two instruments differ." if wrong else "", evidence=f"{words[:1].upper()}{words[1:]}." if wrong else "",
            means="One of them is wrong; the first in the configuration is used.", look_first="Compare both with a multimeter.",
            clears_when="It clears when they have agreed for five minutes.", off_delay_s=300.0))
    return tuple(found)


def _headline(lost: list[str]) -> str:
    """What is not measured, by its name where it is one quantity."""
    first = _NAMES.get(lost[0], lost[0])
    return f"Not measured: {first}." if len(lost) == 1 else f"Not measured: {first}, and {len(lost) - 1} more."


def _told_of(quantity: str, silences: dict[str, tuple[str, float]]) -> Literal["house", "starter", "vehicle"]:
    """The battery a silence is told of: the vehicle where another battery's fell silent with it, for the same reason."""
    why, lasted_s = silences[quantity]
    together = {battery_of(q) for q, (other, s) in silences.items() if other == why and abs(s - lasted_s) < TOGETHER_S}
    return battery_of(quantity) if len(together) == 1 else "vehicle"


def _reasons(lost: dict[str, tuple[str, float]]) -> str:
    """Each reason once, as sentences."""
    return " ".join(f"{why[:1].upper()}{why[1:]}." for why in sorted({why for why, _ in lost.values()}))


#: Everything is measured, and so there is nothing to say.
QUIET = tuple(Condition(kind, battery, False, off_delay_s=delay_s) for battery in BATTERIES
              for kind, delay_s in (("sensor_lost", 60.0), ("sensors_disagree", 300.0)))
