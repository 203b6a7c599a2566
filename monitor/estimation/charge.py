"""State of charge of the house battery: counts ampere-hours, corrects itself at rest, full and empty."""
from dataclasses import replace
from math import exp, log

from monitor.battery import lead_acid
from monitor.battery.label import Battery, Vehicle
from monitor.estimation import (
    charge_alerts,
    charge_anchor,
    charge_count,
    charge_filter,
    charge_guesses,
    charge_report,
    charge_suspicion,
    kalman,
    resistance_growth,
    step_resistance,
)
from monitor.estimation.charge_anchor import Anchor
from monitor.estimation.charge_count import Count
from monitor.estimation.charge_filter import CAPACITY, DEPTH, LEVEL, OFFSET, TAIL
from monitor.estimation.charge_guesses import Guess, Guesses
from monitor.estimation.charge_held import ChargeState, Window
from monitor.estimation.resistance_growth import Growth
from monitor.estimation.step_resistance import Resistance
from monitor.findings import ChargeFindings, Condition, Event, JoinFindings
from monitor.sample import Minute

#: How often voltage is weighed against the count. Means over this time smooth a fridge's cycling.
WINDOW_S = 900.0
#: Squared sigmas beyond which a voltage is refused; refused too long, the belief is opened again.
GATE, LOST = 25.0, 5.0
#: Below this a lead-acid battery is past its knee and off its rest curve: that is the empty anchor's to judge.
KNEE_V = 11.3
#: How long a spell at empty goes on teaching.
KNEE_S = 7200.0
#: Errors of one quarter of an hour and the next are alike: so many of them count as one measurement.
REPEATS = {True: 3.0, False: 6.0}
#: Kept of the most that was drawn, each minute: a battery may lose a hundredth a week.
MOST_KEPT = 1.0 - 0.01 / (7 * 1440)
_FULL_WORDS = "House battery full (charging current has tailed off)."
_EMPTY_WORDS = "The house battery's voltage bends down under an ordinary load: it is empty, or nearly."


def begin(vehicle: Vehicle) -> ChargeState:
    """Nothing seen yet."""
    house = vehicle.house
    return ChargeState(charge_guesses.begin(house, vehicle.current_sensor), step_resistance.begin(house))


