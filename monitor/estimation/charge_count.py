"""Counts ampere-hours, and follows what use leaves behind: polarisation, surface charge. Of lithium only what is watched beside it."""
from math import exp, log
from typing import ClassVar

from monitor.battery import lead_acid
from monitor.battery.label import Battery, CurrentSensor
from monitor.estimation.step_resistance import CHARGING_PER_H
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute
from monitor.usage import usual_load
from monitor.usage.usual_load import UsualLoad

USUAL_C = table("battery", "house_battery").number("usual_c")
P = table("estimation", "charge_count")
MIDDLE_S, SLOW_S, TAIL_S = P.number("middle_s"), P.number("slow_s"), P.number("tail_s")
MIDDLE_OHM_AH, SLOW_OHM_AH, LEAST_LEFT = P.number("middle_ohm_ah"), P.number("slow_ohm_ah"), P.number("least_left")
SURFACE_S, STRIP_FRAC, DEEP_SURFACE_S = P.number("surface_s"), P.number("strip_frac"), P.number("deep_surface_s")
SURFACE_PART, SURFACE_FROM_V, SURFACE_MOST_V = P.number("surface_part"), P.number("surface_from_v"), P.number("surface_most_v")
SURFACE_RISES_S, CHARGING_V, GASSES_V = P.number("surface_rises_s"), P.number("charging_v"), P.number("gasses_v")
#: By lead-acid.
HIGH_V = P.by_chemistry("high_v")
BARE_V, UNSEEN_SURFACE_V, UNSEEN_SURFACE_S = P.number("bare_v"), P.number("unseen_surface_v"), P.number("unseen_surface_s")
SILENCE_S, BEFORE_S = P.number("silence_s"), P.number("before_s")
SLOW_SIGMA, SURFACE_SIGMA, LATE_V = P.number("slow_sigma"), P.number("surface_sigma"), P.number("late_v")
LATE_S, OWN_V = P.number("late_s"), P.number("own_v")
#: As long as the gap before within this part of it: see parameters.toml.
SELDOM_PART = table("estimation", "estimator").number("seldom_part")


@dataclass(frozen=True, slots=True)
class Count:
    """Charge since the filter last moved on, and the filtered currents behind every voltage."""

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"gap_ah", "unseen_surface_v", "last_gap_s", "unproved_h"})

    at_s: float | None = None
    hours: float = 0.0             # pending: not yet in the belief
    in_ah: float = 0.0
    out_ah: float = 0.0
    lost_ah: float = 0.0           # gassed or leaked away
    doubt_ah2: float = 0.0         # variance of what flowed in gaps
    current_a: float | None = None   # of the last minute, corrected for what is known of the shunt
    voltage_v: float | None = None
    middle_a: float = 0.0
    slow_a: float = 0.0
    surface_v: float = 0.0
    since_charge_s: float = 1e9
    drawn_ah: float = 1e9          # since the last charging
    temperature_c: float | None = None
    tail_v: float = 0.0            # means over ten minutes
    tail_a: float = 0.0
    high_s: float = 0.0            # for how long the voltage has been a charger's
    top_v: float = 0.0             # the highest of that time, forgotten as surface charge goes
    usual: UsualLoad = UsualLoad()
    gap_s: float = 0.0             # of the present gap
    gap_sigma_ah: float = 0.0
    before_a: float = 0.0          # mean of some minutes before it
    gap_ah: float = 0.0            # what was guessed of it so far
    last_gap_s: float = 0.0        # a gap that ended in the last minute
    unproved_h: float = 0.0        # of silence since a voltage last fitted
    unseen_surface_v: float = UNSEEN_SURFACE_V   # one sigma of surface charge left by a charger that nobody saw

    @property
    def warmth_c(self) -> float:
        """Battery temperature, the usual one where none was ever measured."""
        return USUAL_C if self.temperature_c is None else self.temperature_c


_TAKEN = (0.0, 0.0, 0.0, 0.0, 0.0)


