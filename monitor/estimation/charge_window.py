"""One window of voltage: which minutes are worth believing, and what their mean corrects."""
from math import exp

from monitor.battery import lead_acid
from monitor.battery.label import Battery
from monitor.estimation import charge_count, charge_filter, kalman, step_resistance
from monitor.estimation.charge_anchor import KNEE_V
from monitor.estimation.charge_count import Count
from monitor.estimation.charge_filter import CAPACITY, DEPTH, LEVEL
from monitor.estimation.charge_state import VoltageWindow
from monitor.estimation.kalman import Belief
from monitor.estimation.step_resistance import CHARGING_PER_H, Resistance
from monitor.parameters import table
from monitor.replacing import replace
from monitor.sample import Minute

P = table("estimation", "charge_window")
WINDOW_S, FIRST_WINDOW_S = P.number("window_s"), P.number("first_window_s")
ENOUGH_S, BRIEF_S, BRIEF_V = P.number("enough_s"), P.number("brief_s"), P.number("brief_v")
GAP_S, SELDOM_S, ALIKE_PER_H = P.number("gap_s"), P.number("seldom_s"), P.number("alike_per_h")
#: Below KNEE_V the battery is past its knee and off its rest curve: that is the empty anchor's to judge. Above this it is at a
#: charger, or has just left one.
CHARGED_V = table("battery", "alternator").number("charging_v")
SETTLED_S, SURELY_SETTLED_S, LIGHT_H = P.number("settled_s"), P.number("surely_settled_s"), P.number("light_h")
NOISE_V, DROP_PART, WARMTH_V, BLIND_V = P.number("noise_v"), P.number("drop_part"), P.number("warmth_v"), P.number("blind_v")
#: Squared sigmas beyond which a voltage is refused; refused too long, the belief is opened again.
GATE, LOST, REPEATS = P.number("gate_sigmas2"), P.number("lost_sigmas2"), P.number("repeats")
FOLLOWS, MOST_SIGMAS2 = P.number("follows"), P.number("most_sigmas2")
OPENED_FRAC, OPENED_V = P.number("opened_frac"), P.number("opened_v")
#: An alternator or a big load that nobody saw.
SILENT_GATE, SILENT_PER_H, SILENT_MOST = P.number("silent_gate_sigmas2"), P.number("silent_per_h"), P.number("silent_most")
SILENT_H, UNDER_PART, UNDER_V = P.number("silent_h"), P.number("under_part"), P.number("under_v")


def gather(
    window: VoltageWindow, minute: Minute, battery: Battery, count: Count, resistance: Resistance, depth_frac: float,
    before_a: float | None,
) -> VoltageWindow:
    """The window with this minute, if its voltage is worth believing.

    window: what it holds so far; minute: what was measured; battery: its label; count: what came in and went out; resistance:
    what load steps have shown; depth_frac: drawn from full, of the capacity; before_a: current of the last minute [A].
    """
    if minute.gap_s > GAP_S:
        window = replace(window, gap=True)
    voltage, current = count.voltage_v, count.current_a
    if voltage is None or current is None:
        return window
    seconds = _seconds(minute, battery, current, before_a)
    if not seconds:
        return window
    slow, _ = charge_count.polarisation_v(count, battery, depth_frac)
    step_v = step_resistance.at(resistance, depth_frac) * current
    if not _is_at_rest(battery, count, voltage, current):
        if current >= 0.0 and KNEE_V < voltage < CHARGED_V:
            return replace(window, under_s=window.under_s + seconds,
                           under_vs=window.under_vs + seconds * (voltage - UNDER_PART * step_v))
        return window
    drop = step_v + slow
    return replace(window, minutes=window.minutes + 1, seconds=window.seconds + seconds,
                   rest_v=window.rest_v + voltage - drop, drop_v=window.drop_v + drop)


def _seconds(minute: Minute, battery: Battery, current: float, before_a: float | None) -> float:
    """For how long this minute's voltage stands [s]."""
    if minute.covered_s and not minute.gap_s:
        return minute.covered_s
    # A log that is read seldom: a reading stands for the time since the last if that showed as much current.
    alike = before_a is not None and abs(current - before_a) <= ALIKE_PER_H * battery.rated_capacity_ah
    return 0.5 * minute.gap_s if minute.gap_s <= SELDOM_S and alike else 0.0


def _is_at_rest(battery: Battery, count: Count, voltage: float, current: float) -> bool:
    """Whether a voltage freed of what current does to it is a rest voltage."""
    rated = battery.rated_capacity_ah
    settled = count.since_charge_s > SETTLED_S and (
        count.drawn_ah > charge_count.STRIP_FRAC * rated or count.since_charge_s > SURELY_SETTLED_S)
    return -rated / LIGHT_H < current < CHARGING_PER_H * rated and KNEE_V < voltage < CHARGED_V and settled


