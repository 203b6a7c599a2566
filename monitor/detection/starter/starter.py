"""The starter battery while it stands alone: rest, drain, level, and its starts; one fold over the minutes."""
from math import hypot
from statistics import median

from monitor.battery.label import Vehicle
from monitor.battery.lead_acid import KINDS, warmth_v
from monitor.detection import temperature_trend
from monitor.detection.starter import crank, drain, drain_verdict, starter_alerts, surface_decay
from monitor.detection.starter.drain_verdict import QUARTER_S, Drain, Rest
from monitor.detection.temperature_trend import TemperatureTrend
from monitor.findings import Z95, Answer, Condition, Estimate, Event, Isolator, JoinFindings, NotYet, StarterFindings
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

P = table("detection/starter", "starter")
BEGIN_AFTER_S = P.number("begin_after_s")
ENDED_S = P.number("ended_s")
TEACHES_H = P.number("teaches_h")
LIFT_V, LOOK_BACK = P.number("lift_v"), P.count("look_back")
DOUBTFUL_V = P.number("doubtful_v")
CHARGED_V = table("battery", "alternator").number("charging_well_v")
EMPTY_V = P.number("empty_v")
RECOVERS_V_PER_H = P.number("recovers_v_per_h")
LEAST_STEPS, LEAST_FALL = P.count("least_steps"), P.number("least_fall")
ABOVE_REST_V = P.number("above_rest_v")


@dataclass(frozen=True, slots=True)
class LatestVoltage:
    """The latest minute with a starter voltage, in short."""

    at_s: float | None = None
    voltage_v: float | None = None
    temperature_c: float | None = None
    house_v: float | None = None
    isolator: str = "unknown"
    engine: str = "unknown"


@dataclass(frozen=True, slots=True)
class Parking:
    """What a parking has shown so far; changes each quarter-hour."""

    decay: surface_decay.Decay | None = None
    search: drain.Search = drain.Search()
    rests: tuple[Rest, ...] = ()
    passing: int = 0                             # quarter-hours in a row that pass the slow test
    found: Drain | None = None
    sudden: int = 0                              # minutes in a row a cell's worth lower


@dataclass(frozen=True, slots=True)
class StarterState:
    """The parking now, what earlier ones taught, the level, and the starts."""

    now: LatestVoltage = LatestVoltage()
    alone_s: float | None = None                 # since when engine off and isolator open
    ending_s: float = 0.0                        # engine or join seen for so long
    quarter: tuple[float, ...] = ()              # minute medians of this quarter-hour
    quarter_end_s: float = 0.0
    parking: Parking = Parking()
    usual: surface_decay.Usual = surface_decay.Usual()
    charged_s: float | None = None               # when it last rested above three quarters, or the log began
    level: starter_alerts.LevelAlert = starter_alerts.LevelAlert()
    starts: crank.CrankState = crank.CrankState()
    news: tuple[Event, ...] = ()
    trend: TemperatureTrend = TemperatureTrend()                       # of the temperature it stands in
    hour: float | None = None


def begin() -> StarterState:
    """Nothing known yet."""
    return StarterState()


def update(state: StarterState, minute: Minute, vehicle: Vehicle, join: JoinFindings) -> StarterState:
    """The state after one more minute; join says what the isolator tracker made of it.

    vehicle: what its owner said of it; state: what was kept after the minute before; minute: what was measured; join: what is known
    of engine and isolator.
    """
    before, volts = state.now, minute.starter_voltage_v
    warm = minute.starter_temperature_c      # its own thermometer, else outside air, else the house battery's
    if warm is None:
        warm = minute.ambient_temperature_c
    if warm is None:
        warm = minute.house_temperature_c
    trend = temperature_trend.update(state.trend, minute.end_s, warm)
    if warm is None:
        warm = before.temperature_c
    starts = crank.update(state.starts, minute, join, warm)
    if volts is None:
        return replace(state, starts=starts, news=starts.news, trend=trend, hour=minute.hour)
    house_v = minute.house_voltage_v if minute.house_voltage_v is not None else before.house_v
    now = LatestVoltage(minute.end_s, volts, warm, house_v, join.isolator, join.engine)
    level = starter_alerts.update_level(state.level, minute, join, vehicle.starter)
    alone_s, ending_s, quarter, end_s = state.alone_s, state.ending_s, state.quarter, state.quarter_end_s
    parking, usual = state.parking, state.usual
    median_v = None
    if join.engine == "running" or join.isolator == "closed":
        ending_s += minute.duration_s
        if ending_s > ENDED_S and alone_s is not None:
            alone_s, quarter, end_s, usual, parking = None, (), 0.0, learn_level(usual, parking), Parking()
    elif join.engine == "off":
        ending_s = 0.0
        if alone_s is None:
            alone_s = minute.start_s
        if parking.rests:
            parking = _watch_for_sudden_fall(parking, minute.end_s, volts, join.isolator)
        if minute.end_s - alone_s >= BEGIN_AFTER_S:
            quarter = (*quarter, volts)
            if end_s == 0.0:
                end_s = minute.end_s + QUARTER_S
            elif minute.end_s >= end_s:
                median_v, quarter, end_s = median(quarter), (), minute.end_s + QUARTER_S
    charged_s = state.charged_s if state.charged_s is not None else minute.end_s
    state = StarterState(now, alone_s, ending_s, quarter, end_s, parking, usual, charged_s, level, starts, starts.news,
                trend, minute.hour)
    return state if median_v is None else quarter_hour(state, minute.end_s, median_v, vehicle)


