"""A lithium battery whose own electronics have cut it off: neither full, nor empty, nor a lost sensor.

The charge path opens: a good charging current is gone from one reading to the next while the charger's voltage stays
or rises; or it was open before the charger came, whose voltage then stands there at once without any current. Whatever
else ends a charge takes the voltage down with it: sun, engine, a charger that has finished.
The discharge path opens: under a load the battery's voltage is gone at once, and the current with it.
"""
from typing import ClassVar, Literal

from monitor.battery.label import Battery, Vehicle
from monitor.battery.limits import limits_of
from monitor.detection.house.limit_texts import degrees
from monitor.findings import Condition, ProtectionFindings
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

Path = Literal["", "charge", "discharge"]

P = table("detection/house", "protection")
CHARGE_PER_H, TAIL_PER_H, TAIL_V = P.number("charge_per_h"), P.number("tail_per_h"), P.number("tail_v")
ZERO_PER_H, ZERO_A, TOP_ZERO_PER_H = P.number("zero_per_h"), P.number("zero_a"), P.number("top_zero_per_h")
STAYS_V, RISE_V, CHARGER_V = P.number("stays_v"), P.number("rise_v"), P.number("charger_v")
GONE_V, BACK_V = P.number("gone_v"), P.number("back_v")
STEADY_FRAC, KEPT, SURE_S = P.number("steady_frac"), P.count("kept"), P.number("sure_s")
SILENT_S = P.number("silent_s")
LARGE_PER_H, EMPTY_V, TOP_V = P.number("large_per_h"), P.number("empty_v"), P.number("top_v")
GONE_ZEROS, NEAR_LIMIT_K, FROST_C = P.number("gone_zeros"), P.number("near_limit_k"), P.number("frost_c")


@dataclass(frozen=True, slots=True)
class Protection:
    """Which path is open, or seems so, and what was measured before."""

    path: Path = ""
    suspect: Path = ""
    suspect_s: float = 0.0
    since_s: float = 0.0
    before_v: float = 0.0
    before_a: float = 0.0
    before_c: float | None = None
    least_v: float = 0.0                # what a charger without a current must go on showing
    idle: bool = False                  # nothing flows, as far as a shunt can tell
    nothing: bool = False               # ... and not even a charge's last trickle
    last: tuple[tuple[float, float, float], ...] = ()   # volts, lowest and highest amperes of the last three minutes
    end_s: float | None = None          # when the last of them ended
    sun_a: tuple[float, ...] = ()       # solar current of those minutes, empty where it is not measured

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"end_s", "sun_a"})


def begin() -> Protection:
    """Nothing cut off."""
    return Protection()


def without_voltage(minute: Minute) -> Minute:
    """The minute for whoever reads the battery from its voltage, while that is another's."""
    return replace(
        minute, house_voltage_v=None, house_voltage_low_v=None, house_voltage_high_v=None,
        samples=tuple(replace(sample, house_voltage_v=None) for sample in minute.samples))


def update(state: Protection, minute: Minute, vehicle: Vehicle) -> Protection:
    """Whether the battery's electronics have cut it off, after a minute; only lithium batteries have such electronics.

    state: what was kept after the minute before; vehicle: what its owner said of it; minute: what was measured.
    """
    house = vehicle.house
    if house.lead_acid:
        return state
    volts, low_a, high_a = minute.house_voltage_v, minute.house_current_low_a, minute.house_current_high_a
    silent = state.end_s is not None and minute.start_s - state.end_s > SILENT_S
    if low_a is None or high_a is None or silent:   # nothing can be said "at once" across a silence
        state = replace(state, suspect="", suspect_s=0.0, idle=False, nothing=False, last=(), end_s=minute.end_s)
    if low_a is None or high_a is None:
        return state
    offset_a = vehicle.current_sensor.offset_a
    low_a, high_a = low_a - offset_a, high_a - offset_a
    zero_a = ZERO_PER_H * house.rated_capacity_ah + ZERO_A
    idle = -zero_a <= low_a and high_a <= zero_a
    least_a = TOP_ZERO_PER_H * house.rated_capacity_ah + ZERO_A
    nothing = -least_a <= low_a and high_a <= least_a
    if nothing != state.nothing:
        state = replace(state, nothing=nothing)
    if state.path:
        state = _open(state, volts, high_a, zero_a)
    elif state.suspect:
        state = _suspect(state, minute, volts, high_a, idle, zero_a)
    elif idle and len(state.last) == KEPT:
        state = _begins(state, minute, volts, zero_a, house)
    if volts is None:
        return replace(state, idle=idle, end_s=minute.end_s, sun_a=())
    sun_a = () if minute.solar_current_a is None else (*state.sun_a[1 - KEPT:], minute.solar_current_a)
    return replace(state, idle=idle, end_s=minute.end_s, last=(*state.last[1 - KEPT:], (volts, low_a, high_a)), sun_a=sun_a)


def _sun_goes_on(state: Protection, minute: Minute, before_a: float) -> bool:
    """Whether the sun that charged goes on as before: then a load of that size has been switched on, and nothing is refused."""
    if len(state.sun_a) < KEPT or minute.solar_current_a is None or state.sun_a[1] < STEADY_FRAC * before_a:
        return False
    return state.sun_a[1] - minute.solar_current_a < before_a / 2