def is_due(window: VoltageWindow, end_s: float) -> bool:
    """Whether the window is to be weighed now."""
    return end_s - window.start_s >= (FIRST_WINDOW_S if window.first else WINDOW_S)


def is_enough(window: VoltageWindow) -> bool:
    """Whether it holds enough to be weighed."""
    if window.seconds >= (0.5 * FIRST_WINDOW_S if window.first else ENOUGH_S):
        return True
    return window.gap and window.seconds >= BRIEF_S


def _rest(count: Count, window: VoltageWindow) -> tuple[float, float]:
    """Rest voltage of a window at 25 °C, and its variance."""
    rest_v, drop_v = window.rest_v / window.minutes, window.drop_v / window.minutes
    noise = NOISE_V**2 + (DROP_PART * drop_v) ** 2 + (BLIND_V if count.temperature_c is None else WARMTH_V) ** 2
    rest_v -= lead_acid.warmth_v(count.warmth_c)
    noise += count.unseen_surface_v**2 + (BRIEF_V**2 if window.seconds < ENOUGH_S else 0.0)
    return rest_v, noise


def update(
    belief: Belief, battery: Battery, count: Count, window: VoltageWindow, resistance: Resistance, surprise: float,
) -> tuple[Belief, float, float]:
    """The belief corrected by the voltage of one window, the running surprise, and how badly it fits (squared sigmas).

    belief: before it; battery: its label; count: what came in and went out; window: the voltage; resistance: what load steps
    have shown; surprise: running mean of squared sigmas.
    """
    rest_v, noise = _rest(count, window)
    doubtful = count.unproved_h > SILENT_H
    if doubtful:
        belief = _open_after_silence(belief, battery, count, rest_v, noise)
    expected_v, slopes, curve_v = charge_filter.expect_rest(belief, battery)
    step_v = step_resistance.sigma_ohm(resistance, belief.mean[DEPTH] / exp(belief.mean[CAPACITY])) * count.slow_a
    miss, variance = rest_v - expected_v, noise + curve_v * curve_v + step_v * step_v
    squared = miss * miss / (kalman.variance_along(belief, slopes) + variance)
    if squared < GATE:
        belief = kalman.update(belief, slopes, miss, variance * REPEATS)
    if doubtful:
        belief = keep_inside(belief)
    surprise += FOLLOWS * (min(squared, MOST_SIGMAS2) - surprise)
    if surprise > LOST:
        belief = kalman.inflate(belief, DEPTH, (OPENED_FRAC * exp(belief.mean[CAPACITY])) ** 2)
        belief, surprise = kalman.inflate(belief, LEVEL, OPENED_V**2), 1.0
    return belief, surprise, squared


def bound_from_above(belief: Belief, battery: Battery, count: Count, window: VoltageWindow) -> Belief:
    """What the battery shows while current flows in: its rest voltage lies below, however slow it is.

    It says nothing of a battery that could rest as high, and less than a rest voltage of one that could not.
    belief: before it; battery: its label; count: what came in and went out; window: the voltage.
    """
    bound_v = window.under_vs / window.under_s - lead_acid.warmth_v(count.warmth_c)
    expected_v, slopes, curve_v = charge_filter.expect_rest(belief, battery)
    if expected_v <= bound_v:
        return belief
    doubt = UNDER_V**2 + curve_v * curve_v + count.unseen_surface_v**2
    return kalman.update_consider(belief, slopes, bound_v - expected_v, REPEATS * doubt, DEPTH)


def _open_after_silence(belief: Belief, battery: Battery, count: Count, rest_v: float, noise: float) -> Belief:
    """The belief with room for what may have flowed in a silence, where the first voltage after it does not fit the guess."""
    expected_v, slopes, curve_v = charge_filter.expect_rest(belief, battery)
    if (rest_v - expected_v) ** 2 / (kalman.variance_along(belief, slopes) + noise + curve_v * curve_v) <= SILENT_GATE:
        return belief
    room = min(SILENT_PER_H * count.unproved_h, SILENT_MOST)
    return kalman.inflate(belief, DEPTH, (room * exp(belief.mean[CAPACITY])) ** 2)


def keep_inside(belief: Belief) -> Belief:
    """Whatever a silence hid, a battery is neither fuller than full nor emptier than empty."""
    return kalman.truncate(belief, DEPTH, 0.0, exp(belief.mean[CAPACITY]))
