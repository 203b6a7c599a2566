"""Systems side by side on the same trip: the same weather, the same use, the same luck, and what each makes of it."""
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import exp
from random import Random

from monitor.battery.label import Battery
from monitor.battery.limits import USED_UP_FRAC, limits_of
from monitor.findings import Answer, Estimate, NotYet
from monitor.parameters import table
from monitor.planning import charging_paths as paths
from monitor.planning.life_engine import LifeDay, LifeResult
from monitor.planning.life_on_log import use_of_life
from monitor.planning.load_catalogue import Load
from monitor.planning.trip import Trip
from monitor.planning.trip_life import Candidate, Chances, live
from monitor.planning.trip_weather import draw_trip
from monitor.wear.life import forecast_life
from monitor.wear.life_use import label_of

PLAN, PANEL, W = table("planning", "plan"), table("planning", "panel"), table("planning", "weights")
CAPACITY_SIGMA, PANEL_SIGMA = PLAN.number("capacity_sigma_ln"), PANEL.sigma("other_losses")
KG_PER_W, KG_PER_A = PANEL.number("kg_per_w"), W.number("dcdc_kg_per_a")
LIMITS = table("planning", "plan_candidates").limits("capacity", "panel")
#: By lead-acid: of an ampere-hour, and one sigma.
KG_PER_AH = {True: (W.number("lead_kg_per_ah"), W.sigma("lead_kg_per_ah")),
             False: (W.number("lithium_kg_per_ah"), W.sigma("lithium_kg_per_ah"))}
LITRES_PER_AH = {True: (W.number("lead_l_per_ah"), W.sigma("lead_l_per_ah")),
                 False: (W.number("lithium_l_per_ah"), W.sigma("lithium_l_per_ah"))}
#: Ways in which a trip may turn out, hours that wear takes together, nights that counts are told of.
DRAWS, WEAR_HOURS, PER = PLAN.count("draws"), PLAN.count("wear_hours"), PLAN.count("per_nights")


@dataclass(frozen=True, slots=True)
class Drawn:
    """A trip in all the ways it may turn out, ready for candidates.

    ways : (days, chances) by the panel's tilt and mount
    """

    trip: Trip
    loads: tuple[Load, ...]
    ways: dict[tuple[float, str], list[list[LifeDay]]] = field(default_factory=dict)
    chances: tuple[Chances, ...] = ()
    seed: int = 1

    def days(self, number: int, tilt_deg: float, mount: str) -> list[LifeDay]:
        """The days of one way, drawn the first time they are asked for.

        number: of the way, from 0; tilt_deg, mount: of the panel [°].
        """
        drawn = self.ways.setdefault((tilt_deg, mount), [])
        while len(drawn) <= number:
            drawn.append(draw_trip(self.trip, self.loads, Random(f"{self.seed}/{len(drawn)}"), tilt_deg, mount))
        return drawn[number]


@dataclass(frozen=True, slots=True)
class PlanResult:
    """One candidate on the trip; counts are per 30 nights, each with its 95 % range.

    nights_below : under the reserve; nights_stopped : in which the fridge goes off; full_days : that end full
    short_share : mean share of nights under the reserve, over all that is not known
    engine_hours : of driving more than planned that would keep it above the reserve, None: the engine does not charge it
    weight_kg, litres : of battery, panel and charger; years : it should live, this trip repeated
    cold_days, hot_days : outside what the battery bears; by_month : nights below in each month, per 30, None: not travelled
    drive_hours : of driving from half to 95 %; warnings : before it is built
    """

    candidate: Candidate
    nights_below: Estimate
    nights_stopped: Estimate
    full_days: Estimate
    unserved_ah: Estimate
    lowest_frac: Estimate
    engine_hours: Estimate | None
    daily_ah: Estimate
    short_share: float
    weight_kg: Estimate
    litres: Estimate
    years: Answer
    shortened_by: tuple[tuple[str, float], ...]
    cold_days: Estimate
    hot_days: Estimate
    by_month: tuple[float | None, ...]
    drive_hours: Estimate | None
    warnings: tuple[str, ...]


