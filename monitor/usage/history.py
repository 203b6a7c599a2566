"""Three weeks of load and harvest in half-hour slots of the solar day: what forecasts are drawn from."""
from monitor.parameters import table
from monitor.replacing import dataclass, replace

SLOT_S = 1800.0
DAY_SLOTS = 48

P = table("usage", "history")
KEPT_DAYS = P.count("kept_days")


@dataclass(frozen=True, slots=True)
class History:
    """Slot after slot without holes; None where it was not measured, so that a gap is never a zero load.

    first_slot numbers the oldest one; slot numbers divided by 48 leave the time of the solar day,
    24 being solar noon. Currents are means [A], both positive.
    """

    first_slot: int = 0
    load_a: tuple[float | None, ...] = ()
    harvest_a: tuple[float | None, ...] = ()
    temperature_c: tuple[float | None, ...] = ()

    @property
    def next_slot(self) -> int:
        return self.first_slot + len(self.load_a)


def add(
    history: History, slot: int, load_a: float | None, harvest_a: float | None, temperature_c: float | None,
) -> History:
    """The history with one more slot; slots left out between are marked as not measured.

    load_a: current of the loads [A]; harvest_a: current from the sun [A]; temperature_c: around the fridge, None: not measured
    [°C]; history: half hours so far; slot: number of the half hour.
    """
    row = (_short(load_a, 2), _short(harvest_a, 2), _short(temperature_c, 0))
    if not history.load_a or slot - history.next_slot > KEPT_DAYS * DAY_SLOTS:
        return History(slot, (row[0],), (row[1],), (row[2],))
    missed = slot - history.next_slot
    if missed < 0:
        return history
    hole = (None,) * missed
    excess = max(len(history.load_a) + missed + 1 - KEPT_DAYS * DAY_SLOTS, 0)
    return History(
        history.first_slot + excess,
        (*history.load_a, *hole, row[0])[excess:],
        (*history.harvest_a, *hole, row[1])[excess:],
        (*history.temperature_c, *hole, row[2])[excess:],
    )


def renumber(history: History, slots: int, from_slot: int | None = None) -> History:
    """The same history with slots moved later in the solar day: noon was found elsewhere than thought.

    All of them, or those from from_slot on where a pause of unsure length came before it: then
    what lay before was numbered right, and the pause grows or shrinks.

    history: half hours so far; slots: later by so many, negative: earlier; from_slot: only from this one on, None: all.
    """
    at = 0 if from_slot is None else from_slot - history.first_slot
    if not 0 < at < len(history.load_a):
        return replace(history, first_slot=history.first_slot + slots)

    def move(values: tuple[float | None, ...]) -> tuple[float | None, ...]:
        return (*values[:at + min(slots, 0)], *(None,) * max(slots, 0), *values[at:])

    return History(history.first_slot, move(history.load_a), move(history.harvest_a), move(history.temperature_c))


def window(values: tuple[float | None, ...], first_slot: int, from_slot: int) -> tuple[float | None, ...]:
    """One day of values from a slot on, or () unless three quarters of it were measured.

    first_slot: number of the first half hour; from_slot: number of the half hour it begins at; values: by half hour, None: not
    measured.
    """
    start = from_slot - first_slot
    if start < 0 or start + DAY_SLOTS > len(values):
        return ()
    day = values[start:start + DAY_SLOTS]
    return day if day.count(None) <= DAY_SLOTS // 4 else ()


def fill_slot(day: tuple[float | None, ...], profile: tuple[float, ...]) -> tuple[float, ...]:
    """A day with its unmeasured slots taken from the profile that starts at the same time of day."""
    measured = tuple(value for value in day if value is not None)
    if len(measured) == len(day):
        return measured
    return tuple(p if value is None else value for value, p in zip(day, profile, strict=True))


def profile(days: list[tuple[float | None, ...]], otherwise: float) -> tuple[float, ...]:
    """Mean of each slot over the days that measured it."""
    means = []
    for slot in range(DAY_SLOTS):
        seen = [value for day in days if (value := day[slot]) is not None]
        means.append(sum(seen) / len(seen) if seen else otherwise)
    return tuple(means)


def _short(value: float | None, digits: int) -> float | None:
    """Rounded, since the state is saved every minute on a card."""
    return None if value is None else round(value, digits)