def _begins(state: Protection, minute: Minute, volts: float | None, zero_a: float, house: Battery) -> Protection:
    """Nothing flows: did it a minute or two ago, and has the voltage gone on as if it still did?"""
    (_, earlier_a, _), (before_v, before_a, drawn_a), (last_v, last_a, last_high_a) = state.last
    if last_a > 2 * zero_a:     # still charging a minute ago: its voltage is what has to stay
        before_v = max(before_v, last_v)
    suspect: Path = ""
    least = (TAIL_PER_H if before_v > TAIL_V else CHARGE_PER_H) * house.rated_capacity_ah
    if before_v > TAIL_V and before_a > zero_a and not state.nothing:
        return state
    steady = before_a > STEADY_FRAC * earlier_a     # a charge that tails off is on its way to nothing by itself
    # A switch leaves all of the current or none of it; what is between them a minute ago is a charge's own tail.
    fading = any(zero_a < a < STEADY_FRAC * before_a for a in (last_a, last_high_a))
    ended = volts is not None and steady and not fading and before_a > max(least, 2 * zero_a) and volts >= before_v - STAYS_V
    never = volts is not None and abs(before_a) <= zero_a and state.idle and volts > max(before_v + RISE_V, CHARGER_V)
    if ended and _sun_goes_on(state, minute, before_a):
        return state
    if ended or never:
        suspect = "charge"
    elif before_v > BACK_V and (volts < GONE_V if volts is not None else drawn_a < -GONE_ZEROS * zero_a):
        suspect = "discharge"
    if not suspect:
        return state
    least_v = CHARGER_V if suspect == "charge" and before_a <= zero_a else 0.0
    return replace(state, suspect=suspect, suspect_s=0.0, since_s=minute.start_s, before_v=before_v,
                   before_a=drawn_a if suspect == "discharge" else before_a, least_v=least_v,
                   before_c=minute.house_temperature_c)


def _suspect(state: Protection, minute: Minute, volts: float | None, high_a: float, idle: bool, zero_a: float) -> Protection:
    if state.suspect == "charge":
        stays = volts is not None and volts >= max(state.before_v - 2 * STAYS_V, CHARGER_V) and high_a <= zero_a
    else:
        stays = idle and (volts is None or volts < GONE_V)
    if not stays:
        return replace(state, suspect="", suspect_s=0.0, last=())
    if state.suspect == "charge" and state.before_v > TAIL_V and state.before_a > zero_a and not state.nothing:
        return replace(state, suspect="", suspect_s=0.0, last=())
    lasted = state.suspect_s + minute.duration_s
    return replace(state, suspect_s=lasted) if lasted < SURE_S else replace(state, path=state.suspect, suspect="", suspect_s=0.0)


def _open(state: Protection, volts: float | None, high_a: float, zero_a: float) -> Protection:
    closed = high_a > 2 * zero_a if state.path == "charge" else volts is not None and volts > BACK_V
    return Protection() if closed else state


def findings(state: Protection, vehicle: Vehicle) -> ProtectionFindings:
    """What is cut off, why it may be, and whether the voltage is still that of the battery."""
    return ProtectionFindings(
        state.path, state.since_s if state.path else None, _causes(state, vehicle.house) if state.path else (),
        voltage_trusted=not state.suspect and not (state.path and state.idle))


def _causes(state: Protection, house: Battery) -> tuple[str, ...]:
    """Candidates, the likeliest first."""
    limits, found = limits_of(house.chemistry), []
    warm_c, current_a = state.before_c, abs(state.before_a)
    if state.path == "charge":
        cold_c = (limits.cold_charge_c or 0.0) + (limits.cold_margin_k or 0.0)
        if warm_c is not None and warm_c < cold_c + NEAR_LIMIT_K:
            found.append(f"cold: the case is at {degrees(warm_c)}")
        if warm_c is not None and warm_c > limits.hot_c - NEAR_LIMIT_K:
            found.append(f"heat: the case is at {degrees(warm_c)}")
        if current_a > LARGE_PER_H * house.rated_capacity_ah:
            found.append(f"too much current: {current_a:.0f} A")
        if state.before_v > TOP_V or not found:
            found.append("one cell is fuller than the others and at its limit")
        return (*found, "cold inside, if no thermometer sits on it") if warm_c is None else tuple(found)
    if current_a > LARGE_PER_H * house.rated_capacity_ah:
        found.append(f"too much current: {current_a:.0f} A")
    if state.before_v < EMPTY_V:
        found.append("it was empty")
    else:
        found.append("one cell is emptier than the others")
    if warm_c is not None and warm_c < FROST_C:
        found.append(f"cold: the case is at {degrees(warm_c)}")
    return (*found, "a short circuit behind it")


def condition(state: Protection, vehicle: Vehicle) -> Condition:
    """The alert, active or not."""
    if not state.path:
        return Condition("protection_tripped", "house", False)
    causes = "; ".join(_causes(state, vehicle.house))
    if state.path == "charge":
        how = ("The charger's voltage is there, and no current flows into it" if state.least_v else
               f"Charging at {state.before_a:.0f} A stopped at once while the charger's voltage stayed")
        means = "The battery's own electronics refuse charge. It is not full."
        evidence = f"{how}. Possible causes: {causes}."
        limits = limits_of(vehicle.house.chemistry)
        look = (f"Cold or hot: wait until it is between {limits.slow_below_c or 0.0:.0f} and {degrees(limits.hot_c)}. Else let it rest an "
                "hour, then charge slowly. If it comes back, the cells are out of balance: a long, slow charge to the top, or a workshop.")
        seen = "House battery refuses charge."
    else:
        means = "The battery's own electronics have opened. That is neither an empty battery for certain nor a lost sensor."
        evidence = f"Its voltage and current were gone at once, from {state.before_v:.1f} V. Possible causes: {causes}."
        look = "Switch the loads off. Look for a short circuit before anything else; then a charger for lithium wakes it."
        seen = "House battery has switched itself off."
    return Condition("protection_tripped", "house", True, "high", seen, means, look,
                     "It clears when charge flows again." if state.path == "charge" else "It clears when its voltage is back.",
                     figures=(("before_v", state.before_v), ("before_a", state.before_a)), evidence=evidence)
