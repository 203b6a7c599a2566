"""What another battery, panel or charger would have done with the same life."""
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import exp, hypot, log, sqrt
from random import Random
from statistics import NormalDist

from monitor.battery import charge_loss
from monitor.findings import Z95, Answer, Estimate
from monitor.parameters import table
from monitor.planning import life_engine
from monitor.planning.charging_paths import ACCEPTANCE_SIGMA, Luck
from monitor.planning.life_engine import LifeDay, LifeResult
from monitor.planning.life_on_log import forecast_on_slots
from monitor.planning.load_profile import SLOT_H, LoggedSlot, Slot, refill, stretches
from monitor.planning.model import Setup, as_days, make_rig

P = table("planning", "whatif")
#: Nights that counts are of, as a plan's.
PER = float(table("planning", "plan").count("per_nights"))
DRAWS, REFILLS = P.count("draws"), P.count("refill_steps")
SPLIT_LN, SPLIT_SIGMA_LN = log(P.number("split")), P.sigma("split")
REFILL_LN, REFILL_SIGMA_LN = log(P.number("refill")), P.sigma("refill")
PREVENTED = P.by_chemistry("prevented")
LOSS_SIGMA_LN, NEW_SIGMA_LN, LEARNT = P.number("loss_sigma_ln"), P.number("new_sigma_ln"), P.number("learnt_part")
ROOMY_FRAC = P.number("roomy_frac")
RMS_LIMIT_FRAC, NIGHTS_LIMIT, SHORT_LOG_DAYS = P.number("miss_limit_frac"), P.number("nights_limit"), P.count("short_log_days")


class NotExplained(Exception):
    """The present set-up, replayed, does not reproduce the log; the message says by how much."""


