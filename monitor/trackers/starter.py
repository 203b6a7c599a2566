"""The starter battery while it stands alone: rest, drain, level, and its starts; one fold over the minutes."""
from dataclasses import dataclass, replace
from statistics import median

from monitor.battery import Vehicle
from monitor.chemistry.lead_acid import KINDS, VOLTAGE_PER_K
from monitor.findings import Condition, Estimate, Event, JoinFindings, NotYet, StarterFindings
from monitor.sample import Minute
from monitor.trackers import crank, drain, drain_verdict, starter_alerts, surface_decay
from monitor.trackers.drain_verdict import QUARTER_S, Drain, Rest

#: Rest is followed from this long after engine or isolator let go [s].
BEGIN_AFTER_S = 3600.0
#: Engine or join must be seen this long before a parking is over: one doubtful minute ends nothing [s].
ENDED_S = 150.0
#: Quarter-hours kept to look back on: a day.
KEPT = 98
#: A parking this long teaches what is usual for the vehicle [h].
TEACHES_H = 40.0
#: Higher by this much [V] than in the quarter-hours looked back on: something charged it.
LIFT_V, LOOK_BACK = 0.04, 16
#: A voltage at which starting becomes doubtful in the cold (half charged).
DOUBTFUL_V = 12.2
#: Rested once it stood alone this long [s].
RESTED_S = 3600.0


@dataclass(frozen=True, slots=True)
class Held:
    """The parking now, what earlier ones taught, the drain found, the level, and the starts."""

    alone_s: float | None = None                 # since when engine off and isolator open
    ending_s: float = 0.0                        # engine or join seen for so long
    at_s: float | None = None
    quarter: tuple[float, ...] = ()              # minute medians of this quarter-hour
    quarter_end_s: float = 0.0
    decay: surface_decay.Decay | None = None
    search: drain.Search = drain.Search()
    usual: surface_decay.Usual = surface_decay.Usual()
    rests: tuple[Rest, ...] = ()
    passing: int = 0                             # quarter-hours in a row that pass the slow test
    found: Drain | None = None
    sudden: int = 0
    temperature_c: float | None = None
    latest_v: float | None = None
    house_v: float | None = None
    isolator: str = "unknown"
    engine: str = "unknown"
    charged_s: float | None = None               # when it was last rested above three quarters
    first_s: float | None = None
    level: starter_alerts.Level = starter_alerts.Level()
    starts: crank.Held = crank.Held()
    news: tuple[Event, ...] = ()


def begin(vehicle: Vehicle) -> Held:
    """Nothing known yet."""
    return Held()


def update(held: Held, minute: Minute, vehicle: Vehicle, join: JoinFindings) -> Held:
    """The state after one more minute; join says what the isolator tracker made of it."""
    starts = crank.update(held.starts, minute, join, _temperature(minute, held))
    news = starts.news
    volts = minute.starter_voltage_v
    if volts is None:
        return replace(held, starts=starts, news=news, isolator=join.isolator, engine=join.engine)
    held = replace(
        held, starts=starts, news=news, latest_v=volts, isolator=join.isolator, engine=join.engine,
        house_v=minute.house_voltage_v if minute.house_voltage_v is not None else held.house_v,
        temperature_c=_temperature(minute, held), first_s=held.first_s if held.first_s is not None else minute.end_s,
        level=starter_alerts.level(held.level, minute, join), at_s=minute.end_s,
    )
    if join.engine == "running" or join.isolator == "closed":
        ending_s = held.ending_s + minute.duration_s
        return ended(held) if ending_s > ENDED_S and held.alone_s is not None else replace(held, ending_s=ending_s)
    if join.engine != "off":
        return held
    if held.alone_s is None:
        return replace(held, alone_s=minute.start_s, ending_s=0.0, quarter=(), quarter_end_s=0.0)
    held = _sudden(replace(held, ending_s=0.0), minute, volts)
    if minute.end_s - held.alone_s < BEGIN_AFTER_S:
        return held
    if held.quarter_end_s == 0.0:
        return replace(held, quarter=(volts,), quarter_end_s=minute.end_s + QUARTER_S)
    if minute.end_s < held.quarter_end_s:
        return replace(held, quarter=(*held.quarter, volts))
    return quarter(replace(held, quarter=(), quarter_end_s=minute.end_s + QUARTER_S), minute.end_s,
                    median((*held.quarter, volts)), vehicle)


