"""The day's load shared out: fridge, steady base, evening, short bursts, and a rest that nothing explains."""
from functools import lru_cache

from monitor.findings import Answer, Estimate, NotYet
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.usage import fridge
from monitor.usage.fridge import BINS, Fridge
from monitor.usage.history import DAY_SLOTS, History

P = table("usage", "who_took")
DAYS = P.count("days")
#: The evening block lies between solar 16:30 and 01:00.
EVENING = (*range(P.count("evening_from_slot"), DAY_SLOTS), *range(P.count("evening_to_slot")))
BASE_SIGMA2_A, SIZE_LOW, SIZE_HIGH = P.number("base_sigma2_a"), P.number("size_low"), P.number("size_high")
PARTS_DAYS, PARTS_DOUBT_H, PARTS_DOUBT_A = P.count("parts_days"), P.count("parts_doubt_h"), P.number("parts_doubt_a")
DAY_PART, MEASURED = P.number("day_part"), P.numbers("measured")
GUESSED_LOAD, GUESSED_SUN = P.numbers("guessed_load"), P.numbers("guessed_sun")


@dataclass(frozen=True, slots=True)
class Shares:
    """Ampere-hours a day, and currents in amperes."""

    load_ah_per_day: Answer = NotYet("one whole day has to pass")
    harvest_ah_per_day: Answer = NotYet("one whole day has to pass")
    fridge_ah_per_day: Answer = NotYet("the fridge has to be seen starting and stopping")
    fridge_a: Answer = NotYet("the fridge has to be seen starting and stopping")
    fridge_duty_frac: Answer = NotYet("the fridge has to be seen starting and stopping")
    base_a: Answer = NotYet("one night has to pass")
    evening_ah_per_day: Answer = NotYet("three days have to pass")
    bursts_ah_per_day: Answer = NotYet("one whole day has to pass")
    rest_ah_per_night: Answer = NotYet("three days have to pass")   # dark hours that nothing above explains


def shares(
    past: History, cold: Fridge, day_c: tuple[float | None, ...], base_a: float | None, bursts_ah_per_day: float | None,
    rise: int, fall: int, solar_measured: bool = False,
) -> Shares:
    """What is known of the shares at the end of a half hour.

    base_a is the level of the deep night between two runs of the fridge [A]; rise and fall are the
    slots of sunrise and sunset. What the shares leave over of the measured load is told as a rest,
    never spread over the others; it is looked for in the dark only, since by day a load cannot be
    told from less sun.
    past: days so far; cold: what is known of the fridge; day_c: the day's temperature [°C]; bursts_ah_per_day: short loads of
    a day [Ah]; base_a: of the loads that are always on [A]; rise, fall: half hours of sunrise and sunset; solar_measured: whether the
    solar current is, so that loads by day are known and not guessed from the night.
    """
    loads = _by_slot(past, past.load_a)
    total = _sum_of(loads)
    sun = _sum_of(_by_slot(past, past.harvest_a))
    size = fridge.amperes(cold)
    duty = fridge.duties(cold, day_c)
    took = fridge.ah_per_day(cold, duty)
    found = {
        "load_ah_per_day": _as_measured(total, MEASURED if solar_measured else GUESSED_LOAD),
        "harvest_ah_per_day": _as_measured(sun, MEASURED if solar_measured else GUESSED_SUN),
        "fridge_ah_per_day": took,
        "base_a": Estimate(base_a, base_a - BASE_SIGMA2_A, base_a + BASE_SIGMA2_A, "learnt") if base_a is not None else NotYet(
            "one night has to pass"),
        "bursts_ah_per_day": _as_measured(bursts_ah_per_day, MEASURED),
    }
    if size is not None and duty is not None and isinstance(took, Estimate):
        found["fridge_a"] = Estimate(size, SIZE_LOW * size, SIZE_HIGH * size, "learnt")
        mean = sum(duty) / BINS
        found["fridge_duty_frac"] = Estimate(mean, max(mean * took.low / took.value, 0.0),
                                             min(mean * took.high / took.value, 1.0), "learnt")
    if (base_a is not None and size is not None and duty is not None and len(past.load_a) >= PARTS_DAYS * DAY_SLOTS
            and isinstance(took, Estimate)):
        evening = rest = 0.0
        for slot, load in enumerate(loads):
            if load is None or rise <= slot < fall:
                continue
            over = (load - base_a - size * duty[slot * BINS // DAY_SLOTS]) / 2
            if slot in EVENING:
                evening += over
            else:
                rest += over
        doubt = (took.high - took.low) / 4 + PARTS_DOUBT_H * PARTS_DOUBT_A
        evening = max(evening, 0.0)
        found["evening_ah_per_day"] = Estimate(evening, max(evening - doubt, 0.0), evening + doubt, "learnt")
        found["rest_ah_per_night"] = Estimate(rest, rest - doubt, rest + doubt, "learnt")
    return Shares(**found)


def _by_slot(past: History, values: tuple[float | None, ...]) -> list[float | None]:
    """Mean of each slot of the solar day over the last days."""
    recent = values[-DAYS * DAY_SLOTS:]
    if len(recent) < DAY_SLOTS:
        return [None] * DAY_SLOTS
    first = past.next_slot - len(recent)
    return [_mean(recent[(s - first) % DAY_SLOTS::DAY_SLOTS]) for s in range(DAY_SLOTS)]


@lru_cache(maxsize=2 * DAY_SLOTS)   # of loads and of sun; one of each has changed since the last half hour
def _mean(values: tuple[float | None, ...]) -> float | None:
    seen = [v for v in values if v is not None]
    return sum(seen) / len(seen) if seen else None


def _sum_of(slots: list[float | None]) -> float | None:
    """Ampere-hours of a day whose slots are means; None unless nearly all are known."""
    seen = [v for v in slots if v is not None]
    return 24 * sum(seen) / len(seen) if len(seen) >= DAY_PART * DAY_SLOTS else None


def _as_measured(value: float | None, range_: tuple[float, float]) -> Answer:
    """A sum of a day; range_: it lies between these parts of it."""
    if value is None:
        return NotYet("one whole day has to pass")
    return Estimate(value, range_[0] * value, range_[1] * value, "learnt")
