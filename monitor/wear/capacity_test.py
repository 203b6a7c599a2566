"""A capacity test: when it may begin, when it must stop, and what the battery gave at its rated rate and 25 °C.

The person switches; this only looks. Practice of IEEE 450 (vented lead-acid): from a full, rested battery at a
steady load to the end-of-discharge voltage, 1.75 V a cell, once.

Sources
-------
[1] IEEE 450: correction for temperature by the time-adjusted method (factors in monitor/battery/ratings.py).
[2] Peukert, Elektrotechnische Zeitschrift 18 (1897) 287: for the rate, and for nothing else. Charge that a high
    rate leaves behind is not lost (Doerffel and Sharkh, J. Power Sources 155 (2006) 395), so what counts is the
    mean current of the last two hours.
[3] IEC 60896-21 (from memory): 0.6 % a kelvin for discharges of more than three hours, 1 % for shorter ones.
"""
from dataclasses import dataclass, replace
from math import exp, hypot, log
from typing import Literal

from monitor.battery import lead_acid, ratings
from monitor.battery.label import CHEMISTRIES, Battery, CurrentSensor
from monitor.battery.limits import limits_of
from monitor.findings import Z95, Estimate
from monitor.parameters import table
from monitor.sample import Sample

#: Whether it is lead-acid -> voltage at which a test ends.
END_V = {True: limits_of("agm").discharge_end_v, False: limits_of("lfp").discharge_end_v}
P = table("wear", "capacity_test")
#: By lead-acid, as END_V.
LATEST_END_V, UNKNOWN_WARMTH = P.by_chemistry("latest_end_v"), P.by_chemistry("unknown_warmth")
HOLD_S, BRIDGE_S, RATE_S, IDLE_S = P.number("hold_s"), P.number("bridge_s"), P.number("rate_s"), P.number("idle_s")
SPOILED_FRAC, RESTART_FRAC, BEGUN_PER_H = P.number("spoiled_frac"), P.number("restart_frac"), P.number("begun_per_h")
#: A test colder or hotter than this is no test [°C]: the table of [1], and care for the battery.
COLDEST_C, HOTTEST_C = P.number("coldest_c"), min(limits_of(chemistry).hot_c for chemistry in CHEMISTRIES)
FULL_FRAC, BELOW_HOT_K, COLDEST_LEFT_C = P.number("full_frac"), P.number("below_hot_k"), P.number("stops_below_c")
LEAST_LOAD, MOST_LOAD, LEAST_DRAWN = P.number("least_load"), P.number("most_load"), P.number("least_drawn_frac")
LEFT_PER_V, LEFT_SIGMA_PER_V, END_SIGMA = P.number("left_per_v"), P.number("left_sigma_per_v"), P.number("end_sigma")
LITHIUM_LEFT, LITHIUM_LEFT_SIGMA = P.number("lithium_left"), P.sigma("lithium_left")
LEAST_SPAN, GAP_PART, LEAST_START_LN = P.number("least_span"), P.number("gap_part"), P.number("least_start_ln")
SLOW_AFTER_H, SEALED_SLOW_PER_K, SEALED_FAST_PER_K = (
    P.number("slow_after_h"), P.number("sealed_slow_per_k"), P.number("sealed_fast_per_k"))
LEAST_WARMTH_SIGMA, LEAST_RATE, TURNS = P.number("least_warmth_sigma"), P.number("least_rate"), P.count("turns")
_RATINGS = table("battery", "ratings")
PEUKERT_SIGMA, LITHIUM_PEUKERT = _RATINGS.number("peukert_sigma"), _RATINGS.number("lithium_peukert")
_WARMTH = table("battery", "lithium_warmth")
SLOW_PER_H, FAST_PER_H = _WARMTH.number("slow_per_h"), _WARMTH.number("fast_per_h")
SLOW_PER_K, FAST_PER_K = _WARMTH.number("slow_per_k"), _WARMTH.number("fast_per_k")

Phase = Literal["waiting", "running", "ended", "stopped", "spoiled"]


@dataclass(frozen=True, slots=True)
class CapacityTestRun:
    """A test so far. drawn_ah counts from start_s on; why says how it ended."""

    phase: Phase = "waiting"
    why: str = ""
    start_s: float = 0.0
    at_s: float | None = None
    drawn_ah: float = 0.0
    charged_ah: float = 0.0
    gap_s: float = 0.0
    current_a: float | None = None      # into the battery, as everywhere
    rate_a: float = 0.0                 # out of it, mean of about the last two hours
    voltage_v: float | None = None      # smoothed over a minute
    below_s: float = 0.0
    idle_s: float = 0.0
    warm_sum: float = 0.0
    warm_s: float = 0.0

    @property
    def hours(self) -> float:
        """How long it has run."""
        return 0.0 if self.at_s is None or self.phase == "waiting" else (self.at_s - self.start_s) / 3600

    @property
    def temperature_c(self) -> float | None:
        """The battery's mean temperature."""
        return self.warm_sum / self.warm_s if self.warm_s else None


