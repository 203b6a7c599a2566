"""Capacity without the charge filter: charge drawn between two moments at which the battery itself spoke.

Lead-acid speaks through its resting voltage, and that counts acid, which stays when plates are lost: what comes
out is acid capacity, kept apart from the charge that can be used (Bode 1977; Berndt 1997, from memory). Lithium
iron phosphate is silent on its plateau and speaks when it is full and where it leaves the plateau downwards.
"""
from math import exp, hypot, sqrt

from monitor.battery import charge_loss, lead_acid
from monitor.battery.label import Battery, Vehicle
from monitor.findings import Z95, Answer, ChargeFindings, Estimate, NotYet
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute
from monitor.wear.total_least_squares import Swing, capacity

P = table("wear", "swings")
READING_S = P.number("reading_s")
SETTLED_S = P.number("settled_s")
STRIPPED_FRAC = P.number("stripped_frac")
REST_FRAC = P.number("rest_frac")
KNEE_V, SURFACE_V = P.number("knee_v"), P.number("surface_v")
READING_V, DROP_FRAC = P.number("reading_v"), P.number("drop_frac")
SLOW_TIMES = P.number("slow_times")
USUAL_OHM = P.number("usual_ohm")
LEAST_DEPTH_FRAC, KEPT, FORGOTTEN_PER_WEEK = P.number("least_depth_frac"), P.count("kept"), P.number("forgotten_per_week")
KNEE_DEPTHS, MOST_KNEE_LOAD = P.numbers("knee_depths"), P.number("most_knee_load_per_h")
KNEE_FRAC, KNEE_SIGMA = P.number("knee_frac"), P.number("knee_sigma")
UNKNOWN_OFFSET_A = P.number("unknown_offset_a")
MOST_RETURN_FRAC = P.by_chemistry("most_return_frac")
GAP_MOST_S, CHARGING_PER_H = P.number("gap_most_s"), P.number("charging_per_h")
COUNT_SIGMA, COUNT_SIGMA_AH = P.number("count_sigma"), P.number("count_sigma_ah")
WEEK_S, BOUND_HOLDS_S = 7 * 86400.0, 60 * 86400.0


@dataclass(frozen=True, slots=True)
class OpenSwing:
    """The swing under way: from its first word of the battery to the latest."""

    drawn_ah: float | None = None           # since the last full charge (lithium: or knee), None: none seen
    from_depth_frac: float = 0.0            # how deep it was then
    returned_ah: float = 0.0                # of it, what came back in between
    hours: float = 0.0
    first_depth_frac: float | None = None   # of the label, at the first reading
    first_rest_v: float = 0.0
    first_sigma_v: float = 0.0
    first_ah: float = 0.0
    first_hours: float = 0.0
    best: Swing | None = None
    rest_v: float = 0.0                     # sums over the reading being taken
    drop_v: float = 0.0
    rest_s: float = 0.0
    charged_s: float = 0.0                  # since the last charging
    settled_ah: float = 0.0                 # drawn since then


@dataclass(frozen=True, slots=True)
class SwingsState:
    """The swings so far, the one under way, and the most that was ever drawn."""

    swings: tuple[Swing, ...] = ()
    open: OpenSwing = OpenSwing()
    most_ah: float = 0.0        # drawn from full without finding it empty, within the last weeks
    most_at_s: float = 0.0
    found: tuple[float, float] | None = None     # capacity and sigma of the swings [Ah]


def begin() -> SwingsState:
    """Nothing seen yet."""
    return SwingsState()


