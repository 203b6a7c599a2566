"""State of charge of a lead-acid house battery: counts ampere-hours, corrects itself at rest, full and empty."""
from math import exp, log

from monitor.battery.label import Battery, Vehicle
from monitor.estimation import (
    charge_alerts,
    charge_anchor,
    charge_count,
    charge_ends,
    charge_filter,
    charge_report,
    charge_suspicion,
    charge_window,
    kalman,
    resistance_growth,
    step_resistance,
)
from monitor.estimation.charge_anchor import Anchor
from monitor.estimation.charge_count import Count
from monitor.estimation.charge_ends import Ends
from monitor.estimation.charge_filter import CAPACITY, DEPTH, OFFSET, TAIL
from monitor.estimation.charge_state import ChargeState, VoltageWindow
from monitor.estimation.kalman import Belief
from monitor.estimation.resistance_growth import Growth
from monitor.estimation.step_resistance import Resistance
from monitor.findings import Z95, ChargeFindings, Condition, JoinFindings
from monitor.parameters import table
from monitor.replacing import replace
from monitor.sample import Minute

P = table("estimation", "charge")
LEAST_ZERO_SIGMA_A = table("battery", "current_sensor").number("least_zero_sigma_a")
#: Kept of the most that was drawn, each minute.
MOST_KEPT = 1.0 - P.number("fades_per_week") / (7 * 1440)
BOUNDED_FRAC, SURE_FRAC, GROWTH_FRAC = P.number("bounded_frac"), P.number("sure_frac"), P.number("growth_frac")
RISEN_V, JUDGED_EACH_S = P.number("risen_v"), P.number("judged_each_s")


def begin(vehicle: Vehicle) -> ChargeState:
    """Nothing seen yet."""
    house = vehicle.house
    return ChargeState(charge_filter.begin(house, vehicle.current_sensor), step_resistance.begin(house))


def update(state: ChargeState, minute: Minute, vehicle: Vehicle, _join: JoinFindings | None = None) -> ChargeState:
    """The state after a minute: counted; at the end of a window moved on and corrected by its voltage; anchored where it is full or empty.

    What the two batteries do to each other needs no care here: the shunt and the voltmeter are the
    house battery's own.
    state: the state after the minute before; minute: what was measured; vehicle: its labels; _join: not needed.
    """
    battery = vehicle.house
    belief = state.belief
    capacity = exp(belief.mean[CAPACITY])
    count = charge_count.update(state.count, minute, battery, vehicle.current_sensor, capacity)
    depth_frac = (belief.mean[DEPTH] + count.out_ah - count.in_ah) / capacity
    halves = step_resistance.bins(minute)
    resistance = step_resistance.update(state.resistance, halves, battery, depth_frac, count.surface_v < charge_count.BARE_V)
    growth, growth_at = _judge_growth(state, belief, battery, resistance, depth_frac * capacity, count)
    begun = state.window if state.count.at_s is not None else VoltageWindow(minute.start_s, first=True)
    window = charge_window.gather(begun, minute, battery, count, resistance, depth_frac, state.count.current_a)
    full, empty = _find_anchors(count, battery, belief)
    ends = charge_ends.begin_minute(state, minute.duration_s / 3600.0, count.high_s)
    due = charge_window.is_due(window, minute.end_s)
    knee = ends.is_knee(empty, minute.end_s)
    if due or ends.is_better(full) or empty:
        before = ends.before_session
        ends = replace(
            ends, belief=_predict(ends.belief, vehicle, count, depth_frac),
            before_session=None if before is None else _predict(before, vehicle, count, depth_frac))
        count = charge_count.take_over(count)
    surprise = state.surprise
    if due:
        ends, count, surprise = _update(ends, count, window, battery, resistance, surprise, minute.end_s)
        window = VoltageWindow(minute.end_s)
    if full is not None:
        ends = charge_ends.at_full(ends, full, minute.end_s, due, capacity)
    if empty is not None:
        ends = charge_ends.at_empty(ends, empty, minute.end_s, due, knee)
    most_ah = state.most_ah * MOST_KEPT
    if ends.anchor == "full" and empty is None and belief.sigma(DEPTH) < SURE_FRAC * battery.rated_capacity_ah:
        most_ah = max(most_ah, depth_frac * capacity - Z95 * belief.sigma(DEPTH))
    suspicion = charge_suspicion.update(state.suspicion, minute, halves, battery, count, resistance, depth_frac)
    return ChargeState(
        ends.belief, resistance, count, window, ends.anchor, ends.fulls, ends.anchor_at_s, ends.knee_at_s, ends.session_sigma,
        ends.session_h, ends.before_session, surprise, growth, growth_at, most_ah, suspicion, ends.news)


