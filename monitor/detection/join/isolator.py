"""Are the batteries joined, does the engine run, what does the join cost: one fold over the minutes."""
from dataclasses import dataclass, replace

from monitor.battery.label import Vehicle
from monitor.detection.join import (
    alternator_control,
    engine,
    isolator_evidence,
    join_alerts,
    join_faults,
    path_resistance,
    relay_release,
)
from monitor.detection.join.join_record import JoinRecord
from monitor.detection.join.points import Point, points
from monitor.findings import Condition, Event, Isolator, JoinFindings
from monitor.parameters import table
from monitor.sample import Minute

P = table("detection/join", "isolator")
SILENT_S = P.number("silent_s")


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


def begin() -> JoinState:
    """Nothing known yet."""
    return JoinState()


def update(held: JoinState, minute: Minute, vehicle: Vehicle) -> JoinState:
    """The state after one more minute.

    Works at any spacing of samples up to a few minutes: one second shows starts as dips, thirty
    seconds or two minutes show only that the voltage has been lifted or let go.
    """
    news: list[Event] = []
    now = held
    for point in points(minute):
        now = _step(now, point, vehicle, minute.ignition_on, news)
    return JoinState(now.run, now.touching, now.path, now.record, now.isolator, now.last, minute.end_s, tuple(news))


def _step(held: JoinState, point: Point, vehicle: Vehicle, ignition_on: float | None, news: list[Event]) -> JoinState:
    last = (*held.last[-4:], point)
    before = held.last[-1] if held.last else None
    if before is not None and ignition_on is None and _nothing_new(held, before, point):
        return JoinState(held.run, held.touching, held.path, held.record, held.isolator, last)
    built = join_faults.build(held.record, vehicle)
    dc_dc = built == "dc_dc"
    was = held.run.state
    run = engine.step(held.run, last, held.isolator == "closed", ignition_on, dc_dc)
    touching = held.touching
    if before is None or point.at_s - before.at_s > engine.GAP_S:
        touching = isolator_evidence.update_on_edge(touching, "unknown")      # nobody saw what the relay did meanwhile
    elif (was == "running") != (run.state == "running"):
        touching = isolator_evidence.update_on_edge(touching, "unknown" if run.state == "running" else
                                  relay_release.after_stop(held.record, point.starter_v, vehicle))
    if run.lifted_by_house and not held.run.lifted_by_house:
        touching = replace(touching, odds=4.0, levels=4.0)
        news.append(Event(point.at_s, "joined_from_house", "vehicle",
                          "The isolator closed while the house side was charging."))
    touching = isolator_evidence.step(touching, before, point, run.state, run.since_s,
                            held.record.was_closed_at_stop and not relay_release.follows_engine(held.record, vehicle))
    isolator: Isolator = "open" if dc_dc else isolator_evidence.state(touching)
    # An alternator that is turned up and down makes steps that look like a join.
    path = held.path if dc_dc or alternator_control.is_suspected(run.throttle) else path_resistance.step(
        held.path, last, isolator, run.house_before_a)
    record = join_faults.note(held.record, point, run, was, isolator, held.isolator, touching, built, vehicle)
    if record.low_s > 0 and held.record.low_s == 0:
        touching = isolator_evidence.decay_evidence(touching)       # at this voltage the relay should let go: ask the steps anew
    if run.state != was and "unknown" not in (run.state, was):
        said = "The engine was started." if run.state == "running" else "The engine was stopped."
        news.append(Event(point.at_s, f"engine_{run.state}", "vehicle", said))
    if isolator != held.isolator and "unknown" not in (isolator, held.isolator):
        news.append(Event(point.at_s, f"isolator_{isolator}", "vehicle", f"The isolator is {isolator}."))
    return JoinState(run, touching, path, record, isolator, last)


def _nothing_new(held: JoinState, before: Point, point: Point) -> bool:
    """The usual minute of a parked vehicle, let through quickly."""
    return (
        held.isolator == "open" and engine.is_calm(held.run, point) and point.at_s - before.at_s < engine.GAP_S
        and not isolator_evidence.is_informative(held.touching, before, point) and point.house_v is not None
        and (held.record.one_way_s > join_faults.ONE_WAY_S or point.house_v < join_faults.HOUSE_CHARGES_WELL_V)
    )


def findings(held: JoinState, vehicle: Vehicle) -> JoinFindings:
    """The join as of the last minute."""
    built = join_faults.build(held.record, vehicle)
    resistance = path_resistance.estimate(held.path, alternator_control.is_controlled(held.run.throttle))
    if not held.last or held.at_s - held.last[-1].at_s > SILENT_S:
        return JoinFindings("unknown", "unknown", built, resistance, "the starter voltage is not being measured")
    if built == "dc_dc":
        resistance = path_resistance.NotYet("a DC-DC charger joins the batteries, not a contact")
    return JoinFindings(held.isolator, held.run.state, built, resistance, _because(held, built))


def _because(held: JoinState, built: str) -> str:
    if built == "dc_dc":
        return "a DC-DC charger sits between the batteries: they are never joined"
    followed = isolator_evidence.transfer(held.touching)
    if held.run.state == "running":
        return "the engine runs and the house battery follows it" if held.isolator == "closed" else (
            "the engine runs and the house battery does not follow" if held.isolator == "open" else
            "the engine runs; the two voltages do not tell yet")
    if followed is not None and held.touching.steps >= 3:
        share, sigma = followed
        return (f"the starter follows house steps by {100 * share:.0f} % ± {196 * sigma:.0f} % "
                f"({held.touching.steps} steps since the engine stopped)")
    if held.isolator == "open":
        return "the two voltages go their own ways"
    return "the two voltages lie close together and nothing has moved them yet"


def conditions(held: JoinState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """What is wrong with isolator or path, if anything."""
    return join_alerts.conditions(held.record, held.touching, held.path, vehicle)