def prepare(trip: Trip, loads: Sequence[Load], seed: int = 1, draws: int = DRAWS) -> Drawn:
    """A trip ready for candidates.

    trip: where and how; loads: what is run; seed: of the chance; draws: ways in which it may turn out.

    Raises
    ------
    ValueError : there is nothing to run
    """
    if not loads:
        raise ValueError("there is no load to plan for; name at least one, as fridge, or kettle,800,0.2")
    chance = Random(f"{seed}/chances")
    chances = tuple(Chances(paths.draw_luck(chance), exp(chance.gauss(0, CAPACITY_SIGMA)), exp(chance.gauss(0, PANEL_SIGMA)),
                            max(1 + 0.5 * chance.gauss(0, 1), 0.1)) for _ in range(draws))
    return Drawn(trip, tuple(loads), {}, chances, seed)


def check(candidate: Candidate, trip: Trip) -> None:
    """Whether a candidate could ever work on the trip.

    candidate: the system; trip: where and how.

    Raises
    ------
    ValueError : nothing would ever charge it, or its label is impossible, in one sentence
    """
    (least_ah, most_ah, _), (least_w, most_w, _) = LIMITS["capacity"], LIMITS["panel"]
    if not least_ah <= candidate.capacity_ah <= most_ah:
        raise ValueError(f"{candidate.name}: capacity is {candidate.capacity_ah:g} Ah: it must lie between {least_ah:g} and "
                         f"{most_ah:g} Ah, as house batteries do")
    if not 0.02 <= candidate.reserve_frac < 1:
        raise ValueError(f"{candidate.name}: reserve is {100 * candidate.reserve_frac:g} %: it must lie between 2 and 99 %")
    if not least_w <= candidate.panel_w <= most_w:
        raise ValueError(f"{candidate.name}: panel is {candidate.panel_w:g} W: it must lie between {least_w:g} and {most_w:g} W")
    driven = candidate.engine.kind != "none" and trip.drive_hours > 0
    if not candidate.panel_w and not driven and not trip.shore_every_days:
        raise ValueError(f"{candidate.name}: nothing would ever charge it: it has no panel, "
                         + ("the trip has no driving" if candidate.engine.kind != "none" else "nothing from the engine")
                         + " and no shore power; give panel=, dcdc= or relay=, or hours of driving")


def weigh(drawn: Drawn, candidate: Candidate, draws: int | None = None) -> list[LifeResult]:
    """A candidate in every way of the trip.

    drawn: the trip; candidate: the system; draws: the first so many ways, None: all.
    """
    return [live(drawn.days(k, candidate.tilt_deg, candidate.mount), candidate, chances)
            for k, chances in enumerate(drawn.chances[:draws])]


def short_share(results: Sequence[LifeResult]) -> float:
    """Mean share of nights below the reserve."""
    return sum(r.below for r in results) / max(sum(r.nights for r in results), 1)


def compare(drawn: Drawn, candidates: Sequence[Candidate], progress: Callable[[float], None] | None = None,
            life: bool = True) -> list[PlanResult]:
    """Every candidate over the same ways of the trip.

    drawn: the trip; candidates: the systems; progress: is given the part that is done; life: whether to ask how long they live.
    """
    found: list[PlanResult] = []
    for number, candidate in enumerate(candidates):
        check(candidate, drawn.trip)
        results: list[LifeResult] = []
        for k, chances in enumerate(drawn.chances):
            results.append(live(drawn.days(k, candidate.tilt_deg, candidate.mount), candidate, chances))
            if progress:
                progress((number + (k + 1) / len(drawn.chances)) / len(candidates))
        found.append(_result(drawn, candidate, results, life))
    return found


