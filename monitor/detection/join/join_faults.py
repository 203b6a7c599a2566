"""Isolator stuck closed, stuck open or intermittent, a grown path resistance: judged over whole runs."""
from typing import Any

from monitor.battery.label import Vehicle
from monitor.detection.join import alternator_control, relay_release
from monitor.detection.join import isolator_evidence as contacts
from monitor.detection.join.engine import EngineState
from monitor.detection.join.isolator_evidence import IsolatorEvidence
from monitor.detection.join.join_record import JoinRecord
from monitor.detection.join.points import Point
from monitor.findings import NEVER_S, Build
from monitor.parameters import table
from monitor.replacing import replace

P = table("detection/join", "join_faults")
ALTERNATOR, RELAY = table("battery", "alternator"), table("battery", "relay")
CHARGING_WELL_V = ALTERNATOR.number("charging_well_v")
RUN_LEAST_S = P.number("run_least_s")
FED_A = P.number("fed_a")
COMPARE_A, COMPARE_V, COMPARE_AFTER_S, VOTES = P.number("compare_a"), P.number("compare_v"), P.number("compare_after_s"), P.count("votes")
METERS_V, UPHILL_WITHIN_S = P.number("meters_v"), P.number("uphill_within_s")
HUNGRY_V = RELAY.number("holds_above_v")
CLOSED_BEFORE, ONE_RUN_S = P.count("closed_before"), P.number("one_run_s")
STUCK_SOON_S = P.number("stuck_soon_s")
STUCK_LOW_S = P.number("stuck_low_s")
STUCK_BELOW_OWN_S = P.number("stuck_below_own_s")
STUCK_TOLD_S = P.number("stuck_told_s")
STOPS, REBOUND_V = P.count("stops"), P.number("rebound_v")
CLOSES_AGAIN_V = RELAY.number("closes_above_v")
PLAINLY_OPEN, JOINS_WITHIN_S = P.number("plainly_open"), P.number("joins_within_s")
FREED = P.number("freed")
HOUSE_CHARGES_V = ALTERNATOR.number("charging_v")
RESTS_V = ALTERNATOR.number("nothing_rests_above_v")
ONE_WAY_S = P.number("one_way_s")
HOUSE_CHARGES_WELL_V = P.number("house_charges_well_v")
DROPS_V, DROPS_A = P.number("drops_v"), P.number("drops_a")
INTERMITTENT, REMEMBER_S = P.count("intermittent"), P.number("remember_s")
REST_ODDS, REST_STEPS, REST_FOLLOWS = P.number("rest_odds"), P.count("rest_steps"), P.number("rest_follows")
OPENINGS_KEPT, CLOSED_LEAST_S, FED_PART = P.count("openings_kept"), P.number("closed_least_s"), P.number("fed_part")
OPEN_PART, COMPARE_LEAST_V = P.number("open_part"), P.number("compare_least_v")
MOST_PATH_OHM, TURNED_PART, FOLLOWS_PART = P.number("most_path_ohm"), P.number("turned_part"), P.number("follows_part")
HOLDS_TURNED_PART, HOLDS_PART = P.number("holds_turned_part"), P.number("holds_part")
STUCK_FOLLOWS = P.number("stuck_follows")


def build(record: JoinRecord, vehicle: Vehicle) -> Build:
    """What sits between the batteries: as configured, else from evidence."""
    if vehicle.charging != "unknown":
        return vehicle.charging
    if record.joined_at_rest:
        return "isolator"
    if record.holds >= VOTES and record.holds > 2 * record.follows:
        return "dc_dc"
    if record.follows >= VOTES or (record.closed_runs >= 1 and record.follows > record.holds):
        return "isolator"
    return "unknown"


