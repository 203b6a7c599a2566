"""What another battery, panel or charger would have done with the same life."""
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import exp, sqrt
from random import Random

from monitor.battery import charge_loss
from monitor.findings import Answer, Estimate
from monitor.planning import life_engine
from monitor.planning.charging_paths import ACCEPTANCE_SIGMA, Luck
from monitor.planning.life_engine import LifeResult
from monitor.planning.life_on_log import forecast_on_slots
from monitor.planning.load_profile import SLOT_H, LoggedSlot, Slot, refill
from monitor.planning.model import Setup, as_days, make_rig

#: Lives of each candidate (choice: the ends of a 95 % range are then known to about a tenth of it).
DRAWS = 100
#: One sigma of the logarithm of the sun that a log tells from loads without a solar meter, and of what a flat battery prevented
#: (choice: on simulated camps the first is 0.85 to 1.9 times what is shown, the second a half to the fivefold).
SPLIT_SIGMA_LN, PREVENTED_SIGMA_LN = 0.2, 0.6
#: Below this charge a battery takes what the engine brings (choice: acceptance tells above it).
ROOMY_FRAC = 0.8
#: Doubt of the acceptance time that is left once a log has shown it, of the usual one (choice: the replays tell steps of that size).
LEARNT = 0.5
#: The log must be explained this well before anything else is asked of it.
RMS_LIMIT_FRAC, NIGHTS_LIMIT = 0.03, 0.5
#: Answers from a shorter log are said to be rough (choice: two weeks hold each weekday twice, and some weather).
SHORT_LOG_DAYS = 14


class NotExplained(Exception):
    """The present set-up, replayed, does not reproduce the log; the message says by how much."""


@dataclass(frozen=True, slots=True)
class KnownBattery:
    """What is known of the present battery.

    start_frac : charge at the beginning, 0 to 1; capacity_sigma_ln : one sigma of the logarithm of its capacity
    acceptance : time in which it takes its last charge, over the usual of its kind
    """

    setup: Setup
    start_frac: float
    capacity_sigma_ln: float
    acceptance: float = 1.0


@dataclass(frozen=True, slots=True)
class CandidateResult:
    """One candidate; every figure with its 95 % interval over the draws. Differences are to today."""

    setup: Setup
    nights_below_per_30: Estimate
    nights_difference_per_30: Estimate
    unserved_ah_per_30: Estimate
    lowest_frac: Estimate
    full_days_per_30: Estimate
    cycles_per_year: Estimate
    engine_minutes_per_30: Estimate
    weight: str
    years: Answer       # that a new battery of this set-up should live, these weeks again and again
    shortened_by: tuple[tuple[str, float], ...] = ()


def explain(rows: list[LoggedSlot], known: KnownBattery) -> tuple[list[Slot], float]:
    """The life behind the log, and the rms by which the present set-up's replay misses it [fraction].

    Raises
    ------
    NotExplained : the miss is above 3 points, or the nights differ by more than 0.5 in 30; a night that ends nearer
        to the reserve than twice the miss (at most 3 points) may be either
    """
    slots = refill(rows)
    lived = replay(slots, known)
    pairs = [(z, row.charge_frac) for z, row in zip(lived.charge_frac, rows, strict=True) if row.charge_frac is not None]
    if len(pairs) < 96:
        raise NotExplained("the log holds less than a day of known charge; come back after a few days")
    rms = sqrt(sum((a - b) ** 2 for a, b in pairs) / len(pairs))
    near, reserve = min(2 * rms, RMS_LIMIT_FRAC), known.setup.reserve_frac
    levels, hours = [row.charge_frac for row in rows], [row.hour for row in rows]
    least, most = _nights_below(levels, hours, reserve - near), _nights_below(levels, hours, reserve + near)
    # Held against the log only where the log itself is sure, else every night it does not know would count as missed.
    sure = [z if known_z is not None else None for z, known_z in zip(lived.charge_frac, levels, strict=True)]
    replayed = _nights_below(sure, hours, reserve)
    differ = max(least - replayed, replayed - most, 0) * 30 / max(lived.nights, 1)
    if rms > RMS_LIMIT_FRAC or differ > NIGHTS_LIMIT:
        raise NotExplained(
            f"the log does not explain the present battery: replayed, it is {100 * rms:.1f} points off on average "
            f"and {differ:.1f} nights in 30 below the reserve apart. Look for a load or charger that bypasses "
            "the shunt, long gaps, or a wrong capacity, before asking about another one")
    return slots, rms