def _result(drawn: Drawn, candidate: Candidate, results: list[LifeResult], life: bool) -> PlanResult:
    nights = max(results[0].nights, 1)
    per = PER / nights

    def spread(value: Callable[[LifeResult], float], scale: float = per) -> Estimate:
        return estimate([scale * value(r) for r in results])

    years, shortened = _life(drawn, candidate) if life else (NotYet("it was not asked for"), ())
    by_month: list[float | None] = []
    for month in range(12):
        there = sum(r.by_month[month][0] for r in results)
        by_month.append(PER * sum(r.by_month[month][1] for r in results) / there if there else None)
    warmest = max(stop.climate.air_c[stop.month] for stop in drawn.trip.stops)
    driven = candidate.engine.kind != "none"
    return PlanResult(
        candidate, spread(lambda r: r.below), spread(lambda r: r.stopped), spread(lambda r: r.full_days), spread(lambda r: r.unserved_ah),
        spread(lambda r: r.lowest_frac, 1.0), spread(lambda r: r.engine_hours or 0.0) if driven else None,
        spread(lambda r: r.need_ah, 1 / nights), short_share(results), weight_kg(candidate), litres(candidate), years, shortened,
        spread(lambda r: r.cold_days), spread(lambda r: r.hot_days), tuple(by_month),
        paths.driving_hours(candidate.engine, candidate.chemistry, candidate.capacity_ah, air_c=warmest) if driven else None,
        tuple(paths.warnings(candidate.engine, candidate.chemistry, candidate.capacity_ah)))


def _life(drawn: Drawn, candidate: Candidate) -> tuple[Answer, tuple[tuple[str, float], ...]]:
    """Years that a candidate should live, the trip repeated, and what shortens them: from the middle way of the trip."""
    hours = live(drawn.days(0, candidate.tilt_deg, candidate.mount), candidate, keep_slots=True).slots
    battery = Battery("house", candidate.chemistry, candidate.capacity_ah, reserve_soc_frac=candidate.reserve_frac)
    found = forecast_life(use_of_life(hours, 1.0, WEAR_HOURS), label_of(battery), USED_UP_FRAC)
    return found.years, found.shortened_by


def weight_kg(candidate: Candidate) -> Estimate:
    """What battery, panel and charger weigh [kg], from what such things weigh."""
    each, sigma = KG_PER_AH[candidate.lead_acid]
    rest = KG_PER_W * candidate.panel_w + (KG_PER_A * candidate.engine.rating_a if candidate.engine.kind == "dcdc" else 0.0)
    middle, half = each * candidate.capacity_ah + rest, 2 * sigma * candidate.capacity_ah
    return Estimate(middle, middle - half, middle + half, "first guess")


def litres(candidate: Candidate) -> Estimate:
    """Room that the battery takes [l]."""
    each, sigma = LITRES_PER_AH[candidate.lead_acid]
    middle, half = each * candidate.capacity_ah, 2 * sigma * candidate.capacity_ah
    return Estimate(middle, middle - half, middle + half, "first guess")


def estimate(values: Sequence[float]) -> Estimate:
    """Mean and 95 % range of values that were drawn: the mean, because a few ways with many short nights are what one plans for."""
    ordered = sorted(values)
    n = len(ordered)
    return Estimate(sum(ordered) / n, ordered[int(0.025 * n)], ordered[min(int(0.975 * n), n - 1)], "first guess")


def choose(results: Sequence[PlanResult], most_short_frac: float) -> PlanResult:
    """The system to recommend: the lightest that is short seldom enough, or else the one that is short least.

    results: of the systems; most_short_frac: share of the nights that may be short.
    """
    good = [r for r in results if r.short_share <= most_short_frac]
    return min(good, key=lambda r: r.weight_kg.value) if good else min(results, key=lambda r: r.short_share)


def hold_limits(result: PlanResult) -> list[str]:
    """What of cold and heat the battery would not bear on this trip, in words; empty where it bears all."""
    limits, found = limits_of(result.candidate.chemistry), []
    if result.cold_days.value >= 0.5 and limits.cold_charge_c is not None:
        found.append(f"too cold to charge (below {limits.cold_charge_c:g} °C) on {result.cold_days.value:.0f} days in {PER}")
    if result.hot_days.value >= 0.5:
        found.append(f"hotter than {limits.hot_c:g} °C on {result.hot_days.value:.0f} days in {PER}")
    return found