def note(record: JoinRecord, point: Point, run: EngineState, was: str, isolator: str, isolator_before: str,
         touching: IsolatorEvidence, built: str, vehicle: Vehicle) -> JoinRecord:
    """The record after one more point; built: what sits between the batteries, as far as known before it.

    run: the engine's state; was: the engine's state before; isolator: open, closed or unknown; isolator_before: the isolator's
    state a point before; touching: the evidence for a join; vehicle: what its owner said of it; record: what runs and stops have
    shown; point: the latest point.
    """
    volts, house = point.starter_v, point.house_v
    if house is None:
        return record
    changes: dict[str, Any] = {"starter_v": volts, "house_v": house, "house_a": point.house_a}
    if run.state == "running":
        if was != "running":
            changes |= {
                "run_charging_s": 0.0, "run_open_s": 0.0, "run_fed_s": 0.0, "run_closed": False, "run_counted": False,
                "uphill": False, "closed_run_s": 0.0, "joined_s": 0.0, "low_s": 0.0, "stop_s": None, "plainly_open_s": NEVER_S,
                "from_v": None, "openings": tuple(at for at in record.openings if point.at_s - at < REMEMBER_S)}
            record = replace(record, **(changes | {"house_v": None}))
        changes |= _note_run(record, point, house, run, isolator, built)
    else:
        if was == "running":
            changes |= {"lowest_v": None, "stop_s": point.at_s, "was_closed_at_stop": record.run_closed,
                        "joined_s": 0.0, "low_s": 0.0}
            record = replace(record, **changes)
        changes |= _note_rest(record, point, house, isolator, touching.odds, vehicle)
        if (not record.joined_at_rest and touching.odds > REST_ODDS and touching.steps >= REST_STEPS
                and contacts.follows(touching) > REST_FOLLOWS):
            changes["joined_at_rest"] = True
        if touching.odds < PLAINLY_OPEN:
            changes["plainly_open_s"] = point.at_s
        elif isolator == "closed" != isolator_before and house > HOUSE_CHARGES_V and (
            point.at_s - record.plainly_open_s < JOINS_WITHIN_S
        ):
            changes["house_joins"] = record.house_joins + 1     # no engine in between: the house side closed it
    record = replace(record, **changes)
    stuck = record.stuck
    if stuck:
        stuck = run.state == "running" or touching.odds > FREED
    elif isolator == "closed" and run.state != "running":
        stuck = _is_stuck_closed(record, touching, run, vehicle)
    return record if stuck == record.stuck else replace(record, stuck=stuck)


def _note_run(record: JoinRecord, point: Point, house_v: float, run: EngineState, isolator: str, built: str) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    if point.starter_v > CHARGING_WELL_V:
        changes["run_charging_s"] = record.run_charging_s + point.span_s
        if point.house_a is not None and run.house_before_a is not None and point.house_a - run.house_before_a > FED_A:
            changes["run_fed_s"] = record.run_fed_s + point.span_s
        if isolator == "open" and (
            built == "isolator" or house_v < HUNGRY_V or (record.closed_runs >= CLOSED_BEFORE and record.holds == 0)
        ):
            changes["run_open_s"] = record.run_open_s + point.span_s
        if _note_dropout(record, point, house_v):
            kept = tuple(at for at in record.openings if point.at_s - at < REMEMBER_S)
            changes["openings"] = (*kept, point.at_s)[-OPENINGS_KEPT:]
    if isolator == "closed":
        changes["closed_run_s"] = record.closed_run_s + point.span_s
        if record.closed_run_s > CLOSED_LEAST_S and not record.run_closed:
            changes |= {"run_closed": True, "runs_missed": 0, "missed_s": 0.0, "closed_runs": record.closed_runs + 1}
    if point.at_s - run.since_s > COMPARE_AFTER_S:
        changes |= _compare(record, point, point.starter_v - house_v)
        if not record.uphill and _flows_against_voltage(point, house_v, run):
            changes |= {"uphill": True, "holds": changes.get("holds", record.holds) + 1}
    charging_s = changes.get("run_charging_s", record.run_charging_s)
    open_s = changes.get("run_open_s", record.run_open_s)
    fed = changes.get("run_fed_s", record.run_fed_s) > FED_PART * charging_s
    if (charging_s >= RUN_LEAST_S and not record.run_counted and not record.run_closed and open_s > OPEN_PART * charging_s
            and not fed):
        changes |= {"run_counted": True, "runs_missed": record.runs_missed + 1}
    if (record.run_counted or changes.get("run_counted")) and open_s > record.missed_s:
        changes["missed_s"] = open_s
    return changes


def _note_dropout(record: JoinRecord, point: Point, house_v: float) -> bool:
    """The house falls away from a charging starter, and its current with it, from one point to the next."""
    if not record.run_closed or record.house_v is None or record.starter_v is None:
        return False
    parted = (point.starter_v - house_v) - (record.starter_v - record.house_v) > DROPS_V
    if point.house_a is None or record.house_a is None:
        return parted
    return parted and record.house_a - point.house_a > DROPS_A


