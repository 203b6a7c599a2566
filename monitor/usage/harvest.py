"""Net battery current split into load and solar harvest, half hour by half hour, with what the sky is like."""
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.usage.history import DAY_SLOTS

NOON = DAY_SLOTS // 2

P = table("usage", "harvest")
WARMTH_PER_K = P.number("warmth_per_k")
WARMTH_LIMIT = P.number("warmth_limit")
FIRST_RISE, FIRST_SET = P.count("first_rise"), P.count("first_set")
USUAL_CLEARNESS = P.number("usual_clearness")
MORNING_SLOT, EVENING_SLOT, LIGHT_LEAST_SHARE = P.count("morning_slot"), P.count("evening_slot"), P.number("light_least_share")
BRIGHT_SHARE, DARK_A, DARK_PART, MAINS_A = P.number("bright_share"), P.number("dark_a"), P.number("dark_part"), P.number("mains_a")
NIGHT_LEAST_SHARE, MIRRORED, SHORT_DAY_SLOTS = P.number("night_least_share"), P.number("mirrored"), P.count("short_day_slots")
EARLIEST_SLOT, LATEST_SLOT, SUN_LEAST_A = P.count("earliest_slot"), P.count("latest_slot"), P.number("sun_least_a")


@dataclass(frozen=True, slots=True)
class Sky:
    """What was learnt of sun and night load on this vehicle.

    light_a is the mean, by slot of the solar day, of what came in above the night's load;
    night_load_a the mean load of the deep night and night_c its temperature. envelope_a is what a
    bright day gives. clearness_frac is today's harvest over that envelope.
    """

    light_a: tuple[float, ...] = (0.0,) * DAY_SLOTS
    seen: tuple[int, ...] = (0,) * DAY_SLOTS
    envelope_a: tuple[float, ...] = (0.0,) * DAY_SLOTS
    rise: int = FIRST_RISE
    set: int = FIRST_SET
    learnt: bool = False            # rise and set are known
    by_harvest: bool = False        # ... from what came in
    night_load_a: float | None = None
    night_c: float | None = None
    nights: int = 0
    today_ah: float = 0.0           # uncurtailed harvest of today, and the envelope of the same slots
    today_bright_ah: float = 0.0
    clearness_frac: float = USUAL_CLEARNESS


@dataclass(frozen=True, slots=True)
class Half:
    """One half hour before it is split. net_a is into the battery, offset removed."""

    slot: int
    net_a: float
    solar_a: float | None = None
    curtailed: bool = False
    temperature_c: float | None = None


def dark(sky: Sky, slot: int) -> bool:
    """Whether no sun is to be expected in this slot."""
    return not sky.rise <= slot % DAY_SLOTS < sky.set


def deep_night(slot: int) -> bool:
    """Solar 22:30 to 04:30: no sun at any place people camp at, and mostly no lights."""
    return not MORNING_SLOT <= slot % DAY_SLOTS < EVENING_SLOT


def usual_load_a(sky: Sky, temperature_c: float | None) -> float | None:
    """Load without lights and visitors at this temperature [A], from the deep nights."""
    if sky.night_load_a is None:
        return None
    if temperature_c is None or sky.night_c is None:
        return sky.night_load_a
    return sky.night_load_a * (1 + min(max(WARMTH_PER_K * (temperature_c - sky.night_c), -WARMTH_LIMIT), WARMTH_LIMIT))


def split(sky: Sky, half: Half, charging_load_a: float | None = None) -> tuple[float | None, float]:
    """Load and harvest of a half hour [A], both positive; load None where it cannot be told.

    In the dark all current is load. By day the load is taken for what it usually is at this
    temperature, and whenever the battery gives more than that, the load is what the battery gives
    [leaving this correction out biases every later result]. Under curtailment the harvest is what
    the load and the battery took: the sun had more, see `potential_a`.
    sky: what was learnt of the sun; charging_load_a: load while charging [A]; half: sums of the half hour.
    """
    if half.solar_a is not None:
        return max(half.solar_a - half.net_a, 0.0), max(half.solar_a, 0.0)
    if sky.learnt and dark(sky, half.slot) and (half.net_a <= 0 or deep_night(half.slot)):
        return max(-half.net_a, 0.0), 0.0
    usual = charging_load_a if charging_load_a is not None else usual_load_a(sky, half.temperature_c)
    if usual is None:
        return (-half.net_a, 0.0) if half.net_a < 0 else (None, half.net_a)
    if -half.net_a >= usual:
        return -half.net_a, 0.0
    return usual, half.net_a + usual


def potential_a(sky: Sky, half: Half, harvest_a: float) -> float:
    """What the sun could have given [A]: under curtailment at least the envelope at today's clearness.

    sky: what was learnt of the sun; half: the half hour; harvest_a: current from the sun [A].
    """
    if not half.curtailed:
        return harvest_a
    return max(harvest_a, sky.clearness_frac * sky.envelope_a[half.slot % DAY_SLOTS])


