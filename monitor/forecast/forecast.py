"""Tonight: will the charge last until solar takes over; when not; what would close the gap."""
from random import Random
from typing import ClassVar

from monitor.battery import charge_loss
from monitor.battery.label import Vehicle
from monitor.findings import NEVER_S, ChargeFindings, Condition, Event, ForecastFindings
from monitor.forecast import advisory, levers, night, outcomes, outlook_days, reserve, tonight_words
from monitor.forecast.advisory import Evening
from monitor.forecast.night import Scenario
from monitor.forecast.outcomes import Learnt
from monitor.forecast.reserve import Margin
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute
from monitor.usage import fridge, loads, solar_clock
from monitor.usage.history import DAY_SLOTS, SLOT_S

P = table("forecast", "forecast")
ISSUE_S = P.number("issue_s")
RUN_S = P.number("run_s")
PATHS = P.count("paths")
CLOUDY_PATHS = P.count("cloudy_paths")
CLOUDY_S = P.number("cloudy_s")
#: Steps of a path that make the fan: every hour of the coming 16, then every other up to 36.
FAN_STEPS = (0, *range(1, 33, 2), *range(33, 49, 4), *range(49, 61, 2))
MAY_BE_TONIGHT = P.number("may_be_tonight")
SURE_LATER = P.number("sure_later")
TIME_SPREAD = P.number("time_spread")
USUAL_FRIDGE_A, AFTER_RISE_SLOTS = P.number("usual_fridge_a"), P.count("after_rise_slots")
FEW_NIGHTS = P.count("few_nights")
#: Ends of half hours that a forecast is moved on along until the next run, the first and the one begun included.
TRACK_POINTS = int(RUN_S // SLOT_S) + 2      # [1], definition: follows from run_s
DULL_OF, DULL_PART, MORNING_SLOT, BAND_LOW = P.count("dull_of"), P.number("dull_part"), P.count("morning_slot"), P.number("band_low")
BAND_HIGH = P.number("band_high")
WAITING = ForecastFindings(0.0, None, "the charge of the house battery is not known yet")


@dataclass(frozen=True, slots=True)
class ForecastState:
    """The latest forecast, what it came from, the evening's messages and how past nights turned out."""

    latest: ForecastFindings = WAITING
    run_s: float = NEVER_S
    margins_ah: tuple[float, ...] = ()      # of every path before the sun is back, sorted
    fridge_ah: tuple[float, ...] = ()       # the same above the charge at which the fridge stops
    share: float = 0.0                      # of them that reach the reserve
    foreseen_ah: tuple[float, ...] = ()     # mean of the paths over the first hours
    first_step_s: float = 0.0
    evening: Evening = Evening()
    learnt: Learnt = Learnt()
    nights_known: int = 0
    news: tuple[Event, ...] = ()

    #: fields that states of an earlier log do not have
    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"fridge_ah"})


def begin() -> ForecastState:
    """Nothing foreseen yet."""
    return ForecastState()


def update(state: ForecastState, minute: Minute, vehicle: Vehicle, charge: ChargeFindings, loaded: loads.LoadsState) -> ForecastState:
    """One minute further; a new forecast every ten minutes and whenever it is bedtime.

    state: what was kept after the minute before; vehicle: what its owner said of it; charge: what is known of the charge; loaded:
    the state of loads and sun; minute: what was measured.
    """
    now_s = minute.end_s
    if now_s // ISSUE_S == state.latest.issued_s // ISSUE_S and state.run_s > 0:
        return replace(state, news=()) if state.news else state
    margin = reserve.margin(vehicle.house, charge, _running_load_a(loaded))
    if margin is None:
        return replace(state, latest=replace(WAITING, issued_s=now_s), run_s=now_s, margins_ah=(), news=())
    solar_hour = solar_clock.hour_of(loaded.clock, now_s)
    told, learnt = advisory.judge_evening(state.evening, state.learnt, charge, margin, loaded, now_s, solar_hour)
    state = replace(state, evening=told, learnt=learnt, news=())
    is_past = advisory.past_bedtime(minute, vehicle, loaded, solar_hour)
    bedtime = is_past and told.past_bedtime is False
    if now_s // RUN_S != state.run_s // RUN_S or bedtime or not state.margins_ah:
        state = _run(state, minute, vehicle, margin, loaded)
    else:
        state = _move_on(state, margin, now_s)
    latest = replace(state.latest, reserve_frac=vehicle.house.reserve_soc_frac,
                     fridge_stops_frac=margin.cutout_frac if vehicle.house.cutout_voltage_v is not None else None)
    charge_frac = margin.reserve_frac + margin.above_frac
    headline = tonight_words.headline(latest, charge_frac, minute.hour)
    detail = tonight_words.detail(latest, charge_frac, minute.hour)
    state = replace(state, latest=replace(latest, headline=headline, detail=detail, sentence=f"{headline} {detail}".strip()))
    return replace(state, evening=advisory.step(
        state.evening, state.latest, state.share, margin, is_past, solar_hour, _by_day(loaded, now_s)))