def learn_level(usual: surface_decay.Usual, parking: Parking) -> surface_decay.Usual:
    """What is usual for the vehicle after this parking, if it was long and sound enough to teach."""
    decay = parking.decay
    if decay is None or parking.found is not None or parking.passing or decay.at_s - decay.begun_s < TEACHES_H * 3600:
        return usual
    return surface_decay.learn(usual, decay)


def _watch_for_sudden_fall(parking: Parking, at_s: float, volts: float, isolator: Isolator) -> Parking:
    """A voltage that falls by a cell's worth within minutes and stays there."""
    before_v = parking.rests[-1].voltage_v
    if volts > before_v - drain_verdict.SUDDEN_V or before_v > CHARGED_V:
        return replace(parking, sudden=0) if parking.sudden else parking
    if parking.found is not None and parking.found.how == "sudden":
        return parking
    count = parking.sudden + 1
    if count < drain_verdict.SUDDEN_MINUTES or isolator != "open":
        return replace(parking, sudden=count)
    last = parking.rests[-1]
    return replace(parking, sudden=count, found=Drain(
        "sudden", at_s, last.at_s, 0.0, 0.0, 0.0, last.voltage_v - volts))


def quarter_hour(state: StarterState, at_s: float, volts: float, vehicle: Vehicle) -> StarterState:
    """One quarter-hour further in a parking: its median voltage goes through filter, search and verdicts.

    state: what was kept after the minute before; at_s: the log's time [s]; volts: voltage [V]; vehicle: what its owner
    said of it.
    """
    parking, battery = state.parking, vehicle.starter
    if not battery.lead_acid:
        return replace(state, parking=replace(
            parking, rests=(*parking.rests, Rest(at_s, volts, volts, 0.0))[-LOOK_BACK:]))
    decay, warm = parking.decay, state.now.temperature_c
    if decay is not None and volts > max(r.voltage_v for r in parking.rests[-LOOK_BACK:]) + LIFT_V:
        # Something charged it unseen, in a gap of the readings or from a charger: rest begins anew.
        return replace(state, alone_s=at_s, quarter_end_s=0.0, parking=Parking())
    if decay is None:
        decay = surface_decay.begin(at_s, volts, warm, state.usual)
        return replace(state, parking=Parking(decay, drain.begin(at_s), (Rest(at_s, volts, volts, 1.0),)))
    decay = surface_decay.step(decay, at_s, volts, warm)
    search = drain.step(parking.search, decay)
    rest = Rest(at_s, volts, volts - surface_decay.warmth_v(decay), drain_verdict.expected_v_per_h(decay))
    rests = (*parking.rests, rest)[-drain_verdict.quarters(drain_verdict.OVER_H) - 2:]
    found = parking.found
    likely, passes = drain_verdict.find_slow(search, decay, rests, battery)
    passing = parking.passing + 1 if passes else 0
    if found is None and state.now.isolator == "open" and volts > EMPTY_V:
        found = likely if passing >= drain_verdict.IN_A_ROW else drain_verdict.find_fast(rests, decay.begun_s, battery)
        if found is not None:
            found = replace(found, usual_v_per_day=surface_decay.fall_v_per_day(decay)[0])
    elif found is not None and drain_verdict.is_over(found, rests):
        # It stopped by itself: a lamp was put out. Look at the rest as at a new one.
        return replace(state, parking=Parking(rests=rests[-1:]))
    elif found is not None and found.how != "sudden" and likely is not None:
        # What is known of it grows: a fast one was judged by two hours.
        found = drain_verdict.follow(found, likely)
    charged_s = state.charged_s
    if volts - warmth_v(warm if warm is not None else crank.USUAL_C) > starter_alerts.three_quarters_v(battery):
        charged_s = at_s
    return replace(state, charged_s=charged_s, parking=Parking(decay, search, rests, passing, found, parking.sudden))


