"""When to speak of tonight and when to keep quiet, and what became of what was said."""

from monitor.battery.label import Vehicle
from monitor.findings import NEVER_S, ChargeFindings, Condition, Estimate, ForecastFindings
from monitor.forecast import outcomes
from monitor.forecast.levers import NOTHING
from monitor.forecast.outcomes import Learnt, NightOutcome
from monitor.forecast.reserve import Margin
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute
from monitor.usage import loads

KIND = "house_reserve_forecast"

P = table("forecast", "advisory")
HEADS_UP, WARNING, MOVED, EARLIER = P.number("heads_up"), P.number("warning"), P.number("moved"), P.number("earlier")
EARLY_WARNING = P.number("early_warning")
BEDTIME_HOUR, AFTER_SUN_H = P.number("bedtime_hour"), P.number("after_sun_h")
NOTICE_H, HEADS_UP_NOTICE_H = P.number("notice_h"), P.number("heads_up_notice_h")
CLEARED_HOUR, AFTERNOON_HOUR = P.number("cleared_hour"), P.number("afternoon_hour")
NIGHT_H, SAME_ODDS_COUNT, NEW_LOG_COUNT = P.count("night_h"), P.count("same_odds_count"), P.count("new_log_count")
RISEN, DAWN_HOUR, DUSK_HOUR = P.number("risen"), P.number("dawn_hour"), P.count("dusk_hour")
LEAST_NIGHT_S, LEVERS_SAID = P.number("least_night_s"), P.count("levers_said")


@dataclass(frozen=True, slots=True)
class Evening:
    """The present evening: past bedtime or not, what was said, and the forecast waiting for its outcome."""

    past_bedtime: bool | None = None    # None: the log has only begun
    at_bedtime: float | None = None     # probability then
    said: float | None = None           # probability of the last message of this evening
    said_s: float = NEVER_S
    said_count: int = 0
    over: int = 0                       # forecasts in a row over the heads-up level
    active: bool = False
    high: bool = False
    seen: str = ""
    figures: tuple[tuple[str, float], ...] = ()
    waiting: NightOutcome | None = None


def past_bedtime(minute: Minute, vehicle: Vehicle, loaded: loads.LoadsState, solar_hour: float) -> bool:
    """Whether it is between bedtime and nine hours later, on the clock or by the sun.

    minute: the minute that is over; vehicle: what its owner said of it; loaded: the state of loads and sun; solar_hour:
    hour of the solar day.
    """
    return 0 <= -to_bedtime_h(minute, vehicle, loaded, solar_hour) % 24 < NIGHT_H


def to_bedtime_h(minute: Minute, vehicle: Vehicle, loaded: loads.LoadsState, solar_hour: float) -> float:
    """Hours until the next bedtime.

    minute: the minute that is over; vehicle: what its owner said of it; loaded: the state of loads and sun; solar_hour:
    hour of the solar day.
    """
    if minute.hour is not None and vehicle.bedtime_hour is not None:
        return (vehicle.bedtime_hour - minute.hour) % 24
    learnt = loads.lights_out_solar_hour(loaded)
    if learnt is not None:
        return (learnt - solar_hour) % 24
    if minute.hour is not None:
        return (BEDTIME_HOUR - minute.hour) % 24
    return (loaded.sky.set / 2 + AFTER_SUN_H - solar_hour) % 24


def step(
    state: Evening, found: ForecastFindings, raw: float, margin: Margin, is_past: bool, solar_hour: float,
    by_day: bool,
) -> Evening:
    """The evening after one more forecast; its condition is active from the message to the morning.

    state: what was kept after the minute before; found: what was found; raw: probability before correction; margin:
    charge above the reserve; is_past: whether bedtime is past; solar_hour: hour of the solar day; by_day: whether the
    reserve is reached by day.
    """
    p = found.probability_before_sun
    if p is None:
        return state
    bedtime = is_past and state.past_bedtime is False
    state = replace(state, past_bedtime=is_past, over=state.over + 1 if p >= HEADS_UP else 0)
    if bedtime:
        night = NightOutcome(found.issued_s, p, raw, found.lowest_low_frac or 0.0, found.lowest_high_frac or 1.0, 1.0,
                      margin.reserve_frac)
        state = replace(state, at_bedtime=p, waiting=night)
    # Below the reserve already is no forecast any more: that is another message.
    if margin.above_frac <= 0 or not _speak(state, found, p, bedtime, solar_hour, by_day):
        quiet = state.active and p < HEADS_UP / 2
        return replace(state, active=False) if quiet else state
    figures = (("probability_before_sun", p), ("reserve_frac", margin.reserve_frac),
               ("charge_frac", margin.reserve_frac + margin.usable_ah / margin.capacity_ah),
               ("capacity_ah", margin.capacity_ah), ("lowest_low_frac", found.lowest_low_frac or 0.0),
               ("lowest_frac", found.lowest_frac or 0.0), ("lowest_high_frac", found.lowest_high_frac or 0.0),
               ("reserve_in_s", found.reserve_in_s if found.reserve_in_s is not None else -1.0))
    return replace(state, said=p, said_s=found.issued_s, said_count=state.said_count + 1, active=True,
                   high=p >= (WARNING if is_past else EARLY_WARNING), seen=found.headline, figures=figures)