@dataclass(frozen=True, slots=True)
class Result:
    """What the battery holds at its rated rate and 25 °C [Ah], and the factors that led there."""

    capacity_ah: Estimate
    reached_end: bool
    drawn_ah: float
    hours: float
    rate_a: float
    temperature_c: float | None
    rate_factor: float          # part of its capacity that can be had at this rate [2]
    temperature_factor: float   # and at this temperature [1]
    sigma_ln: float             # one sigma of its logarithm


def not_ready(charge_frac: Estimate | None, anchor: str, charging_stage: str, temperature_c: float | None) -> list[str]:
    """What is still in the way of beginning, each with what to do; empty when it may begin.

    charge_frac: charge left, 0 to 1; anchor: what the charge rests on; charging_stage: what the charger does;
    temperature_c: where the battery stands [°C].
    """
    found = []
    if charge_frac is None or anchor != "full" or charge_frac.value < FULL_FRAC:
        found.append("it is not known to be full: charge it until ampledger says that it is full, and some hours longer")
    if charging_stage in ("charging", "absorption", "float"):
        found.append("it is being charged: switch the charger off, cover the panel or open its fuse, keep the engine off")
    if temperature_c is not None and not COLDEST_C <= temperature_c <= HOTTEST_C - BELOW_HOT_K:
        found.append(f"it is at {temperature_c:.0f} °C: test it between {COLDEST_C:.0f} and {HOTTEST_C - BELOW_HOT_K:.0f} °C")
    return found


def load_a(battery: Battery) -> tuple[float, float]:
    """The load to switch on, from and to [A]: about the rated current, where nothing has to be corrected for rate."""
    rated = battery.rated_capacity_ah / battery.rated_hours
    return LEAST_LOAD * rated, MOST_LOAD * rated


def add(run: CapacityTestRun, sample: Sample, battery: Battery, sensor: CurrentSensor, stop_v: float,
        stop_frac: float | None = None) -> CapacityTestRun:
    """The test with one more reading.

    stop_v : end of the discharge [V]
    stop_frac : end it when so much of the label was drawn, None for at the voltage alone
    run: the test so far; sample: the reading; battery: its label; sensor: correction of the shunt.
    """
    if run.phase not in ("waiting", "running") or sample.house_current_a is None or sample.house_voltage_v is None:
        return run
    rated = battery.rated_capacity_ah
    current = sensor.corrected_a(sample.house_current_a)
    if run.at_s is None or run.current_a is None or run.voltage_v is None:
        return replace(run, at_s=sample.at_s, current_a=current, voltage_v=sample.house_voltage_v)
    span = sample.at_s - run.at_s
    if span <= 0:
        return run
    mean = (current + run.current_a) / 2
    if run.phase == "waiting":
        begun = current < -BEGUN_PER_H * rated
        return CapacityTestRun("running" if begun else "waiting", "", run.at_s, sample.at_s, current_a=current, rate_a=-current,
                   voltage_v=sample.house_voltage_v)
    gap = run.gap_s + (span if span > BRIDGE_S else 0.0)
    drawn = run.drawn_ah - mean * span / 3600        # a gap is bridged, and enters the doubt
    # what the shunt shows with everything off is no charge
    charged = run.charged_ah + (mean * span / 3600 if mean > BEGUN_PER_H * rated else 0.0)
    if charged > SPOILED_FRAC * rated:
        if drawn + charged < RESTART_FRAC * rated:
            return CapacityTestRun(at_s=sample.at_s, current_a=current, voltage_v=sample.house_voltage_v)
        return replace(run, phase="spoiled", at_s=sample.at_s, why=f"{charged:.1f} Ah came in while it ran; charge it full and begin again "
                       "with every charger off")
    keep = 1 - exp(-span / HOLD_S)
    volts = run.voltage_v + keep * (sample.house_voltage_v - run.voltage_v)
    below = run.below_s + span if volts < stop_v else 0.0
    warm, warm_s = run.warm_sum, run.warm_s
    if sample.house_temperature_c is not None:
        warm, warm_s = warm + sample.house_temperature_c * span, warm_s + span
    # the mean from the start at first, then one that forgets: never more of the past than the last two hours
    share = max(span / max(sample.at_s - run.start_s, span), 1 - exp(-span / RATE_S))
    now = CapacityTestRun(
        "running", "", run.start_s, sample.at_s, drawn, charged, gap, current, run.rate_a + share * (-mean - run.rate_a), volts,
        below, run.idle_s + span if mean > -BEGUN_PER_H * rated else 0.0, warm, warm_s)
    if below >= HOLD_S:
        return replace(now, phase="ended", why=f"it is at {volts:.2f} V: switch the loads off and charge it now")
    if sample.house_temperature_c is not None and not COLDEST_LEFT_C <= sample.house_temperature_c <= HOTTEST_C:
        return replace(now, phase="stopped", why=f"it is at {sample.house_temperature_c:.0f} °C: switch the loads off")
    if now.idle_s > IDLE_S:
        if drawn < RESTART_FRAC * rated:
            return CapacityTestRun(at_s=sample.at_s, current_a=current, voltage_v=sample.house_voltage_v)
        return replace(now, phase="stopped", why="the loads have been off for two hours")
    if stop_frac is not None and drawn >= stop_frac * rated:
        return replace(now, phase="stopped", why="as much was drawn as you wanted: switch the loads off and charge it")
    return now