def update(held: ChargeState, minute: Minute, vehicle: Vehicle, join: JoinFindings) -> ChargeState:
    """One minute further.

    What the two batteries do to each other needs no care here: the shunt and the voltmeter are the
    house battery's own. join only tells whether its charging is an alternator's.
    """
    battery = vehicle.house
    belief = charge_guesses.best(held.guesses)
    capacity = exp(belief.mean[CAPACITY])
    count = charge_count.update(held.count, minute, battery, vehicle.current_sensor, capacity)
    depth_frac = (belief.mean[DEPTH] + count.out_ah - count.in_ah) / capacity
    resistance = step_resistance.update(held.resistance, minute, battery, depth_frac, count.surface_v < 0.02)
    growth, growth_at = _growth(held, belief, battery, resistance, depth_frac * capacity, count)
    window = _gather(held.window, minute, battery, count, resistance, depth_frac)
    full, empty = None, None
    if count.voltage_v is not None and count.current_a is not None:
        full = charge_anchor.full(
            battery, min(count.tail_v, count.voltage_v + 0.05), max(count.tail_a, count.current_a), capacity, count.high_s,
            count.warmth_c, belief.mean[TAIL], count.top_v - count.tail_v)
        rest_v = count.voltage_v - step_resistance.at(resistance, depth_frac) * count.current_a
        empty = charge_anchor.empty(battery, count.voltage_v, rest_v, count.current_a, capacity, count.temperature_c)
    session, session_h, before = held.session_sigma, held.session_h + minute.duration_s / 3600.0, held.before_session
    if count.high_s == 0.0:
        session, before = 1.0, None
    elif session_h > 3.0:
        before = None
    better = full is not None and full.total_frac < 0.8 * session
    due = minute.end_s - window.start_s >= WINDOW_S
    guesses, surprise, anchor, anchor_at = held.guesses, held.surprise, held.anchor, held.anchor_at_s
    fulls, misfit, knee_at, news = held.fulls, None, held.knee_at_s, []
    knee = empty is not None and (
        anchor != "empty" or anchor_at is None or minute.end_s - anchor_at > 6 * 3600.0)
    if due or better or empty:
        guesses = _forward(guesses, vehicle, count, depth_frac, fulls)
        before = None if before is None else _forward(before, vehicle, count, depth_frac, fulls)
        count = charge_count.taken(count)
    if due:
        if window.seconds >= 400.0:
            guesses, surprise, misfit = _weigh_rest(guesses, battery, count, window, resistance, surprise, fulls)
            if misfit < GATE and anchor in ("", "rest"):
                anchor, anchor_at = "rest", minute.end_s
        window = Window(minute.end_s)
    if full is not None:
        if better:
            # A better anchor of the same spell takes the place of the worse one, as if that had not been.
            if session == 1.0:
                before, session_h, fulls = guesses, 0.0, fulls + 1
                if anchor != "full" or anchor_at is None or minute.end_s - anchor_at > 6 * 3600.0:
                    news.append(Event(minute.end_s, "full_charge", "house", _FULL_WORDS))
            if before is None:
                guesses = _set(guesses, full)
            else:
                seen = battery.lead_acid or (knee_at > 0.0 and charge_guesses.tied(before))
                look = not battery.lead_acid and fulls % charge_guesses.FULLS_A_LOOK == 1
                guesses = _anchored(before, full, capacity_seen=seen, together=look)
                if look:
                    known = knee_at > 0.0 or guesses[0].belief.sigma(CAPACITY) < charge_guesses.MEASURED_LN
                    guesses = charge_guesses.stepped(guesses[0].belief, battery, vehicle.current_sensor, known)
            session = full.total_frac
        elif due and before is None and charge_guesses.best(guesses).sigma(DEPTH) > session * capacity:
            # Held there by the charger; what still goes in is gas and teaches nothing.
            held_frac = min(full.depth_frac, charge_guesses.best(guesses).mean[DEPTH] / capacity)
            guesses = _set(guesses, replace(full, depth_frac=held_frac, depth_by_tail=held_frac))
        anchor, anchor_at = "full", minute.end_s
    if empty is not None:
        capacity_seen = battery.lead_acid or fulls > 0
        if knee:
            news.append(Event(minute.end_s, "empty_seen", "house", _EMPTY_WORDS))
            guesses, knee_at = _anchored(guesses, empty, repeats=1.5, capacity_seen=capacity_seen), minute.end_s
        elif minute.end_s - knee_at < KNEE_S:
            # How much deeper it goes from here says a little more each minute.
            guesses = _anchored(guesses, empty, repeats=20.0, capacity_seen=capacity_seen)
        elif due:
            # Still there: nothing new about its size, but however long it stands, it is no fuller.
            mean = charge_guesses.best(guesses).mean
            held_frac = max(empty.depth_frac, mean[DEPTH] / exp(mean[CAPACITY]))
            guesses = _set(guesses, Anchor("empty", held_frac, empty.sigma_frac))
        anchor, anchor_at = "empty", minute.end_s
    most_ah = held.most_ah * MOST_KEPT
    if anchor == "full" and empty is None and belief.sigma(DEPTH) < 0.05 * battery.rated_capacity_ah:
        most_ah = max(most_ah, depth_frac * capacity - charge_report.Z95 * belief.sigma(DEPTH))
    suspicion = charge_suspicion.update(
        held.suspicion, minute, battery, count, resistance, depth_frac)
    return ChargeState(
        guesses, resistance, count, window, anchor, fulls, anchor_at, knee_at, session, session_h, before, surprise, growth,
        growth_at, most_ah, suspicion, tuple(news))


