"""Which battery is which: the one that starts the engine sags when it cranks, and is charged first."""
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from monitor.commissioning.steps import NotClear

#: A start pulls the battery that gives it down by this part at least, and the other by a third of that at most.
DIP_FRAC, LEAST_SHARE = 0.03, 3.0
#: An alternator lifts a battery by this part of its voltage, at least.
LIFT_FRAC = 0.03
#: The starter battery is lifted so much earlier than the other [s].
EARLIER_S = 3.0
#: In a log a fall by this part, between readings so close together, is a start and no load.
CRANK_FRAC, CLOSE_S = 0.06, 3.0
#: Steps of the house current at least so large, between readings no further apart, and so many of them.
STEP_A, APART_S, LEAST_STEPS = 1.5, 150.0, 10
#: Larger ones come with an engine that moves both.
MOST_STEP_A = 12.0

Row = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class BatteryIdentity:
    """first_starts: whether the first of the two voltages is the starter battery's; seen: why, for a person."""

    first_starts: bool
    seen: str


def identify_batteries(rows: list[Row], known_start: bool = True) -> BatteryIdentity:
    """The battery that started the engine, from (seconds, volts of one, volts of the other).

    Only ratios count: neither divider needs to be right yet. known_start says that somebody did start the engine
    meanwhile; without it a lift alone says nothing, for the sun lifts a battery as well.

    Raises
    ------
    NotClear : no start is seen, or the signs contradict each other
    """
    if len(rows) < 8:
        raise NotClear("too few readings of both batteries; see that both voltages are measured")
    quiet = rows[:min(max(3, len(rows) // 20), 20)]
    levels = [median(row[k] for row in quiet) for k in (1, 2)]
    if min(levels) <= 0.05:
        raise NotClear("one of the two voltages shows nothing: its lead or the fuse in it is off")
    parts = [[(row[0], row[k] / levels[k - 1]) for row in rows] for k in (1, 2)]
    dips = [1.0 - min(value for _, value in part) for part in parts]
    first_s, second_s = (_find_lift_s(part) for part in parts)
    signs: list[tuple[bool, str]] = []
    deep, shallow = max(dips), min(dips)
    if deep >= DIP_FRAC and deep >= LEAST_SHARE * max(shallow, 0.002):
        signs.append((dips[0] > dips[1], f"it fell by {100 * deep:.0f} % while cranking, the other by {100 * max(shallow, 0.0):.0f} %"))
    if (known_start or signs) and (first_s is None) != (second_s is None):
        signs.append((second_s is None, "the engine lifted it, and not the other"))
    elif first_s is not None and second_s is not None and abs(first_s - second_s) >= EARLIER_S:
        signs.append((first_s < second_s, f"the engine lifted it {abs(first_s - second_s):.0f} s before the other"))
    if not signs:
        raise NotClear("no start of the engine is seen in the two voltages; start it again while this watches, with the "
                       "charger and the sun off the house battery if possible")
    if len({first for first, _ in signs}) > 1:
        raise NotClear(f"the signs contradict each other ({' but '.join(words for _, words in signs)}); try again with everything off")
    return BatteryIdentity(signs[0][0], "; ".join(words for _, words in signs))


def _find_lift_s(part: list[tuple[float, float]]) -> float | None:
    """When it was lifted for good [s]: three readings in a row; None where it was not."""
    run = 0
    for k, (_, value) in enumerate(part):
        run = run + 1 if value > 1.0 + LIFT_FRAC else 0
        if run == 3:
            return part[k - 2][0]
    return None


def from_log(rows: Iterable[tuple[float, float, float, float | None]]) -> BatteryIdentity:
    """The same from a log, of (seconds, volts of one, volts of the other, amperes through the house shunt or None).

    Two signs: readings close together show the start itself; and the house battery's voltage moves when the
    current through its shunt does, the starter battery's does not (or, joined, by less). The sun lifts the house
    battery as an engine lifts the starter battery, and so a lift alone says nothing here.

    Raises
    ------
    NotClear : neither sign is there, or they contradict each other
    """
    cranked = [0, 0]
    steps, power = 0, 0.0
    moved = [0.0, 0.0]
    before = None
    for row in rows:
        if before is not None and row[0] > before[0]:
            volts = ((row[1], before[1]), (row[2], before[2]))
            falls = [1.0 - now / then if then > 0.05 else 0.0 for now, then in volts]
            if row[0] - before[0] <= CLOSE_S and max(falls) >= CRANK_FRAC and max(falls) >= LEAST_SHARE * abs(min(falls)):
                cranked[falls[1] > falls[0]] += 1
            if row[0] - before[0] <= APART_S and row[3] is not None and before[3] is not None:
                change = row[3] - before[3]
                if STEP_A <= abs(change) <= MOST_STEP_A:
                    steps, power = steps + 1, power + change * change
                    for k, (now, then) in enumerate(volts):
                        moved[k] += change * (now / then - 1.0) if then > 0.05 else 0.0
        before = row
    signs: list[tuple[bool, str]] = []
    if sum(cranked) and min(cranked) * 4 < max(cranked):
        signs.append((cranked[0] > cranked[1], f"it fell while cranking in {max(cranked)} of {sum(cranked)} starts"))
    followed = [abs(m) / power if power else 0.0 for m in moved]
    if steps >= LEAST_STEPS and max(followed) >= 2.0 * min(followed):
        signs.append((followed[0] < followed[1], f"the other one moves with the current of the house shunt, in {steps} steps"))
    if not signs:
        raise NotClear("neither a start of the engine nor load steps are seen in this log; drive once, and ask again")
    if len({first for first, _ in signs}) > 1:
        raise NotClear(f"the signs contradict each other ({' but '.join(words for _, words in signs)}); is the shunt in the house "
                       "battery's lead?")
    return BatteryIdentity(signs[0][0], "; ".join(words for _, words in signs))
