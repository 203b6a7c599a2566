"""Moments at which the battery itself says how much is in it: a full charge, an empty one."""
from dataclasses import dataclass

from monitor.battery import Battery
from monitor.chemistry import lead_acid, ratings


@dataclass(frozen=True, slots=True)
class Anchor:
    """A depth of discharge read off the battery's behaviour, one sigma."""

    kind: str
    depth_frac: float
    sigma_frac: float


#: Four lithium cells below these rest voltages are so deep, one sigma: between the single-particle model of the
#: Prada2013 set (10 % left at 11.9 V) and common tables (10 % at 12.5 V, 5 % at 12.2 V).
LITHIUM_KNEE = ((12.5, 0.91, 0.05), (12.2, 0.94, 0.04), (11.8, 0.96, 0.03), (11.0, 0.985, 0.02))


def full(battery: Battery, voltage_v: float, current_a: float, capacity_ah: float, held_s: float) -> Anchor | None:
    """A charge that tails off at a high voltage, or None.

    A battery that still takes current is not full: what is missing is the acceptance constant
    times the tail. That constant is 0.8 to 1.6 h at absorption voltage (Schiffer et al., J. Power
    Sources 168 (2007) 66, charging resistance 0.42 ohm Ah x 0.888 a cell), less overvoltage taking
    proportionally longer. current_a and voltage_v are means over the last ten minutes, held_s how
    long the voltage has been this high.
    """
    tail = current_a / capacity_ah
    if battery.lead_acid:
        over = voltage_v - 12.95
        if over < 0.5 or held_s < 1200 or not 0.0 < tail < 0.09:
            return None
        missing = 1.0 * tail * 1.4 / over
        if missing > 0.12:
            return None
        return Anchor("full", missing, 0.007 + 0.4 * missing + (0.01 if over < 1.0 and held_s < 7200 else 0.0))
    if voltage_v < 13.75 or held_s < 300 or not -0.01 < tail < 0.06:
        return None
    if voltage_v - 0.9 * max(tail, 0.0) < 13.72:
        return None
    return Anchor("full", 0.005 + 0.3 * max(tail, 0.0), 0.01 + 0.3 * max(tail, 0.0))


def empty(
    battery: Battery, voltage_v: float, rest_v: float, current_a: float, capacity_ah: float,
    temperature_c: float | None,
) -> Anchor | None:
    """The knee of a discharge at an ordinary load, or None.

    The rated capacity ends at 10.5 V (lead-acid, EN 50342-1), and a few per cent before it the
    voltage bends down. A higher rate or cold reaches the knee earlier, with charge left behind
    that is not lost: Peukert and the temperature factor say how much, by half of it the anchor is in doubt.
    Lithium leaves its plateau steeply; rest_v is the voltage freed of the load's step.
    """
    rate = -current_a / capacity_ah
    if not battery.lead_acid:
        if not 0.0 <= rate < 0.15 or rest_v > LITHIUM_KNEE[0][0]:
            return None
        depth, sigma = next((d, s) for v, d, s in reversed(LITHIUM_KNEE) if rest_v <= v)
        return Anchor("empty", depth, sigma)
    # Below 11 V even the smallest load, or none, has found it empty.
    if not -0.002 < rate < 0.15 or voltage_v > 11.3 or rate < 0.015 and voltage_v > 11.0:
        return None
    fallen = min((11.3 - voltage_v) / 0.8, 1.0)
    reach = ratings.reachable_frac(
        capacity_ah, battery.rated_hours, -current_a, lead_acid.KINDS[battery.chemistry].peukert)
    if temperature_c is not None:
        reach *= min(ratings.warmth_factor(temperature_c), 1.0)
    return Anchor("empty", (0.96 + 0.035 * fallen) * (1.0 + reach) / 2, 0.03 + (1.0 - reach) / 2)