def _growth(
    held: ChargeState, belief: kalman.Belief, battery: Battery, resistance: Resistance, depth_ah: float, count: Count,
) -> tuple[Growth, float]:
    growth, at_s, rated = held.growth, held.growth_at_s, battery.rated_capacity_ah
    if (
        battery.lead_acid and resistance.latest_ohm and held.anchor in ("full", "empty")
        and belief.sigma(DEPTH) < 0.035 * rated
    ):
        growth = resistance_growth.add(growth, resistance.latest_ohm, depth_ah / rated, count.temperature_c)
    if growth.fresh and count.at_s is not None and count.at_s - at_s > 3600.0:
        growth = resistance_growth.judge(growth, belief.mean[CAPACITY] - log(rated), belief.sigma(CAPACITY))
        at_s = count.at_s
    return growth, at_s


def _gather(
    window: Window, minute: Minute, battery: Battery, count: Count, resistance: Resistance, depth_frac: float,
) -> Window:
    """The window with this minute, if its voltage is worth believing."""
    voltage, current, rated = count.voltage_v, count.current_a, battery.rated_capacity_ah
    if voltage is None or current is None or minute.gap_s or not minute.covered_s:
        return window
    if battery.lead_acid:
        settled = count.since_charge_s > 3600.0 and (
            count.drawn_ah > charge_count.STRIP_FRAC * rated or count.since_charge_s > 14400.0)
        if not (-rated / 8 < current < 0.002 * rated and KNEE_V < voltage < 13.2 and settled):
            return window
    elif not (-rated / 6 < current < rated / 6 and voltage < 13.8):
        return window
    slow, _ = charge_count.polarisation_v(count, battery, depth_frac)
    drop = step_resistance.at(resistance, depth_frac) * current + slow
    return Window(
        window.start_s, window.minutes + 1, window.seconds + minute.covered_s, window.rest_v + voltage - drop,
        window.drop_v + drop)


def _forward(guesses: Guesses, vehicle: Vehicle, count: Count, depth_frac: float, fulls: int) -> Guesses:
    battery, gain_sigma_frac = vehicle.house, vehicle.current_sensor.gain_sigma_frac
    _, slow_v = charge_count.polarisation_v(count, battery, depth_frac)
    # Lead-acid takes more than fits, as gas. Among several guesses one beyond full is a wrong guess.
    beyond_full_frac = 0.01 if battery.lead_acid or fulls == 0 and len(guesses) > 1 else 0.3
    return tuple(
        Guess(g.log_weight, charge_filter.forward(
            g.belief, battery, count.hours, count.in_ah, count.out_ah, count.lost_ah, count.doubt_ah2, slow_v,
            gain_sigma_frac, beyond_full_frac))
        for g in guesses
    )


def _weigh_rest(
    guesses: Guesses, battery: Battery, count: Count, window: Window, resistance: Resistance, surprise: float,
    fulls: int,
) -> tuple[Guesses, float, float]:
    """Correct every guess by the voltage of one window."""
    rest_v, drop_v = window.rest_v / window.minutes, window.drop_v / window.minutes
    if battery.lead_acid:
        rest_v -= lead_acid.VOLTAGE_PER_K * (count.warmth_c - 25.0)
    noise = 0.006**2 + (0.1 * drop_v) ** 2 + (0.013 if count.temperature_c is None else 0.003) ** 2
    trials = []
    for guess in guesses:
        mean = guess.belief.mean
        expected_v, slopes, curve_v = charge_filter.rest(guess.belief, battery, count.direction)
        step_v = step_resistance.sigma_ohm(resistance, mean[DEPTH] / exp(mean[CAPACITY])) * count.slow_a
        trials.append((slopes, rest_v - expected_v, noise + curve_v * curve_v + step_v * step_v))
    guesses, misfit = charge_guesses.measured(
        guesses, trials, GATE, REPEATS[battery.lead_acid], None if battery.lead_acid else CAPACITY,
        charge_guesses.TEMPER_AFTER_FULL if fulls else charge_guesses.TEMPER)
    surprise += 0.03 * (min(misfit, 60.0) - surprise)
    if surprise > LOST:
        guesses = tuple(
            Guess(g.log_weight, kalman.widened(
                kalman.widened(g.belief, DEPTH, (0.1 * exp(g.belief.mean[CAPACITY])) ** 2), LEVEL, 0.02**2))
            for g in guesses)
        surprise = 1.0
    return guesses, surprise, misfit


