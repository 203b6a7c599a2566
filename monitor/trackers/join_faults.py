"""Isolator stuck closed, stuck open or intermittent, a grown path resistance: judged over whole runs."""
from dataclasses import dataclass, replace

from monitor.battery import Vehicle
from monitor.findings import Condition
from monitor.trackers import contact as contacts
from monitor.trackers import path_resistance
from monitor.trackers.contact import Contact
from monitor.trackers.engine import Run
from monitor.trackers.points import Point

#: An alternator that charges holds the starter above this; only such time counts [V].
CHARGING_WELL_V = 13.5
#: A run must charge this long before "it did not close" means anything [s].
RUN_LEAST_S = 300.0
#: House current this much above that before the run: something feeds it, if not this isolator [A].
FED_A = 3.0
#: One such run is enough once the isolator was seen to close this often, if it lasts this long.
CLOSED_BEFORE, ONE_RUN_S = 2, 900.0
#: Joined this long after a stop, with nothing charging: stuck. A voltage-sensing relay lets go late,
#: so until it is known how soon this one opens, wait longer [s].
STUCK_SOON_S, STUCK_LATE_S = 1800.0, 6 * 3600.0
#: At this voltage every relay should have let go [V]; one that also closes from the house side later.
LET_GO_V, LET_GO_BOTH_V = 12.65, 12.5
STUCK_AT_MOST_S = 7 * 3600.0
#: Plainly open (log-odds), and so soon before a join that no engine run lies between [s].
PLAINLY_OPEN, JOINS_WITHIN_S = -5.0, 1800.0
#: The contact must be this plainly open, at rest, before a stuck one counts as freed (log-odds).
FREED = -4.0
#: The house charges: the relay may be meant to close from that side [V].
HOUSE_CHARGES_V = 13.2
#: Open so long while the house charged above 13.8 V: this relay does not close from the house side [s].
ONE_WAY_S = 7200.0
HOUSE_CHARGES_WELL_V = 13.8
#: Openings under a charging engine that make it intermittent, and how long they are remembered [s].
INTERMITTENT, REMEMBER_S = 3, 6 * 3600.0


@dataclass(frozen=True, slots=True)
class Record:
    """What runs and stops have shown."""

    run_charging_s: float = 0.0      # this run: charging well
    run_open_s: float = 0.0          # of it, plainly open
    run_fed_s: float = 0.0           # of it, with the house fed by a charger of its own
    run_closed: bool = False         # this run: closed for a good part
    run_counted: bool = False
    runs_missed: int = 0             # runs in a row without closing
    missed_s: float = 0.0            # the longest of them, plainly open
    closed_runs: int = 0             # runs in which it closed
    opened: int = 0                  # stops after which it opened
    hold_s: float = 0.0              # how long it usually took to
    stop_s: float | None = None
    was_closed_at_stop: bool = False
    joined_s: float = 0.0            # joined since the stop, with no charger to excuse it
    joined_charging_s: float = 0.0   # joined while the house side charges
    one_way_s: float = 0.0           # open while the house charged well
    openings: tuple[float, ...] = ()
    house_joins: int = 0             # times it closed from the house side
    plainly_open_s: float = -1e9     # when it was last plainly open at rest
    stuck: bool = False              # stuck closed, until plainly open again
    fed_apart_s: float = 0.0         # house charged well by the engine at a voltage of its own: DC-DC
    fed_joined_s: float = 0.0        # ... or following the starter: isolator
    closed_run_s: float = 0.0
    starter_v: float | None = None
    house_v: float | None = None


def build(record: Record, vehicle: Vehicle) -> str:
    """What sits between the batteries: as configured, else from evidence."""
    if vehicle.charging != "unknown":
        return vehicle.charging
    if record.closed_runs >= 1 and record.fed_joined_s > 2 * record.fed_apart_s:
        return "isolator"
    if record.fed_apart_s > 900 and record.fed_apart_s > 3 * record.fed_joined_s:
        return "dc_dc"
    return "unknown"