def take_over(count: Count) -> Count:
    """The same with nothing pending: the belief has taken it over."""
    return replace(count, hours=0.0, in_ah=0.0, out_ah=0.0, lost_ah=0.0, doubt_ah2=0.0)


def update(count: Count, minute: Minute, battery: Battery, sensor: CurrentSensor, capacity_ah: float, pending: bool = True) -> Count:
    """The count with a minute: charge in and out, what a gap may have hidden, what gas and self-discharge took, and the filtered
    currents and surface charge that a voltage is freed of.

    count: the count so far; minute: the readings of a minute; battery: what its label says; sensor: the shunt, its zero and gain with
    their doubt; capacity_ah: what it is believed to hold [Ah]; pending: what was counted is kept until it is taken over.
    """
    c, lead, rated = count, battery.lead_acid, battery.rated_capacity_ah
    hours, gap_h = minute.covered_s / 3600.0, minute.gap_s / 3600.0
    seconds = minute.covered_s + minute.gap_s
    voltage, raw = minute.house_voltage_v, minute.house_current_a
    current = None if raw is None else sensor.corrected_a(raw)
    temperature = minute.house_temperature_c if minute.house_temperature_c is not None else c.temperature_c
    warmth = USUAL_C if temperature is None else temperature
    in_ah, out_ah = _correct(minute, sensor)
    doubt = c.doubt_ah2
    load = c.middle_a if current is None else current
    usual, gap_s, gap_sigma, gap_ah, unseen_surface = c.usual, c.gap_s, c.gap_sigma_ah, c.gap_ah, c.unseen_surface_v
    unproved_h = c.unproved_h
    if gap_h > 0:
        if current is None:
            change, sigma = usual_load.guess(usual, minute.gap_s, minute.hour, minute.end_s, gap_s, c.before_a, rated)
            load, sigma = change / gap_h, gap_sigma + sigma
        else:
            before = current if c.at_s is None else c.before_a
            whole_s = gap_s + minute.gap_s
            seldom = abs(whole_s - c.last_gap_s) < SELDOM_PART * whole_s
            charge, sigma = usual_load.bridge(
                usual, whole_s, minute.hour, minute.end_s - minute.covered_s, before, current, rated, seldom)
            unproved_h += 0.0 if seldom else whole_s / 3600.0
            change, sigma = charge - gap_ah, max(sigma, gap_sigma)
        in_ah, out_ah = in_ah + max(change, 0.0), out_ah + max(-change, 0.0)
        doubt += sigma**2 - gap_sigma**2 + (load * minute.gap_doubt_s / 3600.0) ** 2
        gap_s, gap_sigma, gap_ah = gap_s + minute.gap_s, sigma, gap_ah + change
    last_gap_s = gap_s if current is not None else 0.0
    if gap_s and current is not None:
        usual = usual_load.skip(usual, gap_s, minute.hour, minute.end_s)
        unseen_surface = max(unseen_surface, UNSEEN_SURFACE_V * (1 - exp(-gap_s / UNSEEN_SURFACE_S)) if gap_s > SILENCE_S else 0.0)
        gap_s = gap_sigma = gap_ah = 0.0
    before = c.before_a if current is None else c.before_a + (1 - exp(-seconds / BEFORE_S)) * (current - c.before_a)
    if current is not None and hours:
        usual = usual_load.learn(usual, current, minute.covered_s, minute.hour, minute.end_s)
    lost = _lost_ah(battery, capacity_ah, current, voltage, warmth, hours, hours + gap_h) if lead else 0.0
    since, drawn, surface = c.since_charge_s + seconds, c.drawn_ah + out_ah, c.surface_v
    unseen_surface *= exp(-minute.covered_s / SURFACE_S - minute.charge_out_ah / (STRIP_FRAC * rated))
    if lead:
        charging = (current is not None and current > CHARGING_PER_H * rated) or (voltage is not None and voltage > CHARGING_V)
        if charging and voltage is not None:
            aim = min(max(SURFACE_PART * (voltage - SURFACE_FROM_V), 0.0), SURFACE_MOST_V)
            surface += (1 - exp(-seconds / SURFACE_RISES_S)) * (aim - surface)
        else:
            surface *= exp(-seconds / SURFACE_S - out_ah / (STRIP_FRAC * rated))
        if charging:
            since = drawn = 0.0
    tail_v, tail_a, high_s, top_v = c.tail_v, c.tail_a, c.high_s, c.top_v
    if voltage is not None and current is not None:
        keep = 1 - exp(-seconds / TAIL_S)
        tail_v, tail_a = tail_v + keep * (voltage - tail_v), tail_a + keep * (current - tail_a)
        high_s = high_s + seconds if voltage > HIGH_V[lead] else 0.0
        top_v = max(voltage, voltage + (top_v - voltage) * exp(-seconds / DEEP_SURFACE_S))
    return Count(
        minute.end_s, *((c.hours + hours + gap_h, c.in_ah + in_ah, c.out_ah + out_ah, c.lost_ah + lost, doubt) if pending else _TAKEN),
        current, voltage,
        c.middle_a + (1 - exp(-seconds / MIDDLE_S)) * (load - c.middle_a),
        c.slow_a + (1 - exp(-seconds / SLOW_S)) * (load - c.slow_a),
        surface, since, drawn, temperature, tail_v, tail_a, high_s, top_v, usual, gap_s, gap_sigma,
        before, gap_ah, last_gap_s, unproved_h, unseen_surface)