def _anchored(
    guesses: Guesses, anchor: Anchor, repeats: float = 1.0, capacity_seen: bool = True, together: bool = True,
) -> Guesses:
    """After an anchor: one belief (together), or every guess, which learns from it. Anchors are never refused.

    repeats says how many minutes in a row will say the same. capacity_seen: the depth rests on an anchor at the other end.
    On a lithium plateau it is a guess until then, and says nothing of how large the battery is.
    """
    trials = []
    for guess in guesses:
        mean = guess.belief.mean
        capacity = exp(mean[CAPACITY])
        depth = anchor.depth_frac * capacity
        # Empty says how large the battery is. Full does not: what is missing at a given tail is known too
        # badly, and always in the same direction, for a hundred full charges not to add up to a wrong capacity.
        by_capacity = -depth if anchor.kind == "empty" else 0.0
        by = {DEPTH: 1.0, CAPACITY: by_capacity, TAIL: -anchor.depth_by_tail * capacity}
        slopes = tuple(by.get(i, 0.0) for i in range(len(mean)))
        trials.append((slopes, depth - mean[DEPTH], repeats * (anchor.sigma_frac * capacity) ** 2))
    found, _ = charge_guesses.measured(guesses, trials, 1e9, untouched=None if capacity_seen else CAPACITY)
    return (Guess(0.0, charge_guesses.one(found)),) if together else found


def _set(guesses: Guesses, anchor: Anchor) -> Guesses:
    """Charge as the anchor says, and nothing else learnt from it.

    The anchor is a part of the capacity: a wrong capacity makes the depth wrong with it, and the tie has to
    stay. Without it the next anchor would take the depth for measured, and find the capacity confirmed.
    """
    capacity = exp(charge_guesses.one(guesses).mean[CAPACITY])
    depth_ah = anchor.depth_frac * capacity
    return tuple(
        Guess(g.log_weight, kalman.tied(
            kalman.replaced(g.belief, DEPTH, depth_ah, anchor.sigma_frac * capacity),
            DEPTH, {CAPACITY: depth_ah, TAIL: anchor.depth_by_tail * capacity}))
        for g in guesses)


def findings(held: ChargeState, vehicle: Vehicle) -> ChargeFindings:
    """What is known now."""
    return charge_report.findings(held, vehicle)


def conditions(held: ChargeState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """What may deserve an alert."""
    return charge_alerts.conditions(held, vehicle)


def replaced(held: ChargeState, vehicle: Vehicle) -> ChargeState:
    """The state after the owner put in another battery: nothing is kept but the shunt and the habits.

    vehicle carries the new label. The offset of the shunt and the usual loads belong to the vehicle.
    """
    old = charge_guesses.one(held.guesses)
    fresh = begin(vehicle)
    guesses = tuple(
        Guess(g.log_weight, kalman.replaced(g.belief, OFFSET, old.mean[OFFSET], old.sigma(OFFSET)))
        for g in fresh.guesses)
    count = Count(at_s=held.count.at_s, usual=held.count.usual, temperature_c=held.count.temperature_c)
    return replace(fresh, guesses=guesses, count=count, suspicion=charge_suspicion.dismissed(held.suspicion))


def calibrated_zero(held: ChargeState, offset_a: float, sigma_a: float) -> ChargeState:
    """The state after the shunt's zero was measured with everything off.

    To be called when vehicle.current_sensor.offset_a has become offset_a: what was learnt of the
    offset beyond the old correction is forgotten, and sigma_a is what remains in doubt.
    """
    return replace(held, before_session=None, guesses=tuple(
        Guess(g.log_weight, kalman.replaced(g.belief, OFFSET, 0.0, max(sigma_a, 0.002))) for g in held.guesses))
