"""Gathers minutes into the window that one step of the estimate takes, and follows what a window needs of the time before."""
from math import exp, hypot
from typing import ClassVar

from monitor.battery.label import Battery, CurrentSensor
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

USUAL_C = table("battery", "house_battery").number("usual_c")
_P = table("estimation", "window")
#: Length of a window at an end, on the flats, and of the first; a window in which so much has flowed ends before its time.
STEP_S, FLAT_STEP_S, FIRST_STEP_S, MOST_FRAC = (
    _P.number("step_s"), _P.number("flat_step_s"), _P.number("first_step_s"), _P.number("most_frac"))
#: The current behind diffusion and kinetics is filtered with this; temperature with the other.
RATE_S, TEMPERATURE_S = _P.number("rate_s"), _P.number("temperature_s")
#: Below this no battery of four cells is seen: its protection has opened, or a wire is off.
OPEN_V = _P.number("open_v")
#: Both sides' current stand for so much of a gap at most [h].
BRIDGED_H = _P.number("bridged_h")
CLOSED_PER_H, CHARGER_V, CLOSED_BELOW_V = _P.number("closed_per_h"), _P.number("charger_v"), _P.number("closed_below_v")
CHARGING_PER_H, STOPPED_PER_H, NOT_DOWN_V = _P.number("charging_per_h"), _P.number("stopped_per_h"), _P.number("not_down_v")
ONE_READING_S = _P.number("one_reading_s")
BRIEF_H, BRIEF_PER_H, UNSEEN_PER_H, UNSEEN_POWER = (
    _P.number("brief_h"), _P.number("brief_per_h"), _P.number("unseen_per_h"), _P.number("unseen_power"))
APART_PART, MEAN_PART = _P.number("apart_part"), _P.number("mean_part")
#: Chargers that hold a low voltage: see parameters.toml.
HELD_FROM_V, HELD_V, TAIL_PART, TAIL_PER_H, RISEN_PER_H, TAIL_S = (
    _P.number("held_from_v"), _P.number("held_v"), _P.number("tail_part"), _P.number("tail_per_h"), _P.number("risen_per_h"),
    _P.number("tail_s"))
STEADY_S, STEADY_PER_H, CHANGED_PER_H = _P.number("steady_s"), _P.number("steady_per_h"), _P.number("changed_per_h")


@dataclass(frozen=True, slots=True)
class Window:
    """Charge and voltage since the last step. Means are weighted with seconds in which both were measured."""

    hours: float = 0.0
    seconds: float = 0.0
    volt_seconds: float = 0.0
    ampere_seconds: float = 0.0
    rate_seconds: float = 0.0
    in_ah: float = 0.0
    out_ah: float = 0.0
    doubt_ah2: float = 0.0
    low_a: float = 0.0
    high_a: float = 0.0


@dataclass(frozen=True, slots=True)
class WindowPast:
    """What went before: last readings, filtered current, warmth, whether the protection has opened, a gap not yet bridged, at which
    voltage it has stood and the most current that flowed in while it did."""

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"held_v", "held_a", "held_least_a", "held_s"})

    at_s: float | None = None
    voltage_v: float | None = None
    current_a: float | None = None
    rate: float = 0.0                      # filtered C-rate [1/h]
    temperature_c: float | None = None
    opened: bool = False
    gap_s: float = 0.0
    last_gap_s: float = 0.0                # of the gap that ended last
    held_v: float = 0.0
    held_a: float = 0.0
    held_least_a: float = 0.0              # the least since
    held_s: float = 0.0                    # how long that was

    @property
    def warmth_c(self) -> float:
        """Battery temperature; the usual one where none was ever measured."""
        return USUAL_C if self.temperature_c is None else self.temperature_c