def _find_anchors(count: Count, battery: Battery, belief: Belief) -> tuple[Anchor | None, Anchor | None]:
    """Whether this minute looks full, whether it looks empty."""
    voltage, current, capacity = count.voltage_v, count.current_a, exp(belief.mean[CAPACITY])
    if voltage is None or current is None:
        return None, None
    full = charge_anchor.full(
        min(count.tail_v, voltage + RISEN_V), max(count.tail_a, current), capacity, count.high_s,
        count.warmth_c, belief.mean[TAIL], count.top_v - count.tail_v)
    return full, charge_anchor.empty(battery, voltage, current, capacity, count.temperature_c)


def _update(
    ends: Ends, count: Count, window: VoltageWindow, battery: Battery, resistance: Resistance, surprise: float, end_s: float,
) -> tuple[Ends, Count, float]:
    """After a window that is due: the same with its voltage, if it holds enough of it."""
    if charge_window.is_enough(window):
        belief, surprise, misfit = charge_window.update(ends.belief, battery, count, window, resistance, surprise)
        ends = replace(ends, belief=belief)
        if misfit < charge_window.GATE:
            count = replace(count, unproved_h=0.0)
            if ends.anchor in ("", "rest"):
                ends = replace(ends, anchor="rest", anchor_at_s=end_s)
        return ends, count, surprise
    if window.under_s >= charge_window.ENOUGH_S:
        ends = replace(ends, belief=charge_window.bound_from_above(ends.belief, battery, count, window))
    return ends, count, surprise


def _judge_growth(
    state: ChargeState, belief: Belief, battery: Battery, resistance: Resistance, depth_ah: float, count: Count,
) -> tuple[Growth, float]:
    growth, at_s, rated = state.growth, state.growth_at_s, battery.rated_capacity_ah
    if resistance.latest_ohm and state.anchor in ("full", "empty") and belief.sigma(DEPTH) < GROWTH_FRAC * rated:
        growth = resistance_growth.add(growth, resistance.latest_ohm, depth_ah / rated, count.temperature_c)
    if growth.fresh and count.at_s is not None and count.at_s - at_s > JUDGED_EACH_S:
        growth = resistance_growth.judge(growth, belief.mean[CAPACITY] - log(rated), belief.sigma(CAPACITY))
        at_s = count.at_s
    return growth, at_s


def _predict(belief: Belief, vehicle: Vehicle, count: Count, depth_frac: float) -> Belief:
    battery = vehicle.house
    _, slow_v = charge_count.polarisation_v(count, battery, depth_frac)
    moved = charge_filter.predict(
        belief, count.hours, count.in_ah, count.out_ah, count.lost_ah, count.doubt_ah2, slow_v, vehicle.current_sensor.gain_sigma_frac)
    # One silence is one doubt: cut at full anew every quarter of an hour of it, a full battery would creep down all night.
    if count.current_a is None or count.doubt_ah2 < (BOUNDED_FRAC * battery.rated_capacity_ah) ** 2:
        return moved
    return charge_window.keep_inside(moved)


def findings(state: ChargeState, vehicle: Vehicle, brief: bool = False) -> ChargeFindings:
    """What is known now.

    state: what was kept after the latest minute; vehicle: what its owner said of it; brief: only what trackers ask that make no
    forecast (`house_charge.findings`).
    """
    return charge_report.findings(state, vehicle, brief)


def conditions(state: ChargeState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """What may deserve an alert."""
    return charge_alerts.conditions(state, vehicle)


def replace_battery(state: ChargeState, vehicle: Vehicle) -> ChargeState:
    """The state after the owner put in another battery: nothing is kept but the shunt and the habits.

    vehicle carries the new label. The offset of the shunt and the usual loads belong to the vehicle.
    """
    old, fresh = state.belief, begin(vehicle)
    belief = kalman.reset(fresh.belief, OFFSET, old.mean[OFFSET], old.sigma(OFFSET))
    count = Count(at_s=state.count.at_s, usual=state.count.usual, temperature_c=state.count.temperature_c)
    return replace(fresh, belief=belief, count=count, suspicion=charge_suspicion.dismiss(state.suspicion))


def calibrate_zero(state: ChargeState, sigma_a: float) -> ChargeState:
    """The state after the shunt's zero was measured with everything off.

    To be called when vehicle.current_sensor.offset_a was set anew: what was learnt of the
    offset beyond the old correction is forgotten, and sigma_a is what remains in doubt.
    """
    return replace(state, before_session=None, belief=kalman.reset(state.belief, OFFSET, 0.0, max(sigma_a, LEAST_ZERO_SIGMA_A)))
