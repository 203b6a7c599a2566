"""Moments at which a lead-acid battery itself says how much is in it: a full charge, an empty one."""
from math import exp, hypot

from monitor.battery import lead_acid, ratings
from monitor.battery.label import Battery
from monitor.parameters import table
from monitor.replacing import dataclass

USUAL_C = table("battery", "house_battery").number("usual_c")
P = table("estimation", "charge_anchor")
TAIL_SIGMA_LN, TAIL_PER_K = P.number("tail_sigma_ln"), P.number("tail_per_k")
TAKES_FROM_V, LEAST_OVER_V = P.number("takes_from_v"), P.number("least_over_v")
LEAST_HELD_S, MOST_TAIL_PER_H, WARMER_K = P.number("least_held_s"), P.number("most_tail_per_h"), P.number("warmer_k")
COLDER_K, ACCEPTANCE_H, MOST_MISSING = P.number("colder_k"), P.number("acceptance_h"), P.number("most_missing")
OWN_SIGMA, MISSING_SIGMA, SOON_SIGMA = P.number("own_sigma"), P.number("missing_sigma"), P.number("soon_sigma")
SOON_OVER_V, SOON_S, FALLEN_PER_V = P.number("soon_over_v"), P.number("soon_s"), P.number("fallen_per_v")
LEAST_LOAD_PER_H, MOST_LOAD_PER_H, KNEE_V = P.number("least_load_per_h"), P.number("most_load_per_h"), P.number("knee_v")
SMALL_LOAD_PER_H, SMALL_KNEE_V, KNEE_SPAN_V = P.number("small_load_per_h"), P.number("small_knee_v"), P.number("knee_span_v")
KNEE_DEPTH, END_DEPTH, KNEE_SIGMA = P.number("knee_depth"), P.number("end_depth"), P.number("knee_sigma")


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


def full(
    voltage_v: float, current_a: float, capacity_ah: float, held_s: float, warmth_c: float = USUAL_C, slower_ln: float = 0.0,
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
    over = voltage_v - TAKES_FROM_V
    if over < LEAST_OVER_V or held_s < LEAST_HELD_S or not 0.0 < tail < MOST_TAIL_PER_H:
        return None
    cold = min(max(lead_acid.REFERENCE_C - warmth_c, WARMER_K), COLDER_K)
    missing = tail * ACCEPTANCE_H / over * exp(slower_ln + TAIL_PER_K * cold)
    if missing > MOST_MISSING:
        return None
    soon = SOON_SIGMA if over < SOON_OVER_V and held_s < SOON_S else 0.0
    own = OWN_SIGMA + MISSING_SIGMA * missing + soon + FALLEN_PER_V * max(fallen_v, 0.0)
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
    if not LEAST_LOAD_PER_H < rate < MOST_LOAD_PER_H or voltage_v > KNEE_V or rate < SMALL_LOAD_PER_H and voltage_v > SMALL_KNEE_V:
        return None
    fallen = min((KNEE_V - voltage_v) / KNEE_SPAN_V, 1.0)
    reach = ratings.reachable_frac(
        capacity_ah, battery.rated_hours, -current_a, lead_acid.KINDS[battery.chemistry].peukert)
    if temperature_c is not None:
        reach *= min(ratings.warmth_factor(temperature_c), 1.0)
    return Anchor("empty", (KNEE_DEPTH + END_DEPTH * fallen) * (1.0 + reach) / 2, KNEE_SIGMA + (1.0 - reach) / 2)