def follow(past: WindowPast, minute: Minute, battery: Battery, sensor: CurrentSensor) -> WindowPast:
    """The past with this minute.

    past: filtered current and its history; minute: the readings of a minute; battery: what its label says; sensor: the shunt, its
    zero and gain with their doubt.
    """
    rated = battery.rated_capacity_ah
    voltage, current, opened = past.voltage_v, past.current_a, past.opened
    # what was read before a silence is not the reading before
    one_reading = past.gap_s + minute.gap_s <= ONE_READING_S
    for sample in minute.samples:
        raw = sample.house_current_a
        if raw is None:
            continue
        amps, volts = sensor.corrected_a(raw), sample.house_voltage_v
        if volts is not None:
            before_v, before_a = (voltage, current) if one_reading else (None, None)
            opened = _is_open(opened, before_v, before_a, volts, amps, rated)
            voltage, one_reading = volts, True
        current = amps
    temperature = past.temperature_c
    if minute.house_temperature_c is not None:
        seconds = minute.covered_s + minute.gap_s
        temperature = minute.house_temperature_c if temperature is None else (
            temperature + (1.0 - exp(-seconds / TEMPERATURE_S)) * (minute.house_temperature_c - temperature))
    rate = past.rate
    mean = minute.house_current_a
    if mean is not None:
        mean = sensor.corrected_a(mean)
        # after a gap, and at the first minute, the present current stands for what went before
        keep = exp(-(minute.covered_s + minute.gap_s) / RATE_S) if past.at_s is not None and past.gap_s + minute.gap_s < RATE_S else 0.0
        rate = mean / rated + keep * (rate - mean / rated)
    silent_s = past.gap_s + minute.gap_s
    gap_s, last_gap_s = (silent_s, past.last_gap_s) if mean is None else (0.0, silent_s or past.last_gap_s)
    return WindowPast(minute.end_s, voltage, current, rate, temperature, opened, gap_s, last_gap_s,
                      *_hold_voltage(past, minute, mean, rated))


def _hold_voltage(past: WindowPast, minute: Minute, mean_a: float | None, rated_ah: float) -> tuple[float, float, float, float]:
    """At which voltage it has stood [V], the most and the least current that flowed in meanwhile [A], for how long [s].

    The current that a charger holds off runs out and never comes back; that of the sun between clouds does.
    """
    volts, amps = minute.house_voltage_v or 0.0, mean_a or 0.0
    if (not volts or mean_a is None or abs(volts - past.held_v) > HELD_V
            or not -STOPPED_PER_H * rated_ah <= amps <= past.held_least_a + RISEN_PER_H * rated_ah):
        return volts, amps, amps, 0.0
    return past.held_v, max(past.held_a, amps), min(past.held_least_a, amps), past.held_s + minute.duration_s


def has_tailed_off(past: WindowPast, voltage_v: float, current_a: float, rated_ah: float) -> bool:
    """Whether a charger holds a voltage to which the battery has risen: its current has run out, and the voltage did not come down.

    past: the history; voltage_v, current_a: of the window [V, A]; rated_ah: rated capacity [Ah].
    """
    held = min(past.held_v, voltage_v) > HELD_FROM_V and past.held_s > TAIL_S and past.held_a > CHARGING_PER_H * rated_ah
    tail_a = min(TAIL_PART * past.held_a, TAIL_PER_H * rated_ah)
    return held and not past.opened and -STOPPED_PER_H * rated_ah < current_a < tail_a


def _is_open(opened: bool, before_v: float | None, before_a: float | None, volts: float, amps: float, rated: float) -> bool:
    """Whether the pack's protection is open. Charging: the current falls to nothing within one reading, and the voltage, now
    the charger's alone, does not come down with it. Discharging: voltage and current are gone."""
    if opened:
        return not (abs(amps) > CLOSED_PER_H * rated or OPEN_V < volts < CLOSED_BELOW_V)
    if volts <= OPEN_V:
        return abs(amps) < STOPPED_PER_H * rated
    return (before_v is not None and before_a is not None and before_a > CHARGING_PER_H * rated
            and abs(amps) < STOPPED_PER_H * rated and volts > CHARGER_V and volts > before_v - NOT_DOWN_V)