def _correct(minute: Minute, sensor: CurrentSensor) -> tuple[float, float]:
    """Charge in and out after the known faults of the shunt [Ah]."""
    in_ah, out_ah = minute.charge_in_ah, minute.charge_out_ah
    shift = sensor.offset_a * minute.covered_s / 3600.0
    if in_ah >= out_ah:
        in_ah -= shift
    else:
        out_ah += shift
    if in_ah < 0:
        in_ah, out_ah = 0.0, out_ah - in_ah
    if out_ah < 0:
        in_ah, out_ah = in_ah - out_ah, 0.0
    return in_ah * sensor.gain, out_ah * sensor.gain


def _lost_ah(
    battery: Battery, capacity_ah: float, current_a: float | None, voltage_v: float | None, warmth_c: float,
    measured_h: float, hours: float,
) -> float:
    """Charge that left a lead-acid battery without passing the shunt, or passed it and made gas [Ah]."""
    kind = lead_acid.KINDS[battery.chemistry]
    lost = lead_acid.self_discharge_per_hour(kind, warmth_c) * capacity_ah * hours
    if current_a is not None and voltage_v is not None and current_a > 0 and voltage_v > GASSES_V:
        lost += min(lead_acid.gassing_a(capacity_ah, voltage_v, warmth_c, kind.gassing_scale), current_a) * measured_h
    return lost


def polarisation_v(count: Count, battery: Battery, depth_frac: float) -> tuple[float, float]:
    """Voltage that recent use still adds to a lead-acid battery's rest, without the step: (what it is, one sigma of its slow part).

    Forms: Ceraolo, IEEE Trans. Power Systems 15 (2000) 1184, slow resistance as -ln of the charge left.

    count: the count so far; battery: what its label says; depth_frac: charge missing from full over capacity, 0 to 1.
    """
    rated = battery.rated_capacity_ah
    left = min(max(1.0 - depth_frac, LEAST_LEFT), 1.0)
    slow = SLOW_OHM_AH * -log(left) / rated * count.slow_a
    return (
        MIDDLE_OHM_AH / rated * count.middle_a + slow + count.surface_v,
        SLOW_SIGMA * abs(slow) + SURFACE_SIGMA * count.surface_v + LATE_V * exp(-count.since_charge_s / LATE_S) + OWN_V,
    )
