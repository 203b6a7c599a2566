"""What the measuring steps conclude: zero, direction, gain, divider and cable drop, each with its doubt.

Doubts are one standard deviation, put together as JCGM 100:2008 (GUM) says: a limit of error that a manual
gives, and the last digit that a display shows, are rectangular (4.3.7): half their width over the root of 3.
"""
from dataclasses import dataclass
from math import hypot, sqrt
from statistics import fmean, stdev

from monitor.findings import Z95

#: Limits of error of an ordinary multimeter, as fractions of what it shows (common practice; its manual knows better).
METER_V_FRAC, METER_A_FRAC = 0.005, 0.015
#: What a shunt may show with everything off; beyond this something was on [A].
MOST_OFFSET_A, MOST_SPREAD_A = 3.0, 0.5
#: No zero is surer than this [A]: warmth moves it.
LEAST_OFFSET_SIGMA_A = 0.005
#: The least change of current that tells the direction, and the least current that tells the gain [A].
LEAST_STEP_A, LEAST_GAIN_A = 0.5, 1.0
#: A gain further from 1 than this is no error of the shunt but a wrong scale.
GAIN_FRAC = 0.2
#: A lead that loses less than this at ten amperes is in order [V].
LOST_V = 0.03
#: What a 12 V battery can show at its posts [V].
POSTS_V = (8.0, 16.0)


class NotClear(ValueError):
    """The step gave no result; one sentence that says why and what to do."""


class MeansThat(NotClear):
    """An answer that is understood, but asked back: `instead` is what was most likely meant."""

    def __init__(self, question: str, instead: str) -> None:
        super().__init__(question)
        self.instead = instead


@dataclass(frozen=True, slots=True)
class Shown:
    """What an instrument showed over some seconds: mean, doubt of the mean, extremes."""

    mean: float
    sigma: float
    low: float
    high: float
    count: int


@dataclass(frozen=True, slots=True)
class Meter:
    """What a person read off a multimeter: the value, and the last digit of it."""

    value: float
    digit: float

    def sigma(self, limit_frac: float) -> float:
        """Its doubt, in its own unit."""
        return hypot(limit_frac * self.value, self.digit / 2) / sqrt(3)


@dataclass(frozen=True, slots=True)
class Found:
    """A result and one standard deviation of it, both in the unit of what was looked for."""

    value: float
    sigma: float


def show_reading(values: list[float]) -> Shown:
    """The readings in short.

    Raises
    ------
    NotClear : fewer than three
    """
    if len(values) < 3:
        raise NotClear(f"it was measured only {len(values)} times; see that the instrument answers, or measure for longer")
    return Shown(fmean(values), stdev(values) / sqrt(len(values)), min(values), max(values), len(values))


def compare_reading(text: str) -> Meter:
    """A number as a person types it off a display; a comma is as good as a point.

    >>> compare_reading("12,63")
    Meter(value=12.63, digit=0.01)

    Raises
    ------
    NotClear : it is no number
    """
    plain = text.strip().lower().rstrip("va ").replace(",", ".")
    try:
        value = float(plain)
    except ValueError:
        value = float("nan")
    if value - value != 0.0:
        raise NotClear(f"{text.strip()[:20]!r} is not a number; type what the display shows, as 12.63")
    return Meter(value, round(10.0 ** -len(plain.partition(".")[2]), 9) if "e" not in plain else abs(value) * 0.01)


def zero(current: Shown) -> Found:
    """What a shunt shows with nothing flowing [A].

    Raises
    ------
    NotClear : something was on
    """
    if current.high - current.low > MOST_SPREAD_A or abs(current.mean) > MOST_OFFSET_A:
        raise NotClear(f"the shunt showed {current.low:.2f} to {current.high:.2f} A: something was on, or the sun was shining; "
                       "switch everything off, cover the panel, and try again")
    return Found(current.mean, max(current.sigma, LEAST_OFFSET_SIGMA_A))


