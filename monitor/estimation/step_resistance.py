"""Resistance seen in load steps, and how it grows as the battery empties."""
from math import sqrt

from monitor.battery import lead_acid
from monitor.battery.label import Battery
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.sample import Minute

P = table("estimation", "step_resistance")
BIN_S = P.number("bin_s")
USUAL_OHM_AH, LEAD_GROWTH, LITHIUM_GROWTH = P.number("usual_ohm_ah"), P.number("lead_growth"), P.number("lithium_growth")
BASE_SIGMA, GROWTH_SIGMA, LEAST_OHM = P.number("base_sigma"), P.number("growth_sigma"), P.number("least_ohm")
APART_S, STEP_PER_H, CHARGING_PER_H = P.number("apart_s"), P.number("step_per_h"), P.number("charging_per_h")
BELOW_V, MOST_OHM_AH, NOISE_V, NOISE_PART = P.number("below_v"), P.number("most_ohm_ah"), P.number("noise_v"), P.number("noise_part")
REFUSED_SIGMAS2, WALK, REFUSED_MOST = P.number("refused_sigmas2"), P.number("walk"), P.count("refused_most")
AGAIN_SIGMA = P.number("again_sigma")

Bins = list[tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Resistance:
    """Base resistance and its growth with depth: base + growth * x/(1-x), both learnt together.

    Warmer batteries conduct better; the values are as measured, not corrected for temperature.
    """

    base_ohm: float
    growth_ohm: float
    base_var: float
    cross_var: float
    growth_var: float
    steps: int = 0
    refused: int = 0            # in a row
    latest_ohm: float = 0.0     # mean of this minute's accepted steps, 0 if none
    last_voltage_v: float | None = None
    last_current_a: float | None = None
    last_at_s: float = 0.0


def begin(battery: Battery) -> Resistance:
    """Before any step: what batteries of this size have [Shepherd 1965; Ceraolo 2000; common practice]."""
    base = USUAL_OHM_AH / battery.rated_capacity_ah
    growth = (LEAD_GROWTH if battery.lead_acid else LITHIUM_GROWTH) * base
    return Resistance(base, growth, (BASE_SIGMA * base) ** 2, 0.0, (GROWTH_SIGMA * growth) ** 2)


def at(resistance: Resistance, depth_frac: float) -> float:
    """Resistance to a load step at this depth [ohm]."""
    return max(resistance.base_ohm, LEAST_OHM) + max(resistance.growth_ohm, 0.0) * lead_acid.resistance_shape(depth_frac)


def sigma_ohm(resistance: Resistance, depth_frac: float) -> float:
    """One standard deviation of at()."""
    shape = lead_acid.resistance_shape(depth_frac)
    variance = resistance.base_var + 2 * shape * resistance.cross_var + shape * shape * resistance.growth_var
    return sqrt(max(variance, 0.0))


def bins(minute: Minute) -> Bins:
    """The minute's samples averaged to about half a minute: (time, voltage, current)."""
    found: list[tuple[float, float, float]] = []
    n, volts, amps, start = 0, 0.0, 0.0, None
    samples = minute.samples
    if len(samples) == 1:   # what a log gives back
        voltage, current = samples[0].house_voltage_v, samples[0].house_current_a
        return [] if voltage is None or current is None else [(samples[0].at_s, voltage, current)]
    for sample in samples:
        voltage, current = sample.house_voltage_v, sample.house_current_a
        if voltage is None or current is None:
            continue
        if start is None:
            start = sample.at_s
        n += 1
        volts += voltage
        amps += current
        if sample.at_s - start >= BIN_S or n == 1 and len(samples) <= 2:
            found.append((sample.at_s, volts / n, amps / n))
            n, volts, amps, start = 0, 0.0, 0.0, None
    return found


def update(
    resistance: Resistance, halves: Bins, battery: Battery, depth_frac: float, settled: bool,
) -> Resistance:
    """Learn from the steps of one minute, discharge side only: charging has other resistances.

    settled says that the charge left on the surface by a charger has gone. Steps far from what is
    believed are refused; many in a row mean that the belief is wrong, and it is opened again.

    resistance: what is believed so far; halves: a minute's means over half a minute, see
    bins; battery: what its label says; depth_frac: charge missing
    from full over capacity, 0 to 1; settled: whether the surface charge of a charger has gone.
    """
    r, refused = resistance, resistance.refused
    rated = battery.rated_capacity_ah
    base, growth, pbb, pbg, pgg, steps = (
        r.base_ohm, r.growth_ohm, r.base_var, r.cross_var, r.growth_var, r.steps)
    last_v, last_a, last_at = r.last_voltage_v, r.last_current_a, r.last_at_s
    shape = lead_acid.resistance_shape(depth_frac)
    latest, accepted = 0.0, 0
    for at_s, voltage, current in halves:
        if settled and last_v is not None and last_a is not None and at_s - last_at < APART_S:
            change = current - last_a
            if abs(change) > STEP_PER_H * rated and max(current, last_a) < CHARGING_PER_H * rated and voltage < BELOW_V:
                seen = (voltage - last_v) / change
                if 0.0 < seen < MOST_OHM_AH / rated:
                    noise = NOISE_V / abs(change) + NOISE_PART * (base + growth * shape)
                    gb, gg = pbb + shape * pbg, pbg + shape * pgg
                    total = gb + shape * gg + noise * noise
                    miss = seen - base - growth * shape
                    if miss * miss < REFUSED_SIGMAS2 * total:
                        base += gb / total * miss
                        growth += gg / total * miss
                        pbb -= gb * gb / total
                        pbg -= gb * gg / total
                        pgg -= gg * gg / total
                        # resistance follows temperature and age: never sure for ever
                        pbb += (WALK * base) ** 2
                        pgg += (WALK * growth) ** 2
                        steps, refused, accepted, latest = steps + 1, 0, accepted + 1, latest + seen
                    else:
                        refused += 1
                        if refused > REFUSED_MOST:
                            pbb, pgg, refused = pbb + (AGAIN_SIGMA * base) ** 2, pgg + (AGAIN_SIGMA * growth) ** 2, 0
        last_v, last_a, last_at = voltage, current, at_s
    return Resistance(base, growth, pbb, pbg, pgg, steps, refused, latest / accepted if accepted else 0.0, last_v, last_a, last_at)