@dataclass(frozen=True, slots=True)
class KnownBattery:
    """What is known of the present battery.

    start_frac : charge at the beginning, 0 to 1; capacity_sigma_ln : one sigma of the logarithm of its capacity
    acceptance : time in which it takes its last charge, over the usual of its kind; beyond_frac : part of its capacity that it gives
        beyond rated empty
    """

    setup: Setup
    start_frac: float
    capacity_sigma_ln: float
    acceptance: float = 1.0
    beyond_frac: float = 0.0


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
    NotExplained : the miss is above 3 points and the log's own doubt of its charge, or the nights differ by more than 0.5 in 30; a
        night that ends nearer to the reserve than twice the miss (at most 3 points) and the log's own doubt may be either
    """
    slots = refill(rows)
    lived = replay(slots, known)
    known_at = [(z - row.charge_frac, row.charge_sigma_frac) for z, row in zip(lived.charge_frac, rows, strict=True)
                if row.charge_frac is not None]
    if len(known_at) < 96:
        raise NotExplained("the log holds less than a day of known charge; come back after a few days")
    rms = sqrt(sum(miss**2 for miss, _ in known_at) / len(known_at))
    beyond_doubt = sqrt(sum(miss**2 / (RMS_LIMIT_FRAC**2 + sigma**2) for miss, sigma in known_at) / len(known_at))
    reserve, hours = known.setup.reserve_frac, [row.hour for row in rows]
    near = [hypot(min(2 * rms, RMS_LIMIT_FRAC), Z95 * row.charge_sigma_frac) for row in rows]
    levels = [row.charge_frac for row in rows]
    least, most = (_nights_below([None if z is None else z + sign * by for z, by in zip(levels, near, strict=True)], hours, reserve)
                   for sign in (1, -1))
    # Held against the log only where the log itself is sure, else every night it does not know would count as missed.
    sure = [z if known_z is not None else None for z, known_z in zip(lived.charge_frac, levels, strict=True)]
    replayed = _nights_below(sure, hours, reserve)
    differ = max(least - replayed, replayed - most, 0) * 30 / max(lived.nights, 1)
    if beyond_doubt > 1 or differ > NIGHTS_LIMIT:
        raise NotExplained(
            f"the log does not explain the present battery: replayed, it is {100 * rms:.1f} points off on average "
            f"and {differ:.1f} nights in 30 below the reserve apart. Look for a load or charger that bypasses "
            "the shunt, long gaps, or a wrong capacity, before asking about another one")
    return slots, rms


def ask(slots: list[Slot], known: KnownBattery, candidates: list[Setup], rms_frac: float, seed: int = 1,
        progress: Callable[[int], None] | None = None) -> list[CandidateResult]:
    """The present set-up and each candidate, over the same draws of what is not known exactly.

    Drawn together: the capacities (today's battery as surely as it is known; a new one within 5 % of rated capacity), the
    charge loss, what the battery takes, the factor on refilled sun and by how much the replay misses. Use that the flat battery
    prevented comes back in a candidate that is less flat. progress is called with the number of lives lived.
    slots: quarter hours of the log; candidates: set-ups to be compared; rms_frac: how well the present set-up is reproduced, as a
    part; seed: of the chance; known: the present battery; progress: is given the number of lives lived.
    """
    lived = replay(slots, known).charge_frac
    engine_a, as_logged = usual_engine_a(slots, lived), engine_where_full(slots, lived)
    draws = _draws(seed, known, rms_frac)

    @cache
    def days(driven: bool, least_a: float, refill: float) -> list[LifeDay]:
        return as_days(as_logged if driven and least_a == engine_a else slots, driven, least_a, refill, sure=not driven)

    every: list[CandidateResult] = []
    today: list[LifeResult] = []
    serves = serves_from(slots, lived)
    for setup in [known.setup, *candidates]:
        mine = setup is known.setup
        same = (setup.capacity_ah, setup.chemistry) == (known.setup.capacity_ah, known.setup.chemistry)
        lives: list[LifeResult] = []
        by_rig = (False, 1e9) if mine else (True, engine_a if setup.engine_limit_a is None else 1e9)
        for k, draw in enumerate(draws):
            spread = known.capacity_sigma_ln if same else NEW_SIGMA_LN
            base = setup.charge_loss_frac if setup.charge_loss_frac is not None else charge_loss.FRAC[setup.chemistry]
            miss_frac = draw.miss * known.setup.capacity_ah / setup.capacity_ah
            drawn = replace(setup, capacity_ah=setup.capacity_ah * exp(spread * draw.size), charge_loss_frac=base * draw.loss,
                            sun_ratio=1 + (setup.sun_ratio - 1) * draw.split, reserve_frac=setup.reserve_frac + miss_frac)
            rig = make_rig(drawn, engine_a, None if mine else serves, draw.luck, draw.prevented,
                           known.beyond_frac if setup.lead_acid else 0.0)
            lives.append(life_engine.live(days(*by_rig, draw.refill), rig, known.start_frac))
            if progress:
                progress(len(every) * len(draws) + k + 1)
        if mine:
            today = lives
        every.append(_answers(setup, lives, today, slots, rms_frac, known.start_frac))
    return every


def replay(slots: list[Slot], known: KnownBattery) -> LifeResult:
    """The present set-up in the life of the log, every quarter hour kept."""
    rig = make_rig(known.setup, luck=Luck(known.acceptance), beyond_frac=known.beyond_frac if known.setup.lead_acid else 0.0)
    return life_engine.live(as_days(slots, driven=False, sure=True), rig, known.start_frac, keep_slots=True)


def usual_engine_a(slots: list[Slot], lived: Sequence[float]) -> float:
    """What the engine brings in its middle quarter hour, loads and battery together, where the battery has room for it [A].

    Another battery is given that where the present one was nearly full, or what the log shows at that time if it is more.
    slots: quarter hours of the log; lived: charge of the present battery in each, as replayed, 0 to 1.
    """
    running = [(s.engine_a, z) for s, z in zip(slots, lived, strict=True) if s.engine_on]
    roomy = [a for a, z in running if z < ROOMY_FRAC] or [a for a, _ in running]
    return sorted(roomy)[len(roomy) // 2] if roomy else 0.0


def engine_where_full(slots: list[Slot], lived: Sequence[float]) -> list[Slot]:
    """The life with the engine marked as running only where the present battery was nearly full and may have held it back.

    Elsewhere it took what the engine brought, and another one is given as much: the usual current there, or the log's if that is more,
    would be more than came on average.
    slots: quarter hours of the log; lived: charge of the present battery in each, as replayed, 0 to 1.
    """
    return [s if z >= ROOMY_FRAC or not s.engine_on else replace(s, engine_on=False) for s, z in zip(slots, lived, strict=True)]


def serves_from(slots: list[Slot], lived: Sequence[float]) -> float | None:
    """The charge below which today's loads go off: the mean at which they did; None where they never did.

    slots: quarter hours of the log; lived: charge of the present battery in each, as replayed, 0 to 1.
    """
    went = [lived[max(first - 1, 0)] for first, _ in stretches([s.prevented_a > 0 for s in slots])]
    return sum(went) / len(went) if went else None


@dataclass(frozen=True, slots=True)
class _Draw:
    """One way in which what the log does not tell may be.

    size : capacity, in sigmas; loss : of charging, as a factor; luck : what the battery takes
    split : sun that the log tells apart from loads, refill : what was refilled, prevented : use that a flat battery prevented, as factors
    miss : by which the replay is too high
    """

    size: float
    loss: float
    luck: Luck
    split: float
    refill: float
    prevented: float
    miss: float


def _draws(seed: int, known: KnownBattery, rms_frac: float) -> list[_Draw]:
    acceptance, (prevented, prevented_sigma_ln) = known.acceptance, PREVENTED[known.setup.lead_acid]
    chance, ready, split = Random(seed), Random(f"{seed}/acceptance"), Random(f"{seed}/split")
    refills = [exp(NormalDist(REFILL_LN, REFILL_SIGMA_LN).inv_cdf((k + 0.5) / REFILLS)) for k in range(REFILLS)]
    return [_Draw(chance.gauss(0, 1), exp(chance.gauss(0, LOSS_SIGMA_LN)),
                  Luck(acceptance * exp(ready.gauss(0, LEARNT * ACCEPTANCE_SIGMA))), exp(split.gauss(SPLIT_LN, SPLIT_SIGMA_LN)),
                  split.choice(refills), exp(split.gauss(log(prevented), prevented_sigma_ln)), rms_frac * split.gauss(0, 1))
            for _ in range(DRAWS)]


def _answers(setup: Setup, lives: list[LifeResult], today: list[LifeResult], slots: list[Slot], rms_frac: float,
             start_frac: float) -> CandidateResult:
    days = len(slots) * SLOT_H / 24
    per_30 = PER / days

    def nights_in_30(nights: float) -> float:
        return max(min(nights * per_30, PER), -PER)

    engine_minutes = sum(s.engine_on for s in slots) * SLOT_H * 60 * per_30
    known_share = sum(s.known for s in slots) / len(slots)
    weight = "one season, weeks of log" if days >= SHORT_LOG_DAYS else f"only {days:.0f} days of log: a hint, no more"
    if known_share < 0.9:
        weight += f"; {100 * (1 - known_share):.0f} % of it are gaps"
    weight += f"; the model matches your log to {100 * rms_frac:.1f} %"
    life = forecast_on_slots(slots, setup, start_frac)
    return CandidateResult(
        setup,
        _estimate([nights_in_30(x.below) for x in lives]),
        _estimate([nights_in_30(x.below - t.below) for x, t in zip(lives, today, strict=True)]),
        _estimate([x.unserved_ah * per_30 for x in lives]),
        _estimate([x.lowest_frac for x in lives]),
        _estimate([nights_in_30(x.full_days) for x in lives]),
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