def note(record: Record, point: Point, run: Run, was: str, isolator: str, isolator_before: str,
         touching: Contact) -> Record:
    """The record after one more point."""
    volts, house = point.starter_v, point.house_v
    if volts is None or house is None:
        return record
    changes: dict = {"starter_v": volts, "house_v": house}
    if run.state == "running":
        if was != "running":
            changes |= dict(run_charging_s=0.0, run_open_s=0.0, run_fed_s=0.0, run_closed=False, run_counted=False,
                            closed_run_s=0.0, joined_s=0.0, joined_charging_s=0.0, stop_s=None, plainly_open_s=-1e9)
            record = replace(record, **changes)
        changes |= _note_run(record, point, run, isolator, isolator_before)
    else:
        if was == "running":
            changes |= dict(stop_s=point.at_s, was_closed_at_stop=record.run_closed, joined_s=0.0,
                            joined_charging_s=0.0)
            record = replace(record, **changes)
        changes |= _note_rest(record, point, house, isolator)
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
        stuck = _stuck(record, touching)
    return record if stuck == record.stuck else replace(record, stuck=stuck)


def _note_run(record: Record, point: Point, run: Run, isolator: str, before: str) -> dict:
    volts, house = point.starter_v, point.house_v
    changes: dict = {}
    if volts > CHARGING_WELL_V:
        changes["run_charging_s"] = record.run_charging_s + point.span_s
        if point.house_a is not None and run.house_before_a is not None and point.house_a - run.house_before_a > FED_A:
            changes["run_fed_s"] = record.run_fed_s + point.span_s
        if isolator == "open":
            changes["run_open_s"] = record.run_open_s + point.span_s
        if before == "closed" and isolator == "open":
            kept = tuple(at for at in record.openings if point.at_s - at < REMEMBER_S)
            changes["openings"] = (*kept, point.at_s)[-8:]
    if isolator == "closed":
        changes["closed_run_s"] = record.closed_run_s + point.span_s
        if record.closed_run_s > 60 and not record.run_closed:
            changes |= dict(run_closed=True, runs_missed=0, missed_s=0.0, closed_runs=record.closed_runs + 1)
    if point.house_a is not None and point.house_a > 5 and volts > 12.8:
        if volts - house < -0.12:
            changes["fed_apart_s"] = record.fed_apart_s + point.span_s
        elif isolator == "closed":
            changes["fed_joined_s"] = record.fed_joined_s + point.span_s
    charging_s = changes.get("run_charging_s", record.run_charging_s)
    open_s = changes.get("run_open_s", record.run_open_s)
    fed = changes.get("run_fed_s", record.run_fed_s) > 0.5 * charging_s
    if (charging_s >= RUN_LEAST_S and not record.run_counted and not record.run_closed and open_s > 0.7 * charging_s
            and not fed):
        changes |= dict(run_counted=True, runs_missed=record.runs_missed + 1)
    if (record.run_counted or changes.get("run_counted")) and open_s > record.missed_s:
        changes["missed_s"] = open_s
    return changes


def _note_rest(record: Record, point: Point, house: float, isolator: str) -> dict:
    changes: dict = {}
    if isolator == "closed":
        if house > HOUSE_CHARGES_V and record.one_way_s < ONE_WAY_S:
            changes["joined_charging_s"] = record.joined_charging_s + point.span_s
        else:
            changes["joined_s"] = record.joined_s + point.span_s
    elif isolator == "open":
        if record.was_closed_at_stop and record.stop_s is not None:
            held_s = min(point.at_s - record.stop_s, STUCK_AT_MOST_S)
            changes |= dict(was_closed_at_stop=False, opened=record.opened + 1,
                            hold_s=record.hold_s + (held_s - record.hold_s) / min(record.opened + 1, 5))
        if house > HOUSE_CHARGES_WELL_V:
            changes["one_way_s"] = record.one_way_s + point.span_s
        if record.joined_s or record.joined_charging_s:
            changes |= dict(joined_s=0.0, joined_charging_s=0.0)
    return changes


def _stuck(record: Record, touching: Contact) -> bool:
    """Joined with the engine off for longer than this relay takes to let go."""
    if touching.steps < 3 or contacts.steps_say(touching.likes) < 2.5:
        return False
    both = record.house_joins > 0
    if record.starter_v is not None and record.starter_v < (LET_GO_BOTH_V if both else LET_GO_V):
        return record.joined_s > STUCK_SOON_S
    if both:
        return False        # it may rightly stay closed while the house lasts
    wait_s = max(STUCK_SOON_S, 3 * record.hold_s) if record.opened >= 2 else STUCK_LATE_S
    return record.joined_s > min(wait_s, STUCK_AT_MOST_S)


