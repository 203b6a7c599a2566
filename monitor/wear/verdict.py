"""Is the house battery used up: a verdict from weekly records, with its lines of evidence."""
from math import log
from typing import ClassVar

from monitor.battery.label import Battery
from monitor.battery.limits import USED_UP_FRAC
from monitor.findings import Answer, Estimate, EvidenceLine, NotYet, VerdictWord
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.wear import resistance_trend
from monitor.wear.resistance_weeks import Effects, WeekLevel
from monitor.wear.week import Week

P = table("wear", "verdict")
FAR_GONE_FRAC, SOUND_FRAC = P.number("far_gone_frac"), P.number("sound_frac")
GROWN, MUCH_GROWN = P.number("grown"), P.number("much_grown")
RECENT_WEEKS, EMPTY_ABOVE_FRAC = P.count("recent_weeks"), P.number("empty_above_frac")
#: Figures of weeks are freed of depth and warmth already.
NO_EFFECTS = Effects(0.0, 0.0, 0.0, 0.0, 0.0)
COLD_C = P.number("cold_c")
TEST_HOLDS_S = P.number("test_holds_s")
USED_FRAC, LEAST_WEEKS = P.number("used_frac"), P.count("least_weeks")


@dataclass(frozen=True, slots=True)
class CapacityTest:
    """A capacity test: what the battery gave from full, at its rated rate and 25 °C, with its 95 % interval [Ah].

    reached_end is False where the test was stopped before the battery was empty: it holds at least low_ah. sigma_ln is the
    doubt of its logarithm; None in a test that an earlier version noted.
    """

    at_s: float
    capacity_ah: float
    low_ah: float
    high_ah: float
    reached_end: bool = True
    sigma_ln: float | None = None

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"sigma_ln"})


@dataclass(frozen=True, slots=True)
class Verdict:
    """The word, what it rests on, and the figures behind."""

    word: VerdictWord
    lines: tuple[EvidenceLine, ...]
    capacity_frac: Answer          # of the label
    resistance_growth_ratio: Answer      # against the battery's own first weeks


NOTHING_YET = Verdict("not enough evidence", (),
                      NotYet("it takes one week that begins with a full charge and goes deep"),
                      resistance_trend.growth((), NO_EFFECTS))


def judge(weeks: tuple[Week, ...], battery: Battery, test: CapacityTest | None = None, growth: Answer | None = None,
          first: CapacityTest | None = None) -> Verdict:
    """The verdict from the weeks so far, and the latest capacity test where there was one.

    growth is that of the resistance where the caller knows it better than from the weeks' figures.

    "replace" needs one decisive line or two strong ones that do not share a measurement. Weeks too cold,
    and a resistance that jumped from one week to the next (a bad contact looks so), are left out first.
    battery: its label; weeks: the weekly records, oldest first; test: the latest capacity test, None: there was none; growth: of
    the resistance against the first weeks; first: the first capacity test of this battery, which is kept for its whole life.
    """
    warm = tuple(w for w in weeks if w.temperature_c is None or w.temperature_c > COLD_C)
    capacity, growth = _capacity(warm, battery), _growth(warm) if growth is None else growth
    if test is not None and weeks and weeks[-1].start_s - test.at_s > TEST_HOLDS_S:
        test = None
    lines: list[EvidenceLine] = [] if test is None else _test_lines(test, battery)
    lines += _first_lines(first, test, capacity, battery)
    if isinstance(capacity, Estimate):
        figures = f"{100 * capacity.low:.0f} to {100 * capacity.high:.0f} % of rated capacity"
        undo = "a guided capacity test that gives more, or a label that promises less than configured"
        if capacity.high < FAR_GONE_FRAC:
            lines.append(EvidenceLine("decisive", f"usable charge is {figures}", undo))
        elif capacity.high < USED_UP_FRAC:
            lines.append(EvidenceLine("strong", f"usable charge is {figures}", undo))
        elif capacity.value < USED_UP_FRAC:
            lines.append(EvidenceLine("weak", f"usable charge is probably below 80 %: {figures}", undo))
        elif capacity.low > USED_UP_FRAC or capacity.value > SOUND_FRAC and capacity.low > FAR_GONE_FRAC:
            lines.append(EvidenceLine("for", f"usable charge is {figures}", "a discharge that ends earlier than that"))
    sagged = [w for w in warm[-2 * RECENT_WEEKS:] if w.empties_above_frac > EMPTY_ABOVE_FRAC]
    if len(sagged) >= 2:
        seen = f"the battery was empty twice while the count still showed more than {100 * EMPTY_ABOVE_FRAC:.0f} %"
        lines.append(EvidenceLine("decisive", seen,
                          "a shunt that a load bypasses, or a discharge that goes on past that point", "count"))
    if isinstance(growth, Estimate):
        figures = f"resistance is {growth.low:.2f} to {growth.high:.2f} times that of its first weeks"
        undo = "a fall after its terminals and the voltage leads are cleaned and tightened: then it was a contact"
        if growth.low > MUCH_GROWN:
            lines.append(EvidenceLine("strong", figures, undo, "resistance"))
        elif growth.low > GROWN:
            lines.append(EvidenceLine("weak", figures, undo, "resistance"))
        elif growth.high < GROWN:
            lines.append(EvidenceLine("for", figures, "a later rise", "resistance"))
    if test is not None and test.reached_end:
        sound = test.low_ah > USED_UP_FRAC * battery.rated_capacity_ah
    else:
        sound = isinstance(capacity, Estimate) and capacity.value >= SOUND_FRAC
    # a silent week, or one on a charger, repeats what was known before: no more of them make it sounder
    used = sum(week.charge_out_ah >= USED_FRAC * battery.rated_capacity_ah for week in warm)
    return Verdict(_word(lines, sound, used + LEAST_WEEKS * (test is not None)), tuple(lines), capacity, growth)


