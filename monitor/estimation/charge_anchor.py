"""Moments at which a lead-acid battery itself says how much is in it: a full charge, an empty one."""
from dataclasses import dataclass
from math import exp, hypot

from monitor.battery import lead_acid, ratings
from monitor.battery.label import Battery


@dataclass(frozen=True, slots=True)
class Anchor:
    """A depth of discharge read off the battery's behaviour, and one sigma of what is new in each such reading.

    depth_by_tail is how much deeper it is for each unit of ln acceptance by which this battery is slower than most:
    that comes back with every full charge, and is believed as a quantity of its own.
    """

    kind: str
    depth_frac: float
    sigma_frac: float
    depth_by_tail: float = 0.0

    @property
    def total_frac(self) -> float:
        """One sigma while nothing is known of this battery's own acceptance."""
        return hypot(self.sigma_frac, TAIL_SIGMA_LN * self.depth_by_tail)


#: By how much the acceptance constant differs between batteries (ln, one sigma), and how it grows with each kelvin
#: below 25 °C: charge acceptance about halves down to freezing (common practice).
TAIL_SIGMA_LN, TAIL_PER_K = 0.40, 0.02


def full(
    voltage_v: float, current_a: float, capacity_ah: float, held_s: float, warmth_c: float = 20.0, slower_ln: float = 0.0,
    fallen_v: float = 0.0,
) -> Anchor | None:
    """A charge that tails off at a high voltage, or None.

    A battery that still takes current is not full: what is missing is the acceptance constant
    times the tail. That constant is 0.8 to 1.6 h at absorption voltage (Schiffer et al., J. Power
    Sources 168 (2007) 66, charging resistance 0.42 ohm Ah x 0.888 a cell), less overvoltage taking
    proportionally longer. current_a and voltage_v are means over the last ten minutes, held_s how
    long the voltage has been this high, slower_ln what is known of this battery's own acceptance,
    fallen_v how far the voltage has come down since: what a higher voltage left on the surface holds the current off,
    and so does a sun that goes, however much is missing.

    voltage_v: terminal voltage [V]; current_a: positive into the battery [A]; capacity_ah: what it is
    believed to hold [Ah]; held_s: how long the voltage has been this high [s]; warmth_c: battery temperature [°C]; slower_ln: ln of
    how much slower than usual this battery takes its last charge; fallen_v: how far the voltage has come down since its highest [V].
    """
    tail = current_a / capacity_ah
    over = voltage_v - 12.95
    if over < 0.5 or held_s < 1200 or not 0.0 < tail < 0.09:
        return None
    cold = min(max(25.0 - warmth_c, -10.0), 30.0)
    missing = tail * 1.4 / over * exp(slower_ln + TAIL_PER_K * cold)
    if missing > 0.12:
        return None
    own = 0.007 + 0.15 * missing + (0.01 if over < 1.0 and held_s < 7200 else 0.0) + 0.04 * max(fallen_v, 0.0)
    return Anchor("full", missing, own, missing)


def empty(battery: Battery, voltage_v: float, current_a: float, capacity_ah: float, temperature_c: float | None) -> Anchor | None:
    """The knee of a discharge at an ordinary load, or None.

    The rated capacity ends at 10.5 V (EN 50342-1), and a few per cent before it the
    voltage bends down. A higher rate or cold reaches the knee earlier, with charge left behind
    that is not lost: Peukert and the temperature factor say how much, by half of it the anchor is in doubt.

    battery: what its label says; voltage_v: terminal voltage [V]; current_a: positive into the battery [A]; capacity_ah: what it is
    believed to hold [Ah]; temperature_c: battery temperature [°C], None: not known.
    """
    rate = -current_a / capacity_ah
    # Below 11 V even the smallest load, or none, has found it empty.
    if not -0.002 < rate < 0.15 or voltage_v > 11.3 or rate < 0.015 and voltage_v > 11.0:
        return None
    fallen = min((11.3 - voltage_v) / 0.8, 1.0)
    reach = ratings.reachable_frac(
        capacity_ah, battery.rated_hours, -current_a, lead_acid.KINDS[battery.chemistry].peukert)
    if temperature_c is not None:
        reach *= min(ratings.warmth_factor(temperature_c), 1.0)
    return Anchor("empty", (0.96 + 0.035 * fallen) * (1.0 + reach) / 2, 0.03 + (1.0 - reach) / 2)