def _running_load_a(loaded: loads.LoadsState) -> float:
    """What a cut-out sees: the compressor running beside what draws all night [A]."""
    fridge_a = fridge.amperes(loaded.cold)
    return (loaded.base_a or 0.0) + (USUAL_FRIDGE_A if fridge_a is None else fridge_a)


def _by_day(loaded: loads.LoadsState, now_s: float) -> bool:
    """Whether the night in question is the coming one: from an hour after sunrise, or when solar takes over."""
    at_slot = solar_clock.slot_of(loaded.clock, now_s) % DAY_SLOTS
    return loaded.sky.rise + AFTER_RISE_SLOTS <= at_slot or at_slot / 2 > advisory.DAWN_HOUR and loads.sun_carries(loaded)


def _run(state: ForecastState, minute: Minute, vehicle: Vehicle, margin: Margin, loaded: loads.LoadsState) -> ForecastState:
    now_s = minute.end_s
    slot = solar_clock.slot_of(loaded.clock, now_s)
    first = 1.0 - now_s % SLOT_S / SLOT_S
    days, count = outlook_days.days_from(
        loaded.past, slot, loaded.temperature_c, vehicle.house.rated_capacity_ah)
    start = night.Start(
        slot=slot, first_frac=first, posterior=margin.posterior, reserve_frac=margin.reserve_frac, below=margin.above_frac <= 0,
        lead_acid=vehicle.house.lead_acid, kept_frac=1.0 - charge_loss.FRAC[vehicle.house.chemistry], by_day=_by_day(loaded, now_s))
    made = night.draw_scenarios(start, days, PATHS, Random(int(now_s)))
    found = _summary(made, first, now_s, margin, state.learnt)
    share = sum(path.lowest_ah < 0 for path in made) / len(made)
    cloudy = state.latest.probability_cloudy_tomorrow
    if cloudy is None or now_s // CLOUDY_S != state.run_s // CLOUDY_S:
        cloudy = _cloudy(start, days, now_s, state.learnt)
    options = levers.levers(
        made, lambda p: outcomes.correct_probability(state.learnt, p), loads.sheddable(loaded), loaded.drive_charge_a,
        minute.hour, margin.usable_ah, found.reserve_in_s)
    because = ""
    if count < FEW_NIGHTS:
        because = "few nights have been seen so far" if count else "no whole day has been seen yet"
    stops_ah = () if vehicle.house.cutout_voltage_v is None else tuple(round(m, 2) for m in sorted(
        path.lowest_ah + (margin.reserve_frac - margin.cutout_frac) * path.capacity_ah for path in made))
    latest = replace(found, because=because, levers=options, probability_fridge_stops=_stops(stops_ah, 0.0, state.learnt),
                     probability_cloudy_tomorrow=cloudy,
                     probability_before_sun=outcomes.correct_probability(state.learnt, share))
    mean = tuple(sum(path.track_ah[i] for path in made) / len(made) for i in range(1, TRACK_POINTS))
    return replace(
        state, latest=latest, run_s=now_s, margins_ah=tuple(round(m, 2) for m in sorted(p.lowest_ah for p in made)),
        share=share, fridge_ah=stops_ah, foreseen_ah=(margin.usable_ah, *mean), first_step_s=first * SLOT_S, nights_known=count)