def _temperature(minute: Minute, held: Held) -> float | None:
    """The starter's own thermometer, else outside air, else the house battery's."""
    for value in (minute.starter_temperature_c, minute.ambient_temperature_c, minute.house_temperature_c):
        if value is not None:
            return value
    return held.temperature_c


def ended(held: Held) -> Held:
    """The parking is over: learn from it if it was long and sound, forget the drain with it."""
    usual = held.usual
    decay = held.decay
    if decay is not None and held.found is None and held.passing == 0 and not decay.jumped:
        if decay.at_s - decay.begun_s > TEACHES_H * 3600:
            usual = surface_decay.learn(usual, decay)
    return replace(held, alone_s=None, ending_s=0.0, quarter=(), quarter_end_s=0.0, decay=None,
                   search=drain.Search(), usual=usual, rests=(), passing=0, found=None, sudden=0)


def _sudden(held: Held, minute: Minute, volts: float) -> Held:
    """A voltage that falls by a cell's worth within minutes and stays there."""
    if not held.rests or held.found is not None and held.found.how == "sudden":
        return held
    before = held.rests[-1].voltage_v
    if volts > before - drain_verdict.SUDDEN_V:
        return replace(held, sudden=0) if held.sudden else held
    count = held.sudden + 1
    if count < drain_verdict.SUDDEN_MINUTES or held.isolator == "closed":
        return replace(held, sudden=count)
    return replace(held, sudden=count, found=Drain(
        "sudden", minute.end_s, held.rests[-1].at_s, 0.0, 0.0, 0.0, before - volts))


def quarter(held: Held, at_s: float, volts: float, vehicle: Vehicle) -> Held:
    """One quarter-hour further in a parking."""
    battery = vehicle.starter
    if not battery.lead_acid:
        return replace(held, rests=(*held.rests, Rest(at_s, volts, volts, 0.0))[-KEPT:])
    decay = held.decay
    if decay is not None and volts > max(r.voltage_v for r in held.rests[-LOOK_BACK:]) + LIFT_V:
        # Something charged it unseen, in a gap of the readings or from a charger: rest begins anew.
        return replace(held, alone_s=at_s, decay=None, search=drain.Search(), rests=(), passing=0, found=None, sudden=0)
    if decay is None:
        decay = surface_decay.begin(at_s, volts, held.temperature_c, held.usual)
        return replace(held, decay=decay, search=drain.begin(at_s), rests=(Rest(at_s, volts, volts, 1.0),), passing=0,
                       found=None, sudden=0)
    decay = surface_decay.step(decay, at_s, volts, held.temperature_c)
    search = drain.step(held.search, decay)
    rests = (*held.rests, Rest(
        at_s, volts, volts - surface_decay.warmth_v(decay), drain_verdict.expected_v_per_h(decay)))[-KEPT:]
    found, passing = held.found, held.passing
    likely, passes = drain_verdict.slow(search, decay, rests, battery)
    passing = passing + 1 if passes else 0
    sure = held.isolator == "open"
    if found is None and sure:
        if passing >= drain_verdict.IN_A_ROW:
            found = likely
        else:
            found = drain_verdict.fast(rests, decay.begun_s, battery)
    elif found is not None and found.how != "sudden":
        if drain_verdict.over(found, rests):
            # It stopped by itself: a lamp was put out. Look at the rest as at a new one.
            return replace(held, decay=None, search=drain.Search(), rests=(), passing=0, found=None)
        if found.how == "slow" and likely is not None and likely.since_s >= held.decay.begun_s and passes:
            found = replace(likely, found_s=found.found_s)
    charged_s = held.charged_s
    if volts - VOLTAGE_PER_K * ((held.temperature_c or 20.0) - 25.0) > starter_alerts.three_quarters_v(battery):
        charged_s = at_s
    return replace(held, decay=decay, search=search, rests=rests, found=found, passing=passing, charged_s=charged_s)


