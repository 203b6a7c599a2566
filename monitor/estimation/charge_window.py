"""One window of voltage: which minutes are worth believing, and what their mean corrects."""
from math import exp

from monitor.battery import lead_acid
from monitor.battery.label import Battery
from monitor.estimation import charge_count, charge_filter, kalman, step_resistance
from monitor.estimation.charge_count import Count
from monitor.estimation.charge_filter import CAPACITY, DEPTH, LEVEL
from monitor.estimation.charge_held import Window
from monitor.estimation.kalman import Belief
from monitor.estimation.step_resistance import Resistance
from monitor.replacing import replace
from monitor.sample import Minute

#: How often voltage is weighed against the count. Means over this time smooth a fridge's cycling.
WINDOW_S = 900.0
#: The first is shorter: whoever switches on wants to know.
FIRST_WINDOW_S = 300.0
#: So much of it has to be believed; after a silence so much, and then in doubt by so much more [V].
ENOUGH_S, BRIEF_S, BRIEF_V = 400.0, 60.0, 0.02
#: A reading stands for so long a silence before it at most, where it changed nothing.
SELDOM_S = 1800.0
#: Squared sigmas beyond which a voltage is refused; refused too long, the belief is opened again.
GATE, LOST = 25.0, 5.0
#: Below this the battery is past its knee and off its rest curve: that is the empty anchor's to judge. Above the
#: other it is at a charger, or has just left one.
KNEE_V, CHARGED_V = 11.3, 13.2
#: Errors of one quarter of an hour and the next are alike: so many of them count as one measurement.
REPEATS = 3.0
#: Squared sigmas by which a voltage after a silence may miss what was guessed of it, and charge that may flow in it, of the
#: capacity per hour: an alternator or a big load that nobody saw.
SILENT_GATE, SILENT_PER_H, SILENT_MOST = 6.0, 0.35, 0.4
#: A silence shorter than this hides nothing that matters [h].
SILENT_H = 0.15
#: While current flows in, the rest voltage lies below what is seen by at least this part of what resistance should add, and
#: in doubt by this [V].
UNDER_PART, UNDER_V = 0.5, 0.04


def gather(
    window: Window, minute: Minute, battery: Battery, count: Count, resistance: Resistance, depth_frac: float,
    before_a: float | None,
) -> Window:
    """The window with this minute, if its voltage is worth believing.

    window: what it holds so far; minute: what was measured; battery: its label; count: what came in and went out; resistance:
    what load steps have shown; depth_frac: drawn from full, of the capacity; before_a: current of the last minute [A].
    """
    if minute.gap_s > 600.0:
        window = replace(window, gap=True)
    voltage, current = count.voltage_v, count.current_a
    if voltage is None or current is None:
        return window
    seconds = _seconds(minute, battery, current, before_a)
    if not seconds:
        return window
    slow, _ = charge_count.polarisation_v(count, battery, depth_frac)
    step_v = step_resistance.at(resistance, depth_frac) * current
    if not _believed(battery, count, voltage, current):
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
    alike = before_a is not None and abs(current - before_a) <= 0.01 * battery.rated_capacity_ah
    return 0.5 * minute.gap_s if minute.gap_s <= SELDOM_S and alike else 0.0


def _believed(battery: Battery, count: Count, voltage: float, current: float) -> bool:
    """Whether a voltage freed of what current does to it is a rest voltage."""
    rated = battery.rated_capacity_ah
    settled = count.since_charge_s > 3600.0 and (
        count.drawn_ah > charge_count.STRIP_FRAC * rated or count.since_charge_s > 14400.0)
    return -rated / 8 < current < 0.002 * rated and KNEE_V < voltage < CHARGED_V and settled


def due(window: Window, end_s: float) -> bool:
    """Whether the window is to be weighed now."""
    return end_s - window.start_s >= (FIRST_WINDOW_S if window.first else WINDOW_S)