def result(run: CapacityTestRun, battery: Battery, sensor: CurrentSensor, full_frac: Estimate, stop_v: float) -> Result:
    """What the test gave, so far or at its end; full_frac is how full it was at its beginning.

    run: the test so far; battery: its label; sensor: correction of the shunt; stop_v: voltage the test ended at [V]; full_frac:
    charge at its beginning, 0 to 1.

    Raises
    ------
    ValueError : nothing was drawn yet
    """
    if run.drawn_ah < LEAST_DRAWN * battery.rated_capacity_ah:
        raise ValueError("too little was drawn to say anything")
    lead = battery.lead_acid
    reached = run.phase == "ended" and stop_v <= LATEST_END_V[lead]
    # At the end voltage nothing is left by definition; a little earlier a little is (the knee of the charge tracker).
    above_v = stop_v - END_V[lead]
    left, left_sigma = (above_v * LEFT_PER_V, END_SIGMA + above_v * LEFT_SIGMA_PER_V) if lead else (LITHIUM_LEFT, LITHIUM_LEFT_SIGMA)
    if not reached:
        left, left_sigma = 0.0, END_SIGMA
    span = max(full_frac.value - left, LEAST_SPAN)
    warm, warm_sigma = _warmth(run.temperature_c, lead, run.hours, run.rate_a / battery.rated_capacity_ah)
    exponent = lead_acid.KINDS[battery.chemistry].peukert if lead else LITHIUM_PEUKERT
    capacity = run.drawn_ah / span / warm
    rate, hours = max(run.rate_a, LEAST_RATE), battery.rated_hours
    reach = 1.0
    for _ in range(TURNS):
        reach = ratings.reachable_frac(capacity, hours, rate, exponent)
        capacity = run.drawn_ah / span / warm / reach
    # rate over the rated one, logarithm: how far a wrong exponent carries
    distance = max(log(rate * hours / capacity), 0.0)
    doubt = hypot(
        sensor.gain_sigma_frac, sensor.offset_sigma_a * run.hours / run.drawn_ah, left_sigma / span, warm_sigma,
        PEUKERT_SIGMA * distance, GAP_PART * run.gap_s * run.rate_a / 3600 / run.drawn_ah)
    # How full it was is an interval with two ends that differ (none is fuller than full): each goes to its own end of the capacity.
    fuller = max(log(max(full_frac.high - left, LEAST_SPAN) / span), LEAST_START_LN)
    emptier = max(log(span / max(full_frac.low - left, LEAST_SPAN)), LEAST_START_LN)
    low, high = capacity * exp(-hypot(Z95 * doubt, fuller)), capacity * exp(hypot(Z95 * doubt, emptier))
    return Result(Estimate(capacity, low, high, "measured"), reached, run.drawn_ah, run.hours, run.rate_a, run.temperature_c, reach, warm,
                  hypot(doubt, max(fuller, emptier) / Z95))


def _warmth(temperature_c: float | None, lead: bool, hours: float, rate_per_h: float) -> tuple[float, float]:
    """Capacity at a temperature over that at 25 °C, and its doubt.

    Lead-acid: half way between [1] and [3], which differ in the cold. Lithium: next to nothing at a slow rate, for the cold
    takes voltage and not charge; at a fast one the end voltage comes earlier.
    """
    if temperature_c is None:
        return UNKNOWN_WARMTH[lead]
    if not lead:
        share = min(max(log(max(rate_per_h, LEAST_RATE) / SLOW_PER_H) / log(FAST_PER_H / SLOW_PER_H), 0.0), 1.0)
        factor = 1 - (SLOW_PER_K + share * (FAST_PER_K - SLOW_PER_K)) * max(lead_acid.REFERENCE_C - temperature_c, 0.0)
        return factor, (1 - factor) / 2
    vented = ratings.from_table(ratings.TESTING, temperature_c)
    sealed = ratings.warmth_factor(temperature_c, SEALED_SLOW_PER_K if hours > SLOW_AFTER_H else SEALED_FAST_PER_K)
    return (vented + sealed) / 2, max(abs(vented - sealed) / 2, LEAST_WARMTH_SIGMA)