def _cloudy(start: night.Start, days: night.Days, now_s: float, learnt: Learnt) -> float:
    """Probability of reaching the reserve by the morning after next if tomorrow is a dull day."""
    skies = sorted((sum(sky), sky) for _, sky in days.harvests)
    total, dull = skies[len(skies) // DULL_OF]
    if len(skies) < DULL_OF:
        dull = tuple(DULL_PART * value for value in dull)
    made = night.draw_scenarios(start, replace(days, harvests=((1.0, dull),)), CLOUDY_PATHS, Random(int(now_s) + 1))
    late = start.slot % DAY_SLOTS
    until_h = (MORNING_SLOT - late) / 2 + 24 if late < MORNING_SLOT else (DAY_SLOTS - late) / 2 + 32
    steps = DAY_SLOTS + int(until_h - 24)  # half hours for a day, then hours
    share = sum(min(path.track_ah[:steps]) < 0 for path in made) / len(made)
    return outcomes.correct_probability(learnt, share)


def _summary(made: list[Scenario], first_frac: float, now_s: float, margin: Margin, learnt: Learnt) -> ForecastFindings:
    count = len(made)
    floor = margin.reserve_frac

    def quantile(values: list[float], part: float) -> float:
        return values[min(int(part * len(values)), len(values) - 1)]

    lows = sorted(floor + path.lowest_ah / path.capacity_ah for path in made)
    middle = quantile(lows, 0.5)
    low = middle + learnt.spread * (quantile(lows, BAND_LOW) - middle)
    high = middle + learnt.spread * (quantile(lows, BAND_HIGH) - middle)
    tonight = [p.reserve_at_h for p in made if p.reserve_at_h is not None and p.lowest_ah <= 0]
    ever = [p.reserve_at_h for p in made if p.reserve_at_h is not None]
    # Where it may well be tonight the time is that of tonight; otherwise that of the coming three days.
    soon = len(tonight) >= MAY_BE_TONIGHT * count
    times = sorted(tonight if soon else ever)
    reached = soon or len(ever) >= SURE_LATER * count
    when = quantile(times, 0.5) if reached else 0.0
    suns = sorted(p.sun_at_h if p.sun_at_h is not None else 99.0 for p in made)
    fulls = sorted(p.full_at_h if p.full_at_h is not None else 1e9 for p in made)
    ends_h, fan = night.ends_h(first_frac), []
    for step in FAN_STEPS:
        column = sorted(floor + path.track_ah[step] / path.capacity_ah for path in made)
        fan.append((ends_h[step] * 3600, *(
            round(_frac(quantile(column, part)), 4) for part in (BAND_LOW, 0.5, BAND_HIGH))))
    return ForecastFindings(
        issued_s=now_s, probability_before_sun=None,
        reserve_in_s=when * 3600 if reached else None,
        reserve_in_low_s=max(when - TIME_SPREAD * (when - quantile(times, BAND_LOW)), 0.0) * 3600 if reached else None,
        reserve_in_high_s=(when + TIME_SPREAD * (quantile(times, BAND_HIGH) - when)) * 3600 if reached else None,
        lowest_frac=_frac(middle), lowest_low_frac=_frac(low), lowest_high_frac=_frac(high),
        sun_back_in_s=quantile(suns, 0.5) * 3600 if quantile(suns, 0.5) < 90 else None,
        full_in_s=quantile(fulls, 0.5) * 3600 if quantile(fulls, 0.5) < 1e8 else None,
        fan=tuple(fan),
    )


def _frac(charge_frac: float) -> float:
    return min(max(charge_frac, 0.0), 1.0)


def _move_on(state: ForecastState, margin: Margin, now_s: float) -> ForecastState:
    """The forecast some minutes later: its times come nearer, its odds follow what was really used."""
    after = (now_s - state.run_s - state.first_step_s) / SLOT_S
    points = state.foreseen_ah
    if after < 0:
        part = (now_s - state.run_s) / state.first_step_s
        expected = points[0] + part * (points[1] - points[0])
    else:
        i = min(int(after), len(points) - 3)
        expected = points[i + 1] + (after - i) * (points[i + 2] - points[i + 1])
    shift = margin.usable_ah - expected
    share = sum(m + shift < 0 for m in state.margins_ah) / len(state.margins_ah)
    was, passed = state.latest, now_s - state.latest.issued_s

    def nearer(value_s: float | None) -> float | None:
        return None if value_s is None else max(value_s - passed, 0.0)

    return replace(state, share=share, latest=replace(
        was, issued_s=now_s, probability_before_sun=outcomes.correct_probability(state.learnt, share),
        probability_fridge_stops=_stops(state.fridge_ah, shift, state.learnt),
        reserve_in_s=nearer(was.reserve_in_s), reserve_in_low_s=nearer(was.reserve_in_low_s),
        reserve_in_high_s=nearer(was.reserve_in_high_s), sun_back_in_s=nearer(was.sun_back_in_s),
        full_in_s=nearer(was.full_in_s), fan=tuple((t - passed, low, likely, high) for t, low, likely, high in was.fan if t > passed)))


def _stops(margins_ah: tuple[float, ...], shift_ah: float, learnt: Learnt) -> float | None:
    """How likely the fridge's cut-out opens before the sun is back; None where it is not configured."""
    if not margins_ah:
        return None
    return outcomes.correct_probability(learnt, sum(m + shift_ah < 0 for m in margins_ah) / len(margins_ah))


def findings(state: ForecastState) -> ForecastFindings:
    """The latest forecast."""
    return state.latest


def conditions(state: ForecastState) -> tuple[Condition, ...]:
    """One message an evening, while it stands."""
    return advisory.conditions(state.evening, state.latest)
