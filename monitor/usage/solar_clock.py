"""The time of the solar day from the harvest itself, so that profiles need no clock and no time zone."""
from math import atan2, cos, pi, sin

from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.usage.history import DAY_SLOTS, SLOT_S

DAY_S = 86400.0

P = table("usage", "solar_clock")
CLOCK_NOON_HOUR = P.number("clock_noon_hour")
MIDDLE_SIGMA_H = P.number("middle_sigma_h")
MIDDLE_EARLY_H = P.number("middle_early_h")
UNKNOWN_S, NIGHT_S, SHIFT_SLOTS, SUN_A = P.number("unknown_s"), P.number("night_s"), P.number("shift_slots"), P.number("sun_a")
DAY_SLOT_A, GATHERED = P.number("day_slot_a"), P.number("gathered")


@dataclass(frozen=True, slots=True)
class SolarClock:
    """Where in the log's day the sun stands highest.

    noon_s is that moment modulo a day on the log's line of time; shift_slots what is added to a
    slot counted on that line to make it solar. sigma_s is one standard deviation of noon_s.
    """

    noon_s: float = DAY_S / 2
    sigma_s: float = UNKNOWN_S
    shift_slots: int = 0


def slot_of(clock: SolarClock, at_s: float) -> int:
    """The solar slot of a moment; modulo 48 it is the time of day, 24 at solar noon."""
    return int(at_s // SLOT_S) + clock.shift_slots


def hour_of(clock: SolarClock, at_s: float) -> float:
    """Solar hour, 0 to 24, 12 at noon."""
    return ((at_s - clock.noon_s) / 3600.0 + 12.0) % 24.0


def is_settled(clock: SolarClock) -> bool:
    """Whether noon is known well enough to tell night from day."""
    return clock.sigma_s < 2 * 3600.0


def describe_clock(clock: SolarClock, at_s: float, hour: float) -> SolarClock:
    """The clock after a trusted local hour, which places noon to about an hour.

    at_s: the log's time [s]; clock: what is known of noon; hour: local clock hour.
    """
    return weigh_day(clock, (at_s + (CLOCK_NOON_HOUR - hour) * 3600.0) % DAY_S, 3600.0)


def note_doubt(clock: SolarClock, doubt_s: float) -> SolarClock:
    """The clock after a pause whose length is unsure."""
    sigma_s = min((clock.sigma_s**2 + doubt_s**2) ** 0.5, UNKNOWN_S)
    return SolarClock(clock.noon_s, sigma_s, clock.shift_slots)


def weigh_day(clock: SolarClock, noon_s: float, sigma_s: float) -> SolarClock:
    """The clock after one sight of noon; half a day either way is no difference that can be known.

    noon_s: the log's time of solar noon [s]; sigma_s: one sigma of the time [s]; clock: what is known of noon.
    """
    miss_s = (noon_s - clock.noon_s + DAY_S / 2) % DAY_S - DAY_S / 2
    before = clock.sigma_s**2
    gain = before / (before + sigma_s**2)
    return SolarClock((clock.noon_s + gain * miss_s) % DAY_S, (before * (1 - gain)) ** 0.5, clock.shift_slots)


def day_seen(clock: SolarClock, middle_s: float) -> SolarClock:
    """The clock a day later, after a day's middle of harvest (log time)."""
    moved = SolarClock(clock.noon_s, (clock.sigma_s**2 + NIGHT_S**2) ** 0.5, clock.shift_slots)
    return weigh_day(moved, (middle_s + MIDDLE_EARLY_H * 3600.0) % DAY_S, MIDDLE_SIGMA_H * 3600.0)


def due_shift(clock: SolarClock) -> int:
    """By how many slots the numbering should move to put noon at slot 24; 0 while it is near enough."""
    wanted = DAY_SLOTS // 2 - clock.noon_s / SLOT_S
    miss = (wanted - clock.shift_slots + DAY_SLOTS / 2) % DAY_SLOTS - DAY_SLOTS / 2
    return round(miss) if abs(miss) > SHIFT_SLOTS and is_settled(clock) else 0


def middle_of(excess_a: tuple[float, ...], first_slot: int, shift_slots: int) -> float | None:
    """Log time of the middle of a day's harvest (24 h of slots), None where there was too little of it.

    The circular mean of the slots weighted by what came in above the night's level.
    excess_a: harvest above the night's load, by half hour [A]; first_slot: number of the first half hour; shift_slots:
    by how many half hours the day is moved.
    """
    x = y = total = 0.0
    for i, value in enumerate(excess_a):
        if value > SUN_A:
            angle = 2 * pi * ((first_slot + i + 0.5) % DAY_SLOTS) / DAY_SLOTS
            x, y, total = x + value * cos(angle), y + value * sin(angle), total + value
    if total < DAY_SLOT_A or (x * x + y * y) ** 0.5 < GATHERED * total:
        return None
    slot = (atan2(y, x) / (2 * pi) * DAY_SLOTS) % DAY_SLOTS
    return (slot - shift_slots) * SLOT_S % DAY_S