def _test_lines(test: CapacityTest, battery: Battery) -> list[EvidenceLine]:
    """What a capacity test says: below 80 % of rated capacity is the end of life (FIST 3-6, IEEE 450)."""
    low, value, high = (ah / battery.rated_capacity_ah for ah in (test.low_ah, test.capacity_ah, test.high_ah))
    if not test.reached_end:
        seen = f"a capacity test that was stopped early had already given {100 * low:.0f} % of rated capacity"
        return [EvidenceLine("for", seen, "a discharge that ends earlier than that")] if low > USED_UP_FRAC else []
    seen = f"a capacity test gave {100 * low:.0f} to {100 * high:.0f} % of rated capacity"
    undo = "a second test that begins with a longer charge and gives more"
    if high < USED_UP_FRAC:
        return [EvidenceLine("decisive", seen, undo)]
    if value < USED_UP_FRAC:
        return [EvidenceLine("strong", seen, undo)]
    return [EvidenceLine("for", seen, "a later test that gives less")]


def _first_lines(first: CapacityTest | None, test: CapacityTest | None, capacity: Answer, battery: Battery) -> list[EvidenceLine]:
    """What is left of what the battery itself gave in its first test: a label that promises too much does not count here.

    first, test: its first and its latest capacity test; capacity: usable charge over the label; battery: the label.
    """
    if first is None or not first.reached_end:
        return []
    if test is not None and test.at_s != first.at_s and test.reached_end:
        now, what = (test.low_ah, test.high_ah), "the latest capacity test gave"
    elif isinstance(capacity, Estimate):
        now, what = (capacity.low * battery.rated_capacity_ah, capacity.high * battery.rated_capacity_ah), "usable charge is"
    else:
        return []
    low, high = now[0] / first.high_ah, now[1] / first.low_ah
    seen = f"{what} {100 * low:.0f} to {100 * high:.0f} % of what its first test gave"
    undo = "a guided capacity test that gives more"
    if 0 < high < USED_UP_FRAC:
        return [EvidenceLine("strong", seen, undo)]
    return [EvidenceLine("for", seen, "a later test that gives less")] if low > USED_UP_FRAC else []


def _word(lines: list[EvidenceLine], sound: bool, used_weeks: int) -> VerdictWord:
    decisive = sum(line.weight == "decisive" for line in lines)
    strong = sum(line.weight == "strong" for line in lines)
    weak = sum(line.weight == "weak" for line in lines)
    if (decisive or strong >= 2) and not sound:
        return "replace"
    if decisive or strong or weak >= 2 or (weak and not sound):
        return "watch"
    if any(line.weight == "for" for line in lines) and used_weeks >= LEAST_WEEKS:
        return "healthy"
    return "not enough evidence"


def _capacity(weeks: tuple[Week, ...], battery: Battery) -> Answer:
    recent = [(w.capacity_ah, w.capacity_low_ah, w.capacity_high_ah) for w in weeks[-RECENT_WEEKS:]
              if w.capacity_ah is not None and w.capacity_low_ah is not None and w.capacity_high_ah is not None]
    if not recent:
        return NotYet("it takes one week that begins with a full charge and goes deep")
    share, low, high = (ah / battery.rated_capacity_ah for ah in recent[-1])
    return Estimate(share, max(low, 0.0), high, "learnt")


def _growth(weeks: tuple[Week, ...]) -> Answer:
    return resistance_trend.growth(tuple(
        WeekLevel(w.start_s, log(w.resistance_ohm), 0.0, 0.0, w.resistance_sigma_ohm / w.resistance_ohm)
        for w in weeks if w.resistance_ohm and w.resistance_sigma_ohm is not None), NO_EFFECTS)