def add(window: Window, past: WindowPast, now: WindowPast, minute: Minute, battery: Battery, sensor: CurrentSensor) -> tuple[Window, float]:
    """The window with this minute, and the length of a gap that ended in it [h]; past is from before the minute.

    window: the stretch being gathered; past: filtered current and its history; now: the past with this minute; minute: the readings
    of a minute; battery: what its label says; sensor: the shunt, its zero and gain with their doubt.
    """
    rated, into, out, doubt = battery.rated_capacity_ah, 0.0, 0.0, 0.0
    shift = sensor.offset_a * minute.covered_s / 3600.0
    net = (minute.charge_in_ah - minute.charge_out_ah - shift) * sensor.gain
    small = min(minute.charge_in_ah, minute.charge_out_ah) * sensor.gain
    into, out = (net + small, small) if net > 0 else (small, small - net)
    gap_h = 0.0
    current = now.current_a if minute.house_current_a is not None else None
    if current is not None and past.gap_s + minute.gap_s:
        gap_h = (past.gap_s + minute.gap_s) / 3600.0
        bridged, sigma = bridge(past.current_a, current, gap_h, rated)
        sigma = hypot(sigma, (current if past.current_a is None else past.current_a) * minute.gap_doubt_s / 3600.0)
        into, out, doubt = into + max(bridged, 0.0), out + max(-bridged, 0.0), sigma * sigma
    w, volts = window, minute.house_voltage_v
    seconds = minute.covered_s
    hours = w.hours + seconds / 3600.0 + gap_h
    if seconds and volts is not None and minute.house_current_a is not None and not now.opened:
        mean = sensor.corrected_a(minute.house_current_a)
        rate = 0.5 * (past.rate + now.rate) if past.at_s is not None else now.rate
        return Window(
            hours, w.seconds + seconds, w.volt_seconds + volts * seconds, w.ampere_seconds + mean * seconds,
            w.rate_seconds + rate * seconds, w.in_ah + into, w.out_ah + out, w.doubt_ah2 + doubt,
            min(w.low_a, mean) if w.seconds else mean, max(w.high_a, mean) if w.seconds else mean), gap_h
    return replace(w, hours=hours, in_ah=w.in_ah + into, out_ah=w.out_ah + out, doubt_ah2=w.doubt_ah2 + doubt), gap_h


def bridge(before_a: float | None, after_a: float, gap_h: float, rated_ah: float) -> tuple[float, float]:
    """Charge that flowed in a gap [Ah] and one sigma: the mean of both sides' current for three hours at most, in doubt by
    their difference and by what may have gone on unseen.

    before_a: current before the gap [A], None: not known; after_a: current after it [A]; gap_h: its length [h]; rated_ah: rated
    capacity [Ah].
    """
    before = after_a if before_a is None else before_a
    mean, hours = 0.5 * (before + after_a), min(gap_h, BRIDGED_H)
    unseen = BRIEF_PER_H * rated_ah * gap_h if gap_h < BRIEF_H else UNSEEN_PER_H * rated_ah * gap_h**UNSEEN_POWER
    return mean * hours, max(APART_PART * abs(after_a - before), MEAN_PART * abs(mean)) * hours + unseen


def has_changed(window: Window, minute: Minute, battery: Battery, sensor: CurrentSensor) -> bool:
    """Whether this minute's current ends a steady stretch, which is better weighed by itself.

    window: the stretch being gathered; minute: the readings of a minute; battery: what its label says; sensor: the shunt, its zero
    and gain with their doubt.
    """
    if minute.house_current_a is None or window.seconds < STEADY_S:
        return False
    mean, rated = sensor.corrected_a(minute.house_current_a), battery.rated_capacity_ah
    steady = window.high_a - window.low_a < STEADY_PER_H * rated
    return steady and abs(mean - window.ampere_seconds / window.seconds) > CHANGED_PER_H * rated