def enough(window: Window) -> bool:
    """Whether it holds enough to be weighed."""
    if window.seconds >= (0.5 * FIRST_WINDOW_S if window.first else ENOUGH_S):
        return True
    return window.gap and window.seconds >= BRIEF_S


def _rest(count: Count, window: Window) -> tuple[float, float]:
    """Rest voltage of a window at 25 °C, and its variance."""
    rest_v, drop_v = window.rest_v / window.minutes, window.drop_v / window.minutes
    noise = 0.006**2 + (0.1 * drop_v) ** 2 + (0.013 if count.temperature_c is None else 0.003) ** 2
    rest_v -= lead_acid.warmth_v(count.warmth_c)
    noise += count.unseen_surface_v**2 + (BRIEF_V**2 if window.seconds < ENOUGH_S else 0.0)
    return rest_v, noise


def weigh(
    belief: Belief, battery: Battery, count: Count, window: Window, resistance: Resistance, surprise: float,
) -> tuple[Belief, float, float]:
    """The belief corrected by the voltage of one window, the running surprise, and how badly it fits (squared sigmas).

    belief: before it; battery: its label; count: what came in and went out; window: the voltage; resistance: what load steps
    have shown; surprise: running mean of squared sigmas.
    """
    rest_v, noise = _rest(count, window)
    doubtful = count.unproved_h > SILENT_H
    if doubtful:
        belief = _opened(belief, battery, count, rest_v, noise)
    expected_v, slopes, curve_v = charge_filter.rest(belief, battery)
    step_v = step_resistance.sigma_ohm(resistance, belief.mean[DEPTH] / exp(belief.mean[CAPACITY])) * count.slow_a
    miss, variance = rest_v - expected_v, noise + curve_v * curve_v + step_v * step_v
    squared = miss * miss / (kalman.variance_along(belief, slopes) + variance)
    if squared < GATE:
        belief = kalman.weigh(belief, slopes, miss, variance * REPEATS)
    if doubtful:
        belief = bounded(belief)
    surprise += 0.03 * (min(squared, 60.0) - surprise)
    if surprise > LOST:
        belief = kalman.widened(belief, DEPTH, (0.1 * exp(belief.mean[CAPACITY])) ** 2)
        belief, surprise = kalman.widened(belief, LEVEL, 0.02**2), 1.0
    return belief, surprise, squared


def not_fuller(belief: Belief, battery: Battery, count: Count, window: Window) -> Belief:
    """What the battery shows while current flows in: its rest voltage lies below, however slow it is.

    It says nothing of a battery that could rest as high, and less than a rest voltage of one that could not.
    belief: before it; battery: its label; count: what came in and went out; window: the voltage.
    """
    bound_v = window.under_vs / window.under_s - lead_acid.warmth_v(count.warmth_c)
    expected_v, slopes, curve_v = charge_filter.rest(belief, battery)
    if expected_v <= bound_v:
        return belief
    doubt = UNDER_V**2 + curve_v * curve_v + count.unseen_surface_v**2
    return kalman.weigh_one(belief, slopes, bound_v - expected_v, REPEATS * doubt, DEPTH)


def _opened(belief: Belief, battery: Battery, count: Count, rest_v: float, noise: float) -> Belief:
    """The belief with room for what may have flowed in a silence, where the first voltage after it does not fit the guess."""
    expected_v, slopes, curve_v = charge_filter.rest(belief, battery)
    if (rest_v - expected_v) ** 2 / (kalman.variance_along(belief, slopes) + noise + curve_v * curve_v) <= SILENT_GATE:
        return belief
    room = min(SILENT_PER_H * count.unproved_h, SILENT_MOST)
    return kalman.widened(belief, DEPTH, (room * exp(belief.mean[CAPACITY])) ** 2)


def bounded(belief: Belief) -> Belief:
    """Whatever a silence hid, a battery is neither fuller than full nor emptier than empty."""
    return kalman.bounded(belief, DEPTH, 0.0, exp(belief.mean[CAPACITY]))