def note_sun(sky: Sky, half: Half, harvest_a: float) -> Sky:
    """The sky after one more half hour in which nothing but sun and loads moved the battery.

    harvest_a: current from the sun [A]; sky: what was learnt of the sun; half: sums of the half hour.
    """
    at = half.slot % DAY_SLOTS
    if deep_night(half.slot):
        return _night(sky, half)
    above = max(half.net_a + (sky.night_load_a or 0.0), 0.0) if half.solar_a is None else half.solar_a
    count = sky.seen[at] + 1
    gain = max(1.0 / count, LIGHT_LEAST_SHARE)
    light = _put(sky.light_a, at, sky.light_a[at] + gain * (above - sky.light_a[at]))
    bright = sky.envelope_a[at]
    sky = replace(sky, light_a=light, seen=_put(sky.seen, at, count))
    if half.curtailed and harvest_a <= bright:
        return sky
    # Follows the bright days up at once and forgets over three weeks.
    bright = max(harvest_a, bright - BRIGHT_SHARE * (bright - harvest_a))
    sky = replace(sky, envelope_a=_put(sky.envelope_a, at, round(bright, 3)))
    if half.curtailed or bright < DARK_A:
        return sky
    ah, of = sky.today_ah + harvest_a / 2, sky.today_bright_ah + bright / 2
    return replace(sky, today_ah=ah, today_bright_ah=of, clearness_frac=(ah + USUAL_CLEARNESS) / (of + 1.0))


def _night(sky: Sky, half: Half) -> Sky:
    load = max(-half.net_a, 0.0)
    if half.net_a > MAINS_A and half.solar_a is None:
        return sky  # charging in the dark: mains or something else that is not the sun
    if sky.night_load_a is None:
        return replace(sky, night_load_a=load, night_c=half.temperature_c, nights=1)
    gain = max(1.0 / (sky.nights + 1), NIGHT_LEAST_SHARE)  # a dozen slots a night: about four nights of memory
    warm = sky.night_c
    if half.temperature_c is not None:
        warm = half.temperature_c if warm is None else warm + gain * (half.temperature_c - warm)
    return replace(sky, night_load_a=sky.night_load_a + gain * (load - sky.night_load_a), night_c=warm,
                   nights=sky.nights + 1)


def describe_sky(sky: Sky, half_day_h: float) -> Sky:
    """The sky where place and date say when the sun rises, unless the harvest itself has already shown it."""
    if sky.by_harvest or half_day_h <= 0:
        return sky
    half = min(round(2 * half_day_h), NOON)
    return replace(sky, rise=NOON - half, set=NOON + half, learnt=True)


def note_turn(sky: Sky, slots: int) -> Sky:
    """The sky after noon was found that many slots from where it was thought to be."""
    if not slots:
        return sky

    def turn(values: tuple) -> tuple:
        return tuple(values[(i - slots) % DAY_SLOTS] for i in range(DAY_SLOTS))

    return replace(sky, light_a=turn(sky.light_a), seen=turn(sky.seen), envelope_a=turn(sky.envelope_a))


def new_day(sky: Sky) -> Sky:
    """The sky at solar midnight: sunrise and sunset found anew, the envelope made whole."""
    sky = replace(sky, today_ah=0.0, today_bright_ah=0.0, clearness_frac=USUAL_CLEARNESS)
    if min(sky.seen[MORNING_SLOT:EVENING_SLOT]) < 1:
        return sky
    # Afternoons of a battery that is full by noon are never seen: the mornings stand in for them.
    bright = sky.envelope_a
    mirrored = tuple(max(value, MIRRORED * bright[(2 * NOON - 1 - slot) % DAY_SLOTS]) for slot, value in enumerate(bright))
    floor = DARK_A + DARK_PART * max(sky.light_a)
    mornings, evenings = range(NOON - SHORT_DAY_SLOTS, EARLIEST_SLOT, -1), range(NOON + SHORT_DAY_SLOTS, LATEST_SLOT)
    rise = next((s for s in mornings if sky.light_a[s] < floor and sky.light_a[s - 1] < floor), EARLIEST_SLOT) + 1
    fall = next((s for s in evenings if sky.light_a[s] < floor and sky.light_a[s + 1] < floor), LATEST_SLOT)
    learnt = max(sky.light_a) > SUN_LEAST_A
    sky = replace(sky, envelope_a=mirrored)
    return replace(sky, rise=rise, set=fall, learnt=True, by_harvest=True) if learnt else sky


def _put(values: tuple, at: int, value):
    return (*values[:at], value, *values[at + 1:])