def ask(slots: list[Slot], known: KnownBattery, candidates: list[Setup], rms_frac: float, seed: int = 1,
        progress: Callable[[int], None] | None = None) -> list[CandidateResult]:
    """The present set-up and each candidate, over the same draws of what is not known exactly.

    Drawn together: the capacities (today's battery as surely as it is known; a new one within 5 % of rated capacity), the
    charge loss, and the factor on refilled sun. Use that the flat battery prevented comes back in a candidate that is
    less flat. progress is called with the number of lives lived.
    slots: quarter hours of the log; candidates: set-ups to be compared; rms_frac: how well the present set-up is reproduced, as a
    part; seed: of the chance; known: the present battery; progress: is given the number of lives lived.
    """
    lived = replay(slots, known).charge_frac
    engine_a = usual_engine_a(slots, lived)
    draws, own, other = _draws(seed, known.acceptance), as_days(slots, driven=False), as_days(slots, driven=True, least_a=engine_a)
    by_charger = as_days(slots, driven=True)
    every: list[CandidateResult] = []
    today: list[LifeResult] = []
    serves = _serves_from(slots, lived)
    for setup in [known.setup, *candidates]:
        mine = setup is known.setup
        same = (setup.capacity_ah, setup.chemistry) == (known.setup.capacity_ah, known.setup.chemistry)
        lives: list[LifeResult] = []
        days = by_charger if setup.engine_limit_a is not None else own if mine else other
        for k, (size, loss, sun, luck, split, prevented) in enumerate(draws):
            spread = known.capacity_sigma_ln if same else 0.05
            base = setup.charge_loss_frac if setup.charge_loss_frac is not None else charge_loss.FRAC[setup.chemistry]
            drawn = replace(setup, capacity_ah=setup.capacity_ah * exp(spread * size), sun_ratio=(1 + (setup.sun_ratio - 1) * split) * sun,
                            charge_loss_frac=base * loss)
            lives.append(life_engine.live(days, make_rig(drawn, engine_a, None if mine else serves, luck, prevented), known.start_frac))
            if progress:
                progress(len(every) * len(draws) + k + 1)
        if mine:
            today = lives
        every.append(_answers(setup, lives, today, slots, rms_frac, known.start_frac))
    return every


def replay(slots: list[Slot], known: KnownBattery) -> LifeResult:
    """The present set-up in the life of the log, every quarter hour kept."""
    return life_engine.live(as_days(slots, driven=False), make_rig(known.setup, luck=Luck(known.acceptance)), known.start_frac,
                            keep_slots=True)


def usual_engine_a(slots: list[Slot], lived: Sequence[float]) -> float:
    """What the engine brings in its middle quarter hour, loads and battery together, where the battery has room for it [A].

    Another battery is given that, or what the log shows at that time if it is more; not the most of the whole log for hours.
    slots: quarter hours of the log; lived: charge of the present battery in each, as replayed, 0 to 1.
    """
    running = [(s.engine_a, z) for s, z in zip(slots, lived, strict=True) if s.engine_on]
    roomy = [a for a, z in running if z < ROOMY_FRAC] or [a for a, _ in running]
    return sorted(roomy)[len(roomy) // 2] if roomy else 0.0


def _serves_from(slots: list[Slot], lived: Sequence[float]) -> float | None:
    """The charge below which today's loads go off: the highest at which they were; None where they never were."""
    return max((z for z, slot in zip(lived, slots, strict=True) if slot.prevented_a > 0), default=None)


def _draws(seed: int, acceptance: float) -> list[tuple[float, float, float, Luck, float, float]]:
    """Capacity in sigmas, charge loss and sun as factors, what the battery takes, sun and prevented use as the log tells them apart."""
    chance, ready, split = Random(seed), Random(f"{seed}/acceptance"), Random(f"{seed}/split")
    return [(chance.gauss(0, 1), exp(chance.gauss(0, 0.4)), exp(chance.gauss(0, 0.06)),
             Luck(acceptance * exp(ready.gauss(0, LEARNT * ACCEPTANCE_SIGMA))), exp(split.gauss(0, SPLIT_SIGMA_LN)),
             exp(split.gauss(0, PREVENTED_SIGMA_LN))) for _ in range(DRAWS)]


def _answers(setup: Setup, lives: list[LifeResult], today: list[LifeResult], slots: list[Slot], rms_frac: float,
             start_frac: float) -> CandidateResult:
    days = len(slots) * SLOT_H / 24
    per_30 = 30 / days
    engine_minutes = sum(s.engine_on for s in slots) * SLOT_H * 60 * per_30
    known_share = sum(s.known for s in slots) / len(slots)
    weight = "one season, weeks of log" if days >= SHORT_LOG_DAYS else f"only {days:.0f} days of log: a hint, no more"
    if known_share < 0.9:
        weight += f"; {100 * (1 - known_share):.0f} % of it are gaps"
    weight += f"; the model matches your log to {100 * rms_frac:.1f} %"
    life = forecast_on_slots(slots, setup, start_frac)
    return CandidateResult(
        setup,
        _estimate([x.below * per_30 for x in lives]),
        _estimate([(x.below - t.below) * per_30 for x, t in zip(lives, today, strict=True)]),
        _estimate([x.unserved_ah * per_30 for x in lives]),
        _estimate([x.lowest_frac for x in lives]),
        _estimate([x.full_days * per_30 for x in lives]),
        _estimate([x.out_ah / setup.capacity_ah * 365 / days for x in lives]),
        _estimate([engine_minutes] * len(lives)), weight, life.years, life.shortened_by)


def _estimate(values: list[float]) -> Estimate:
    ordered = sorted(values)
    n = len(ordered)
    return Estimate(ordered[n // 2], ordered[int(0.025 * n)], ordered[min(int(0.975 * n), n - 1)], "learnt")


def _nights_below(levels: list[float | None], hours: list[float], reserve_frac: float) -> int:
    below, low, last = 0, 1.0, hours[0] if hours else 0.0
    for level, hour in zip(levels, hours, strict=True):
        if last < 12 <= hour or (hour < last and hour >= 12):
            below += low < reserve_frac
            low = 1.0
        last = hour
        if level is not None:
            low = min(low, level)
    return below