def _compare(record: JoinRecord, point: Point, across: float) -> dict[str, Any]:
    """Does the house current follow the voltage across [V], as through a path, or hold, as from a DC-DC charger?"""
    amps = point.house_a
    if amps is None or amps < COMPARE_A:
        return {"from_v": None} if record.from_v is not None else {}
    if record.from_v is None:
        return {"from_v": across, "from_a": amps, "from_starter_v": point.starter_v}
    moved = across - record.from_v
    if abs(moved) < COMPARE_V:
        return {}
    # Through a path the current moves in proportion; 40 milliohms is more than most have.
    expected = max(abs(moved) * record.from_a / max(abs(record.from_v), COMPARE_LEAST_V), abs(moved) / MOST_PATH_OHM)
    changed = (amps - record.from_a) * (1 if moved > 0 else -1)
    vote = {"from_v": across, "from_a": amps, "from_starter_v": point.starter_v}
    turned = abs(point.starter_v - record.from_starter_v) > TURNED_PART * abs(moved)    # by the alternator, not by the house
    # No path takes a current towards the higher voltage, whatever the meters differ by.
    path = min(across, record.from_v) + METERS_V > 0
    if changed > FOLLOWS_PART * expected and path:
        vote["follows"] = record.follows + 1
    elif abs(changed) < (HOLDS_TURNED_PART if turned else HOLDS_PART) * expected:     # a house load moves both: then it must hold well
        vote["holds"] = record.holds + 1
    return vote


def _flows_against_voltage(point: Point, house_v: float, run: EngineState) -> bool:
    """Whether the run feeds the house though it stands above the starter: a charger lifts it there, no contact does."""
    if point.house_a is None or run.house_before_a is None or point.at_s - run.since_s > UPHILL_WITHIN_S:
        return False
    return point.house_a - run.house_before_a > COMPARE_A and house_v > point.starter_v + METERS_V


def _note_rest(record: JoinRecord, point: Point, house_v: float, isolator: str, odds: float, vehicle: Vehicle) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    if isolator == "closed":
        if record.was_closed_at_stop:
            changes["lowest_v"] = min(record.lowest_v or 20.0, point.starter_v)
        if point.starter_v < RESTS_V and (
            house_v <= HOUSE_CHARGES_V or record.one_way_s >= ONE_WAY_S or relay_release.opens_with_engine(record, vehicle)
        ):
            changes["joined_s"] = record.joined_s + point.span_s
        highest = max(point.starter_v, house_v)       # a relay may sense either side
        if highest < relay_release.release_voltage_v(record):
            changes["low_s"] = record.low_s + point.span_s
        elif record.low_s and highest > CLOSES_AGAIN_V:
            changes["low_s"] = 0.0
    elif isolator == "open":
        if record.was_closed_at_stop and record.stop_s is not None and odds < FREED:
            promptly = point.at_s - record.stop_s < relay_release.LETS_GO_WITHIN_S and point.starter_v > relay_release.LETS_GO_HIGH_V
            changes |= {"was_closed_at_stop": False, "opened": record.opened + 1, "lets_go": record.lets_go + promptly}
            held_v = point.starter_v - REBOUND_V if record.lowest_v is None else record.lowest_v
            if vehicle.isolator_follows != "engine":    # there a stop says nothing of a voltage
                changes["released_v"] = (*record.released_v, held_v)[-STOPS:]
        if house_v > HOUSE_CHARGES_WELL_V and odds < PLAINLY_OPEN:
            changes["one_way_s"] = record.one_way_s + point.span_s
        if record.joined_s or record.low_s:
            changes |= {"joined_s": 0.0, "low_s": 0.0}
    return changes


def _is_stuck_closed(record: JoinRecord, touching: IsolatorEvidence, run: EngineState, vehicle: Vehicle) -> bool:
    """Joined with the engine off for longer than this relay takes to let go."""
    if contacts.follows(touching) < STUCK_FOLLOWS:
        return False
    if record.low_s > (STUCK_BELOW_OWN_S if len(record.released_v) > 1 else STUCK_LOW_S):
        return True
    if vehicle.isolator_follows == "engine":
        soon = record.opened > 0 and not alternator_control.is_suspected(run.throttle)
        return record.joined_s > (STUCK_SOON_S if soon else STUCK_TOLD_S)
    # one that does not follow the engine the sun may hold for days
    return relay_release.follows_engine(record, vehicle) and not record.house_joins and record.joined_s > STUCK_SOON_S


def is_stuck_open(record: JoinRecord) -> bool:
    """The engine charged and the house did not follow, in two runs; in one long one if it always had."""
    if record.runs_missed >= 2:
        return True
    return (record.runs_missed == 1 and record.closed_runs >= CLOSED_BEFORE and record.missed_s > ONE_RUN_S)


def count_openings(record: JoinRecord) -> bool:
    """Whether it opened often under a charging engine lately; a DC-DC charger pauses by design."""
    return len(record.openings) >= INTERMITTENT and record.holds == 0