def stuck_open(record: Record) -> bool:
    """The engine charged and the house did not follow, in two runs; in one long one if it always had."""
    if record.runs_missed >= 2:
        return True
    return (record.runs_missed == 1 and record.closed_runs >= CLOSED_BEFORE and record.missed_s > ONE_RUN_S)


def conditions(record: Record, run: Run, touching: Contact, path: path_resistance.Path, isolator: str,
               vehicle: Vehicle) -> tuple[Condition, ...]:
    """The four conditions of isolator and path, active or not."""
    dc_dc = build(record, vehicle) == "dc_dc"
    closed = not dc_dc and record.stuck
    missing = stuck_open(record)
    flutter = not dc_dc and len(record.openings) >= INTERMITTENT
    return (_stuck_closed(closed, record, touching), _stuck_open(missing, record, dc_dc),
            _intermittent(flutter, record), _grown(not dc_dc and path_resistance.grown(path), path))


def _stuck_closed(active: bool, record: Record, touching: Contact) -> Condition:
    share = contacts.transfer(touching)
    seen = ""
    if active and share is not None:
        seen = (f"The engine has been off, and for {record.joined_s / 3600:.1f} h the starter battery has followed "
                f"the house loads: {100 * share[0]:.0f} % of each of {touching.steps} steps.")
    return Condition(
        "isolator_stuck_closed", "vehicle", active, "high", seen,
        "The isolator has not let go: house loads empty the starter battery as well.",
        "Listen for the relay when the engine stops; look for welded contacts or a control wire that stays live.",
        "It clears when the two voltages go their own ways again with the engine off.",
        figures=(("joined_s", record.joined_s), ("followed_frac", share[0] if share else 0.0)),
    )


def _stuck_open(active: bool, record: Record, dc_dc: bool) -> Condition:
    seen = ""
    if active:
        seen = (f"The engine charged the starter battery in {record.runs_missed} run(s) of five minutes or more, "
                f"and the house battery did not follow"
                + (f" ({record.starter_v:.1f} V against {record.house_v:.1f} V)." if record.starter_v is not None
                   and record.house_v is not None and record.starter_v > CHARGING_WELL_V else "."))
    part = "DC-DC charger" if dc_dc else "isolator"
    return Condition(
        "isolator_stuck_open", "vehicle", active, "medium", seen,
        f"The {part} does not pass charge on: driving no longer charges the house battery.",
        f"Look at the fuses on both sides of the {part}, its control wire and its earth.",
        "It clears when the house battery follows the engine again for a minute.",
        figures=(("runs_missed", float(record.runs_missed)),),
    )


def _intermittent(active: bool, record: Record) -> Condition:
    return Condition(
        "isolator_intermittent", "vehicle", active, "medium",
        f"The isolator opened {len(record.openings)} times within six hours while the engine charged." if active else "",
        "A contact or its control wire is loose; a contact that chatters burns.",
        "Look at the plugs and the earth of the relay; feel, with the engine off, whether terminals are loose.",
        "It clears six hours after the last of such openings, at the next run.",
        figures=(("openings", float(len(record.openings))),),
    )


def _grown(active: bool, path: path_resistance.Path) -> Condition:
    found = path_resistance.growth(path)
    seen = ""
    if active and found is not None:
        ratio, _, now, then = found
        seen = (f"Isolator and cable measure {1000 * now:.1f} mΩ, {ratio:.1f} times the {1000 * then:.1f} mΩ of the "
                f"first edges; at {path.largest_a:.0f} A the added part turns "
                f"{(now - then) * path.largest_a**2:.0f} W into heat.")
    return Condition(
        "path_resistance_grown", "vehicle", active, "medium", seen,
        "A contact or a crimp in the charging path is getting worse; it wastes charge and can become hot enough to burn.",
        "With the engine off and both batteries disconnected, look for loose, green or browned terminals and fuse holders.",
        "It clears when the measured resistance falls back towards the first edges'.",
        figures=(("ratio", found[0] if found else 1.0),),
    )