def direction(current_a: float, before_a: float | None, discharging: bool = True) -> int:
    """1 where the current counts the right way (positive into the battery), -1 where it must be turned round.

    current_a is shown now that a load (discharging) or a charger is on, before_a what was shown without it; where
    before_a is None the sign of the current itself is judged.

    current_a: shown with it on [A]; before_a: shown without [A]; discharging: a load is on, not a charger.

    Raises
    ------
    NotClear : too little current
    """
    change = current_a - (before_a or 0.0)
    if abs(change) < LEAST_STEP_A:
        what = "changed by" if before_a is not None else "is"
        raise NotClear(f"the current {what} only {abs(change):.2f} A; switch on {'a load' if discharging else 'a charger'} of some "
                       "amperes, such as all the lights, and try again")
    return -1 if (change > 0) is discharging else 1


def gain(meter: Meter, current: Shown, offset: Found, limit_frac: float = METER_A_FRAC) -> Found:
    """True current over shown current; the meter's sign does not count.

    meter: the multimeter's current, with its doubt; current: shown meanwhile; offset: what is shown with everything off;
    limit_frac: further from 1 is not believed.

    Raises
    ------
    NotClear : too little current for it
    """
    flows = abs(current.mean - offset.value)
    value = abs(meter.value)
    if value < LEAST_GAIN_A or flows < 0.05:
        raise NotClear(f"{value:g} A by the meter and {flows:.2f} A by the shunt are too little to compare; "
                       "switch on a larger load, five amperes or more")
    ratio = value / flows
    own = hypot(current.sigma, offset.sigma) / flows
    return Found(ratio, ratio * hypot(Meter(value, meter.digit).sigma(limit_frac) / value, own))


def voltage_factor(meter: Meter, voltage: Shown, limit_frac: float = METER_V_FRAC) -> Found:
    """What shown volts must be multiplied by to be those at the battery's posts.

    meter: the multimeter's voltage, with its doubt; voltage: shown meanwhile; limit_frac: further from 1 is not believed.

    Raises
    ------
    NotClear : that is no 12 V battery, or nothing is connected
    """
    low, high = POSTS_V
    if not low <= meter.value <= high:
        raise NotClear(f"{meter.value:g} V is not what a 12 V battery shows at its posts ({low:g} to {high:g} V); measure again")
    if voltage.mean < 0.05:
        raise NotClear(f"the instrument shows {voltage.mean:.3f} V: its lead or the fuse in it is off")
    if voltage.high - voltage.low > 0.02 * abs(voltage.mean) + 0.005:
        raise NotClear(f"the instrument went from {voltage.low:.2f} to {voltage.high:.2f} V meanwhile: wait until nothing switches")
    factor = meter.value / voltage.mean
    return Found(factor, factor * hypot(meter.sigma(limit_frac) / meter.value, voltage.sigma / voltage.mean))


def lead_ohm(meter: Meter, voltage: Shown, current: Shown) -> Found:
    """Resistance that the voltage's lead shares with the load [ohm]: what is lost between posts and instrument.

    meter is read at the posts while the load is on; voltage and current are shown meanwhile (voltage already
    compared with the same meter, so that its own error falls out), current positive into the battery.

    meter: the multimeter's voltage, with its doubt; voltage, current: shown meanwhile.

    Raises
    ------
    NotClear : too little current, or the two were not measured together
    """
    if current.mean > -LEAST_GAIN_A:
        raise NotClear(f"{-current.mean:.2f} A are drawn, too little to see a drop; switch on a larger load, five amperes or more")
    lost = meter.value - voltage.mean
    if abs(lost) > 1.0:
        raise NotClear(f"{meter.value:g} V at the posts and {voltage.mean:.2f} V by the instrument are too far apart: compare the "
                       "voltage with everything off first")
    sigma = hypot(meter.digit / sqrt(12), voltage.sigma) / -current.mean
    return Found(lost / -current.mean, sigma)


def is_lossy(lead: Found) -> bool:
    """Whether the voltage's lead loses so much that it should be laid anew."""
    return abs(lead.value) * 10.0 > LOST_V and abs(lead.value) > Z95 * lead.sigma