def update(state: SwingsState, minute: Minute, vehicle: Vehicle, charge: ChargeFindings) -> SwingsState:
    """One minute further.

    state: what was kept after the minute before; vehicle: what its owner said of it; charge: what is known of the charge; minute:
    what was measured.
    """
    battery, now = vehicle.house, state.open
    if minute.gap_s > GAP_MOST_S or charge.anchor_age_s is None:
        return _close_swing(state, minute.end_s, OpenSwing())
    sensor = vehicle.current_sensor
    offset = charge.current_offset_a.value if isinstance(charge.current_offset_a, Estimate) else sensor.offset_a
    hours = minute.covered_s / 3600.0
    kept = 1.0 - charge_loss.FRAC[battery.chemistry]
    net_ah = (minute.charge_out_ah - kept * minute.charge_in_ah + offset * hours) * sensor.gain
    known = charge.charge_frac
    anchored = charge.anchor if charge.anchor_age_s == 0.0 and isinstance(known, Estimate) else ""
    if anchored == "full" and isinstance(known, Estimate):
        depth = 1.0 - known.value
        return _close_swing(state, minute.end_s, OpenSwing(0.0, depth), None if battery.lead_acid else _between(
            now, minute.end_s, depth, battery, charge))
    knee = _knee(minute, battery, charge) if anchored and not battery.lead_acid else None
    if knee is not None:
        return _close_swing(state, minute.end_s, OpenSwing(0.0, knee), _between(now, minute.end_s, knee, battery, charge))
    if now.drawn_ah is None:
        return state
    charging = minute.charge_in_ah > minute.charge_out_ah + CHARGING_PER_H * battery.rated_capacity_ah * hours
    drawn_ah = now.drawn_ah + net_ah
    now = replace(
        now, drawn_ah=drawn_ah, hours=now.hours + hours,
        returned_ah=now.returned_ah + (minute.charge_in_ah if charging else 0.0),
        charged_s=0.0 if charging else now.charged_s + minute.duration_s,
        settled_ah=0.0 if charging else now.settled_ah + net_ah)
    if now.returned_ah > MOST_RETURN_FRAC[battery.lead_acid] * battery.rated_capacity_ah:
        return _close_swing(state, minute.end_s, OpenSwing())
    stale = minute.end_s - state.most_at_s > BOUND_HOLDS_S
    if now.from_depth_frac < 0.5 and anchored != "empty" and (drawn_ah > state.most_ah or stale):
        sure_ah = drawn_ah - Z95 * _charge_sigma_ah(battery, now.hours, now.returned_ah, drawn_ah, charge)
        if sure_ah > state.most_ah or stale:
            state = replace(state, most_ah=max(sure_ah, 0.0), most_at_s=minute.end_s)
    return replace(state, open=_read(now, minute, battery, charge) if battery.lead_acid else now)


def _read(now: OpenSwing, minute: Minute, battery: Battery, charge: ChargeFindings) -> OpenSwing:
    """Lead-acid: the swing with this minute's word of the resting voltage, if it was one."""
    rated, voltage, current = battery.rated_capacity_ah, minute.house_voltage_v, minute.house_current_a
    settled = now.charged_s > SETTLED_S and now.settled_ah > STRIPPED_FRAC * rated
    if voltage is None or current is None or not settled or current < -REST_FRAC * rated or not KNEE_V < voltage < SURFACE_V:
        return replace(now, rest_v=0.0, drop_v=0.0, rest_s=0.0)
    ohm = charge.resistance_ohm.value if isinstance(charge.resistance_ohm, Estimate) else USUAL_OHM * 100.0 / rated
    drop_v = SLOW_TIMES * ohm * -current
    warmth_v = 0.0 if minute.house_temperature_c is None else lead_acid.warmth_v(minute.house_temperature_c)
    now = replace(now, rest_v=now.rest_v + (voltage + drop_v - warmth_v) * minute.covered_s,
                  drop_v=now.drop_v + drop_v * minute.covered_s, rest_s=now.rest_s + minute.covered_s)
    if now.rest_s < READING_S:
        return now
    rest_v, sigma_v = now.rest_v / now.rest_s, hypot(READING_V, DROP_FRAC * now.drop_v / now.rest_s)
    now = replace(now, rest_v=0.0, drop_v=0.0, rest_s=0.0)
    drawn_ah = now.drawn_ah or 0.0
    if now.first_depth_frac is None:
        return replace(now, first_depth_frac=drawn_ah / rated, first_rest_v=rest_v, first_sigma_v=sigma_v,
                       first_ah=drawn_ah, first_hours=now.hours)
    # Both readings through the type's curve: its level cancels, its slope does not.
    span_v = lead_acid.KINDS[battery.chemistry].span_v
    fallen = lead_acid.fall_frac(now.first_depth_frac) + (now.first_rest_v - rest_v) / span_v
    depth = lead_acid.depth_of_fall(fallen) - now.first_depth_frac
    if depth < LEAST_DEPTH_FRAC or now.best is not None and depth <= now.best.depth_frac:
        return now
    hours = now.hours - now.first_hours
    return replace(now, best=Swing(
        minute.end_s, depth, hypot(sigma_v, now.first_sigma_v) / span_v, drawn_ah - now.first_ah,
        _charge_sigma_ah(battery, hours, now.returned_ah, drawn_ah, charge)))