def _speak(
    state: Evening, found: ForecastFindings, p: float, bedtime: bool, solar_hour: float, by_day: bool,
) -> bool:
    """One message at bedtime; earlier where bedtime would be too late; another only when much has changed."""
    if p < HEADS_UP:
        return False
    if state.said is not None:
        if state.high or state.said_count > 1:
            return False
        return p >= EARLY_WARNING if bedtime else state.over >= 2 and p >= WARNING and p - state.said >= MOVED
    if bedtime:
        return True
    # A log that began after bedtime knows neither the charge nor the loads yet: three hours of the same odds first.
    if state.over < (SAME_ODDS_COUNT if state.at_bedtime is not None or not state.past_bedtime else NEW_LOG_COUNT):
        return False
    if state.past_bedtime if solar_hour >= 12 else not by_day:     # in the evening, and in the small hours
        return state.at_bedtime is None or p >= state.at_bedtime + RISEN
    soon_h = None if found.reserve_in_low_s is None else found.reserve_in_low_s / 3600
    # Looking every ten minutes finds a high moment sooner or later: so before bedtime the odds must be higher.
    if p < HEADS_UP + EARLIER or solar_hour < AFTERNOON_HOUR or soon_h is None:
        return False
    return soon_h < (NOTICE_H if p >= WARNING + EARLIER else HEADS_UP_NOTICE_H)


def judge_evening(
    state: Evening, learnt: Learnt, charge: ChargeFindings, margin: Margin, loaded: loads.LoadsState, now_s: float,
    solar_hour: float,
) -> tuple[Evening, Learnt]:
    """Follow the night that was forecast; when solar takes over, close it and learn from it.

    state: what was kept after the minute before; learnt: what past nights taught; charge: what is known of the charge;
    margin: charge above the reserve; loaded: the state of loads and sun; now_s: the log's time now [s]; solar_hour:
    hour of the solar day.
    """
    night = state.waiting
    morning = DAWN_HOUR <= solar_hour < DUSK_HOUR and (loads.sun_carries(loaded) or solar_hour >= AFTERNOON_HOUR)
    if night is not None and isinstance(charge.charge_frac, Estimate):
        reached = night.reached_s
        if reached is None and margin.usable_ah < 0:
            reached = now_s
        night = replace(night, lowest_frac=min(night.lowest_frac, charge.charge_frac.value), reached_s=reached)
        state = replace(state, waiting=night)
        if morning and now_s - night.issued_s > LEAST_NIGHT_S:
            learnt = outcomes.judge_night(learnt, night)
            state = replace(state, waiting=None)
    over = CLEARED_HOUR <= solar_hour < 12 or DAWN_HOUR <= solar_hour < 12 and loads.sun_carries(loaded)
    if over and not state.past_bedtime and (state.said is not None or state.at_bedtime is not None):
        state = replace(state, said=None, said_count=0, at_bedtime=None, active=False, high=False, over=0)
    return state, learnt


#: Nothing to say tonight.
QUIET = (Condition(KIND, "house", False),)


def conditions(state: Evening, found: ForecastFindings) -> tuple[Condition, ...]:
    """The message of this evening while it stands."""
    if not state.active:
        return QUIET
    levers = " Or: ".join(text for text, _ in found.levers[:LEVERS_SAID] if text != NOTHING)
    means = ("The fridge may stop before solar takes over." if found.fridge_first else
             "The charge may fall below what you want to keep before solar takes over.")
    return (Condition(
        KIND, "house", True, "high" if state.high else "medium", found.headline or state.seen, means,
        levers, "It clears when solar takes over, or the risk falls below 15 %.", figures=state.figures,
        evidence=found.detail),)
