"""Are the batteries joined, does the engine run, what does the join cost: one fold over the minutes."""
from monitor.battery.label import Vehicle
from monitor.detection.join import (
    alternator_control,
    engine,
    isolator_evidence,
    join_alerts,
    join_faults,
    path_resistance,
    relay_release,
    uncharged_run,
)
from monitor.detection.join.join_record import JoinRecord
from monitor.detection.join.points import Point, points
from monitor.findings import Condition, Event, Isolator, JoinFindings
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

P = table("detection/join", "isolator")
SILENT_S = P.number("silent_s")
OWNER_ODDS = P.number("owner_odds")


@dataclass(frozen=True, slots=True)
class JoinState:
    """The engine, the contact, the path, and the record of runs that faults are judged by."""

    run: engine.EngineState = engine.EngineState()
    touching: isolator_evidence.IsolatorEvidence = isolator_evidence.IsolatorEvidence()
    path: path_resistance.PathResistance = path_resistance.PathResistance()
    record: JoinRecord = JoinRecord()
    isolator: Isolator = "unknown"
    last: tuple[Point, ...] = ()         # the last five points with a starter voltage
    at_s: float = 0.0
    news: tuple[Event, ...] = ()
    uncharged: uncharged_run.UnchargedRun = uncharged_run.UnchargedRun()


def begin() -> JoinState:
    """Nothing known yet."""
    return JoinState()


def update(state: JoinState, minute: Minute, vehicle: Vehicle) -> JoinState:
    """The state after one more minute.

    Works at any spacing of samples up to a few minutes: one second shows starts as dips, thirty
    seconds or two minutes show only that the voltage has been lifted or let go.
    vehicle: what its owner said of it; state: what was kept after the minute before; minute: what was measured.
    """
    news: list[Event] = []
    now = state
    for point in points(minute):
        now = _step(now, point, vehicle, minute.ignition_on, news)
    uncharged = uncharged_run.update(state.uncharged, minute, now.run, now.isolator, now.touching.odds < join_faults.FREED,
                                     path_resistance.likely_ohm(now.path))
    return JoinState(now.run, now.touching, now.path, now.record, now.isolator, now.last, minute.end_s, tuple(news), uncharged)


def _step(state: JoinState, point: Point, vehicle: Vehicle, ignition_on: float | None, news: list[Event]) -> JoinState:
    last = (*state.last[-4:], point)
    before = state.last[-1] if state.last else None
    if before is not None and ignition_on is None and _is_nothing_new(state, before, point):
        return JoinState(state.run, state.touching, state.path, state.record, state.isolator, last)
    built = join_faults.build(state.record, vehicle)
    dc_dc = built == "dc_dc"
    was = state.run.state
    run = engine.step(state.run, last, state.isolator == "closed", ignition_on, dc_dc, vehicle.starter.lead_acid)
    touching = state.touching
    if before is None or point.at_s - before.at_s > engine.GAP_S:
        touching = isolator_evidence.update_on_edge(touching, "unknown")      # nobody saw what the relay did meanwhile
    elif (was == "running") != (run.state == "running"):
        touching = isolator_evidence.update_on_edge(touching, "unknown" if run.state == "running" else
                                  relay_release.after_stop(state.record, point.starter_v, vehicle))
    if run.lifted_by_house and not state.run.lifted_by_house:
        touching = replace(touching, odds=OWNER_ODDS, levels=OWNER_ODDS)
        news.append(Event(point.at_s, "joined_from_house", "vehicle",
                          "The isolator closed while the house side was charging."))
    touching = isolator_evidence.step(touching, before, point, run.state, run.since_s,
                            state.record.was_closed_at_stop and not relay_release.follows_engine(state.record, vehicle))
    isolator: Isolator = "open" if dc_dc else isolator_evidence.state(touching)
    # An alternator that is turned up and down makes steps that look like a join.
    path = state.path if dc_dc or alternator_control.is_suspected(run.throttle) else path_resistance.step(
        state.path, last, isolator, run.house_before_a)
    record = join_faults.note(state.record, point, run, was, isolator, state.isolator, touching, built, vehicle)
    if record.low_s > 0 and state.record.low_s == 0:
        touching = isolator_evidence.decay_evidence(touching)       # at this voltage the relay should let go: ask the steps anew
    if run.state != was and "unknown" not in (run.state, was):
        said = "The engine was started." if run.state == "running" else "The engine was stopped."
        news.append(Event(point.at_s, f"engine_{run.state}", "vehicle", said))
    if isolator != state.isolator and "unknown" not in (isolator, state.isolator):
        news.append(Event(point.at_s, f"isolator_{isolator}", "vehicle", f"The isolator is {isolator}."))
    return JoinState(run, touching, path, record, isolator, last)


def _is_nothing_new(state: JoinState, before: Point, point: Point) -> bool:
    """The usual minute of a parked vehicle, let through quickly."""
    return (
        state.isolator == "open" and engine.is_calm(state.run, point) and point.at_s - before.at_s < engine.GAP_S
        and not isolator_evidence.is_informative(state.touching, before, point) and point.house_v is not None
        and (state.record.one_way_s > join_faults.ONE_WAY_S or point.house_v < join_faults.HOUSE_CHARGES_WELL_V)
    )


def brief(state: JoinState, vehicle: Vehicle) -> JoinFindings:
    """What other trackers ask of the join as of the last minute: whether it is closed, whether the engine runs, what joins them."""
    built = join_faults.build(state.record, vehicle)
    if _is_silent(state):
        return JoinFindings("unknown", "unknown", built)
    return JoinFindings(state.isolator, uncharged_run.engine(state.uncharged, state.run.state), built)


def _is_silent(state: JoinState) -> bool:
    return not state.last or state.at_s - state.last[-1].at_s > SILENT_S


def findings(state: JoinState, vehicle: Vehicle) -> JoinFindings:
    """The join as of the last minute."""
    found = brief(state, vehicle)
    resistance = path_resistance.estimate(state.path, alternator_control.is_controlled(state.run.throttle))
    if _is_silent(state):
        return replace(found, path_resistance_ohm=resistance, because="the starter voltage is not being measured")
    if found.build == "dc_dc":
        resistance = path_resistance.NotYet("a DC-DC charger joins the batteries, not a contact")
    return replace(found, path_resistance_ohm=resistance, because=_reason(state, found.build))


def _reason(state: JoinState, built: str) -> str:
    if state.uncharged.goes_on:
        return "the starter battery is drained as by a running engine, and nothing charges it"
    if built == "dc_dc":
        return "a DC-DC charger sits between the batteries: they are never joined"
    followed = isolator_evidence.transfer(state.touching)
    if state.run.state == "running":
        return "the engine runs and the house battery follows it" if state.isolator == "closed" else (
            "the engine runs and the house battery does not follow" if state.isolator == "open" else
            "the engine runs; the two voltages do not tell yet")
    if followed is not None and state.touching.steps >= join_alerts.NAMED_STEPS:
        share, sigma = followed
        return (f"the starter follows house steps by {100 * share:.0f} % ± {196 * sigma:.0f} % "
                f"({state.touching.steps} steps since the engine stopped)")
    if state.isolator == "open":
        return "the two voltages go their own ways"
    return "the two voltages lie close together and nothing has moved them yet"


def conditions(state: JoinState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """What is wrong with isolator or path, if anything."""
    return join_alerts.conditions(state.record, state.touching, state.path, vehicle, state.uncharged)