def _knee(minute: Minute, battery: Battery, charge: ChargeFindings) -> float | None:
    """Lithium: the depth that its voltage alone tells where it leaves the plateau, None elsewhere."""
    voltage, current = minute.house_voltage_v, minute.house_current_a
    if voltage is None or current is None:
        return None
    ohm = charge.resistance_ohm.value if isinstance(charge.resistance_ohm, Estimate) else 0.0
    rest_v = voltage - ohm * current
    if not 0.0 <= -current < MOST_KNEE_LOAD * battery.rated_capacity_ah:
        return None
    return next((depth for below_v, depth in reversed(KNEE_DEPTHS) if rest_v <= below_v), None)


def _between(now: OpenSwing, at_s: float, depth_frac: float, battery: Battery, charge: ChargeFindings) -> Swing | None:
    """Lithium: the swing from a full charge to the knee or back, where this is the other end of one."""
    swing_frac, drawn_ah = depth_frac - now.from_depth_frac, now.drawn_ah
    if drawn_ah is None or abs(swing_frac) < 0.5 or drawn_ah * swing_frac <= 0.0:
        return None
    return Swing(at_s, abs(swing_frac), KNEE_FRAC, abs(drawn_ah), _charge_sigma_ah(
        battery, now.hours, now.returned_ah, abs(drawn_ah), charge))


def _charge_sigma_ah(battery: Battery, hours: float, returned_ah: float, charge_ah: float, charge: ChargeFindings) -> float:
    belief = charge.posterior if isinstance(charge.current_offset_a, Estimate) else None
    offset_a = UNKNOWN_OFFSET_A if belief is None else belief.offset_sigma_a
    lost_ah = charge_loss.SIGMA_FRAC[battery.chemistry] * returned_ah
    return sqrt((offset_a * hours) ** 2 + lost_ah ** 2 + (COUNT_SIGMA * charge_ah) ** 2 + COUNT_SIGMA_AH**2)


def _close_swing(state: SwingsState, at_s: float, following: OpenSwing, swing: Swing | None = None) -> SwingsState:
    """What is held once the swing under way is over."""
    swing = swing or state.open.best
    if swing is None:
        return replace(state, open=following)
    swings = (*state.swings[1 - KEPT:], swing)
    return replace(state, swings=swings, open=replace(following, best=None), found=capacity(_fade_weight(swings, at_s)))


def _fade_weight(swings: tuple[Swing, ...], at_s: float) -> tuple[Swing, ...]:
    """The swings with old ones less sure."""
    kept = []
    for s in swings:
        wider = (1.0 - FORGOTTEN_PER_WEEK) ** (-0.5 * (at_s - s.at_s) / WEEK_S)
        kept.append(replace(s, depth_sigma_frac=s.depth_sigma_frac * wider, charge_sigma_ah=s.charge_sigma_ah * wider))
    return tuple(kept)


def own_capacity(state: SwingsState, vehicle: Vehicle) -> Answer:
    """Capacity by swings alone [Ah]: lead-acid the acid's, lithium iron phosphate from full to its knee.

    The interval is that of total least squares, with what all swings share added outside the average: the slope
    of the rest curve (lead-acid) or the place of the knee (lithium), and the gain of the shunt. All of these are
    ratios, so it reaches as many times above the value as below it.
    """
    if state.found is None:
        return NotYet("it takes a discharge of an eighth of the battery after a full charge, with two quiet hours in it"
                      if vehicle.house.lead_acid else "it takes one discharge from full to empty")
    value, sigma = state.found
    shared = lead_acid.KINDS[vehicle.house.chemistry].span_sigma_ln if vehicle.house.lead_acid else KNEE_SIGMA
    spread = exp(Z95 * hypot(sigma / value, shared, vehicle.current_sensor.gain_sigma_frac))
    return Estimate(value, value / spread, value * spread, "learnt")