def findings(held: Held, vehicle: Vehicle) -> StarterFindings:
    """The starter battery as of the last minute."""
    wait = NotYet("it is known once the starter battery has stood alone for some hours")
    rest: Estimate | NotYet = wait
    charge: Estimate | NotYet = wait
    draining: Estimate | NotYet = wait
    doubtful_s = None
    decay, battery = held.decay, vehicle.starter
    if not battery.lead_acid:
        rest = charge = draining = NotYet("the resting voltage of this chemistry is too flat to read charge or drain from")
    elif decay is not None and decay.steps >= 8:
        level, sigma = surface_decay.rest_voltage_v(decay)
        rest = Estimate(level, level - 1.96 * sigma, level + 1.96 * sigma, "rested")
        kind = KINDS[battery.chemistry]
        spread = 1.96 * (sigma**2 + kind.full_sigma_v**2) ** 0.5
        at_25 = level - VOLTAGE_PER_K * (decay.base_c - 25.0)
        charge = Estimate(*(min(1.0, max(0.0, 1 - (kind.full_v - v) / kind.span_v))
                            for v in (at_25, at_25 - spread, at_25 + spread)), "rested")
        fall, fall_sigma = surface_decay.fall_v_per_day(decay)
        if held.found is not None and held.found.how != "sudden":
            own = drain_verdict.amperes(fall, battery)
            draining = Estimate(held.found.extra_a + own, held.found.low_a + 0.5 * own, held.found.high_a + 2 * own,
                                "measured")
            doubtful_s = _doubtful(level_now(held), held.found.fall_v_per_day)
        else:
            amps, amps_sigma = drain_verdict.amperes(fall, battery), drain_verdict.amperes(fall_sigma, battery)
            draining = Estimate(amps, max(0.0, amps - 1.96 * amps_sigma), 1.3 * (amps + 1.96 * amps_sigma), "rested")
            doubtful_s = _doubtful(level_now(held), max(fall, 0.002))
    return StarterFindings(charge, rest, draining, doubtful_s, *crank.answers(held.starts))


def level_now(held: Held) -> float | None:
    """The last quarter-hour's voltage, or the level under its surface charge where that is lower."""
    if not held.rests or held.decay is None:
        return held.latest_v
    return min(held.rests[-1].voltage_v, surface_decay.rest_voltage_v(held.decay)[0] + 0.05)


def _doubtful(volts: float | None, fall_v_per_day: float) -> float | None:
    if volts is None or fall_v_per_day <= 0:
        return None
    return max(0.0, (volts - DOUBTFUL_V) / fall_v_per_day * 86400)


def conditions(held: Held, vehicle: Vehicle) -> tuple[Condition, ...]:
    """What is wrong with the starter battery, if anything."""
    rested = held.alone_s is not None and held.at_s is not None and held.at_s - held.alone_s > RESTED_S
    return starter_alerts.conditions(
        vehicle, held.level, held.found, findings(held, vehicle) if held.found else None, held.starts,
        rest_v=held.rests[-1].voltage_v if rested and held.rests else None, temperature_c=held.temperature_c,
        house_v=held.house_v, uncharged_s=_uncharged(held), at_s=held.at_s or 0.0,
    )


def _uncharged(held: Held) -> float:
    since = held.charged_s if held.charged_s is not None else held.first_s
    return held.at_s - since if since is not None and held.at_s is not None and held.rests else 0.0