WAIT = NotYet("the batteries must first be separate for some hours")
FLAT_CURVE = NotYet("the resting voltage of this chemistry is too flat to read charge or drain from")


def findings(state: StarterState, vehicle: Vehicle) -> StarterFindings:
    """The starter battery as of the last minute."""
    decay, battery = state.parking.decay, vehicle.starter
    if not battery.lead_acid:
        return StarterFindings(FLAT_CURVE, FLAT_CURVE, FLAT_CURVE, None, *crank.as_findings(state.starts))
    if decay is None or decay.steps < LEAST_STEPS:
        return StarterFindings(WAIT, WAIT, WAIT, None, *crank.as_findings(state.starts))
    level, sigma = surface_decay.rest_voltage_v(decay)
    rest = Estimate(level, level - Z95 * sigma, level + Z95 * sigma, "rested")
    kind = KINDS[battery.chemistry]
    spread = Z95 * (sigma**2 + kind.full_sigma_v**2) ** 0.5
    left = 1 - (kind.full_v + warmth_v(decay.base_c) - level) / kind.span_v
    charge = Estimate(_clip(left), _clip(left - spread / kind.span_v), _clip(left + spread / kind.span_v), "rested")
    return StarterFindings(charge, rest, find_drain(state, vehicle), _doubtful_s(state), *crank.as_findings(state.starts))


def find_drain(state: StarterState, vehicle: Vehicle) -> Answer:
    """All that leaves the battery while parked, for the page and the alert alike [A]."""
    decay = state.parking.decay
    if decay is None:
        return WAIT
    fall, fall_sigma = surface_decay.fall_v_per_day(decay)
    found, battery = state.parking.found, vehicle.starter
    own = drain_verdict.held_amperes(fall if found is None or found.how == "sudden" else found.usual_v_per_day, battery)
    doubt = Z95 * hypot(drain_verdict.held_amperes(fall_sigma, battery), own * drain_verdict.scale_sigma_ln(battery))
    if found is not None and found.how != "sudden":
        total = found.extra_a + own
        return Estimate(total, max(total - hypot(found.extra_a - found.low_a, doubt), 0.0),
                        total + hypot(found.high_a - found.extra_a, doubt), "measured")
    return Estimate(own, max(0.0, own - doubt), own + doubt, "rested")


def _clip(value: float) -> float:
    return min(1.0, max(0.0, value))


def _doubtful_s(state: StarterState) -> float | None:
    """Seconds until a start becomes doubtful at the present rate: the level under any surface charge counts."""
    decay, found = state.parking.decay, state.parking.found
    if decay is None:
        return None
    fall = max(surface_decay.fall_v_per_day(decay)[0], LEAST_FALL) if found is None else found.fall_v_per_day
    volts = min(state.parking.rests[-1].voltage_v, surface_decay.rest_voltage_v(decay)[0] + ABOVE_REST_V)
    return max(0.0, (volts - DOUBTFUL_V) / fall * 86400)


def _recovers(rests: tuple[Rest, ...]) -> bool:
    """Whether the voltage still rises after a load, so that it says the battery emptier than it is."""
    last = rests[-1]
    before = next((rest for rest in reversed(rests) if rest.at_s <= last.at_s - 3600.0), rests[0])
    return last is before or (last.voltage_v - before.voltage_v) / (last.at_s - before.at_s) > RECOVERS_V_PER_H / 3600.0


def conditions(state: StarterState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """What is wrong with the starter battery, if anything."""
    now, rests = state.now, state.parking.rests
    at_s = now.at_s or 0.0
    resting = bool(rests) and not _recovers(rests)
    return starter_alerts.conditions(
        vehicle, state.level, state.parking.found, _doubtful_s(state) if state.parking.found else None, state.starts,
        rest_v=rests[-1].voltage_v if resting else None, temperature_c=now.temperature_c, house_v=now.house_v,
        uncharged_s=at_s - state.charged_s if state.charged_s is not None else 0.0, at_s=at_s,
        drain_a=find_drain(state, vehicle) if state.parking.found else WAIT,
        coming_low_c=temperature_trend.coming_low_c(state.trend) if resting and temperature_trend.evening(state.hour) else None,
    )
