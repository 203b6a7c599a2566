"""Whether the engine runs, from the starter voltage's steps; an ignition wire is used where there is one."""
from monitor.detection.join import alternator_control, held_up, power_direction
from monitor.detection.join.alternator_control import RETURN_S, SUDDEN_S, AlternatorControl
from monitor.detection.join.held_up import HeldUp
from monitor.detection.join.points import Point
from monitor.detection.join.power_direction import DC_FEEDS_A, FLOWS_A, FLOWS_V
from monitor.findings import Engine
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/join", "engine")
ALTERNATOR = table("battery", "alternator")
CHARGING_V = ALTERNATOR.number("charging_v")
RISE_V = P.number("rise_v")
FALL_V = P.number("fall_v")
STOP_BELOW_V = P.number("stop_below_v")
FLOWS_FRAC, DC_FLOWS_FRAC = P.number("flows_frac"), P.number("dc_flows_frac")
DIP_V = P.number("dip_v")
REST_FOLLOW_S = P.number("rest_follow_s")
RUN_FOLLOW_S = P.number("run_follow_s")
CHARGED_S, AS_BEFORE_V, LOADED_WAIT_S = P.number("charged_s"), P.number("as_before_v"), P.number("loaded_wait_s")
SUNK_V = ALTERNATOR.number("charging_well_v")
SUNK_AT_ALL_V = ALTERNATOR.number("nothing_rests_above_v")
SUNK_S = P.number("sunk_s")
SUNK_OFF_S = P.number("sunk_off_s")
DRIVE_PAUSE_S = P.number("drive_pause_s")
UNKNOWN_AT_MOST_S = P.number("unknown_at_most_s")
LIFTED_V = P.number("lifted_v")
GAP_S = P.number("gap_s")
CALM_V, IGNITION_ON_PART = P.number("calm_v"), P.number("ignition_on_part")
FIRST_APART_V, SETTLES_V = P.number("first_apart_v"), P.number("settles_v")
DOUBT_RISE_V, DOUBT_JUMP_V, UNDER_HOUSE_V = P.number("doubt_rise_v"), P.number("doubt_jump_v"), P.number("under_house_v")
TAKEN_LEAST_A, FELL_PART, TAKEN_MUCH_A = P.number("taken_least_a"), P.number("fell_part"), P.number("taken_much_a")
FELL_LEAST_V, IDLE_V, IDLE_FEEDING_V = P.number("fell_least_v"), P.number("idle_v"), P.number("idle_feeding_v")
BACK_V, FALLS_V, REST_FALLS_V = P.number("back_v"), P.number("falls_v"), P.number("rest_falls_v")


@dataclass(frozen=True, slots=True)
class EngineState:
    """What is known of the engine, and the levels it is judged by."""

    state: Engine = "unknown"
    since_s: float = 0.0
    rest_v: float | None = None          # level while off
    run_v: float | None = None           # level while running
    stopped_s: float | None = None
    dip_s: float | None = None           # last dip deep enough to be a start
    dip_v: float | None = None
    throttle: AlternatorControl = AlternatorControl()
    lifted_by_house: bool = False        # the last rise came from the house side
    house_before_a: float | None = None  # house current before the run
    house_most_a: float = 0.0            # most that the run added to it
    charged: bool = False                # the last run charged for minutes
    peak_v: float | None = None          # highest level of this run
    sunk_s: float = 0.0                  # for so long well below it
    held: HeldUp = HeldUp()              # the voltage since the last stop


def step(run: EngineState, last: tuple[Point, ...], joined: bool, ignition_on: float | None, dc_dc: bool = False,
         lead: bool = True) -> EngineState:
    """The state after one more point, the end of the last few that had a starter voltage.

    joined says whether the batteries were joined before the point: then a house charger lifts the
    starter too and only a sudden rise or a dip speaks for the engine. dc_dc says that a DC-DC charger
    sits between them: then the house stands above the starter while it is fed.
    run: the engine's state; ignition_on: the ignition wire, None: there is none; last: the last few points; joined: the batteries
    were joined before it; dc_dc: a DC-DC charger sits between them; lead: the starter battery is lead-acid.
    """
    point = last[-1]
    if len(last) < 2 or point.at_s - last[-2].at_s > GAP_S:
        return _first(run, point, ignition_on)
    before = last[-2]
    if point.low_v is not None and run.state != "running" and point.low_v < before.starter_v - DIP_V:
        run = replace(run, dip_s=point.at_s, dip_v=point.low_v)
    throttle = alternator_control.update(run.throttle, last, dc_dc)
    if throttle is not run.throttle:
        run = replace(run, throttle=throttle)
    if ignition_on is not None:
        return _follow(run, last, _with_ignition(run, point.starter_v, ignition_on), False)
    sinks = run.peak_v is not None and point.starter_v < min(SUNK_V, max(run.peak_v - FALL_V, SUNK_AT_ALL_V))
    if sinks or run.sunk_s:
        run = replace(run, sunk_s=run.sunk_s + point.span_s if sinks else 0.0)
    if run.sunk_s > SUNK_S and not (dc_dc and _flows(run, point, dc_dc)):
        # Surface charge sinks like this after a stop, joined batteries together; no plain regulator lets it.
        over = run.sunk_s > SUNK_OFF_S and not alternator_control.is_waiting(run.throttle, point.at_s)
        return _follow(run, last, "off" if over else "unknown", False)
    if run.state == "running":
        return _follow(run, last, _still_running(run, before, point, dc_dc), False)
    held = held_up.update(run.held, point)
    if held is not run.held:
        run = replace(run, held=held)
    state, lifted = _not_running(run, last, joined, dc_dc)
    if lead and state != "running" and held_up.engine_runs_on(run.held, point, run.stopped_s):
        state, lifted = "running", False
    return _follow(run, last, state, lifted)


def is_calm(run: EngineState, point: Point) -> bool:
    """Whether the point changes nothing: engine off, voltage where it rests (a dip as in a start moves a mean off it)."""
    rest = run.rest_v
    return run.state == "off" and rest is not None and -CALM_V < point.starter_v - rest < CALM_V and point.starter_v < SUNK_AT_ALL_V


def _first(run: EngineState, point: Point, ignition_on: float | None) -> EngineState:
    volts = point.starter_v
    state: Engine = "off" if volts < CHARGING_V else "unknown"
    if ignition_on is not None:
        on = ignition_on >= IGNITION_ON_PART
        state = "running" if on and volts > CHARGING_V else ("unknown" if on else "off")
    elif volts > STOP_BELOW_V and (point.house_v is None or volts > point.house_v + FIRST_APART_V):
        state = "running"
    return replace(
        run, state=state, since_s=point.at_s, rest_v=volts if state == "off" else None,
        run_v=volts if state == "running" else None, lifted_by_house=False,
    )


def _with_ignition(run: EngineState, volts: float, ignition_on: float) -> Engine:
    if ignition_on < IGNITION_ON_PART:
        return "off"
    if volts > CHARGING_V:
        return "running"
    return "running" if run.state == "running" else "unknown"


def _not_running(run: EngineState, last: tuple[Point, ...], joined: bool, dc_dc: bool) -> tuple[Engine, bool]:
    """The state now of an engine that was off or unknown, and whether a rise came from the house side."""
    point, before = last[-1], last[-2]
    volts = point.starter_v
    recent = [p.starter_v for p in last[:-1] if p.at_s > point.at_s - SUDDEN_S - point.span_s]
    jump = volts - min(recent) if recent else volts - before.starter_v
    rise = volts - (run.rest_v if run.rest_v is not None else before.starter_v)
    if dc_dc and run.throttle.stirred_s == point.at_s and power_direction.is_fed_suddenly(last):
        return "running", False
    if power_direction.begins_to_feed(last):
        return ("running" if volts > CHARGING_V else "unknown"), False
    if volts > CHARGING_V:
        if _from_house(run, before, point, joined):
            return "off", True
        if joined and not power_direction.is_fed_more(before, point):
            # Sun, or a house load that ended, lifts both; after a stop both only settle.
            return "off", run.lifted_by_house or volts > before.starter_v + SETTLES_V
        if jump > RISE_V and (rise > RISE_V or joined):
            return "running", False
        if run.state == "unknown":
            if alternator_control.is_controlled(run.throttle) and rise > LIFTED_V and run.rest_v is not None:
                return "running", False
            if _flows(run, point, dc_dc) or (rise > RISE_V and not power_direction.is_near(point) and run.rest_v is not None):
                return "running", False
            return ("off" if point.at_s - run.since_s > UNKNOWN_AT_MOST_S else "unknown"), run.lifted_by_house
        return "off", run.lifted_by_house or (joined and volts > before.starter_v + SETTLES_V)   # lifted slowly: a charger
    if run.state == "unknown":
        return _still_unknown(run, before, point, rise, dc_dc), run.lifted_by_house
    if rise > DOUBT_RISE_V and jump > DOUBT_JUMP_V and not joined and not _from_house(run, before, point, joined):
        return "unknown", False     # lifted, but not to where alternators charge
    if alternator_control.is_controlled(run.throttle) and run.throttle.stirred_s == point.at_s and not joined:
        return "unknown", False     # the engine's own loads, and nothing that charges
    return "off", run.lifted_by_house and joined


def _flows(run: EngineState, point: Point, dc_dc: bool) -> bool:
    """Whether the starter side still feeds the house, as only a running engine keeps doing."""
    if point.house_a is None or point.house_v is None or run.house_before_a is None:
        return False
    more = point.house_a - run.house_before_a
    if dc_dc:
        return more > max(DC_FEEDS_A, DC_FLOWS_FRAC * run.house_most_a)
    return more > max(FLOWS_A, FLOWS_FRAC * run.house_most_a) and point.starter_v - point.house_v > FLOWS_V


def _from_house(run: EngineState, before: Point, point: Point, joined: bool) -> bool:
    """A relay that closes from the house side pulls the house down to the starter, and its current with it."""
    if point.house_v is None or before.house_v is None or point.starter_v > point.house_v + UNDER_HOUSE_V:
        return False
    if joined and run.lifted_by_house:
        return True
    # A starter battery is as stiff as a house battery: it pulls the house down about as far as it
    # is lifted itself, or takes many amperes from it. An alternator lifts it without either.
    fell, rose = before.house_v - point.house_v, point.starter_v - before.starter_v
    taken_a = 0.0
    if point.house_a is not None and before.house_a is not None:
        taken_a = before.house_a - point.house_a
        if taken_a < TAKEN_LEAST_A:
            return False
    return fell > FELL_PART * rose or (taken_a > TAKEN_MUCH_A and fell > FELL_LEAST_V)


def _still_running(run: EngineState, before: Point, point: Point, dc_dc: bool) -> Engine:
    volts = point.starter_v
    level = run.run_v if run.run_v is not None else volts
    if volts < STOP_BELOW_V and volts < level - FALL_V:
        if _flows(run, point, dc_dc):
            return "running" if volts > CHARGING_V - IDLE_V else "unknown"     # idling under load
        if volts > CHARGING_V and power_direction.is_near(point) and before.house_v is not None and point.house_v is not None and (
            before.house_v - point.house_v > FELL_PART * (level - volts)
        ):
            return "unknown"        # both sank together: idling, or stopped and still joined
        return "unknown" if alternator_control.is_controlled(run.throttle) or _no_surface_charge(run, point) else "off"
    if point.house_v is not None and power_direction.is_near(point) and volts < level - IDLE_V and volts < point.house_v - FLOWS_V:
        return "unknown"            # the house side feeds the starter now: idling, or stopped under sun
    if dc_dc and _flows(run, point, dc_dc):
        return "running"
    if volts < CHARGING_V - IDLE_V:
        return "running" if _flows(run, point, dc_dc) and volts > CHARGING_V - IDLE_FEEDING_V else "unknown"
    return "running"


def _no_surface_charge(run: EngineState, point: Point) -> bool:
    """Whether the voltage falls at once to where it stood before a run that charged for minutes."""
    return (run.rest_v is not None and point.at_s - run.since_s > CHARGED_S
            and point.starter_v < run.rest_v + AS_BEFORE_V)


def _still_unknown(run: EngineState, before: Point, point: Point, rise: float, dc_dc: bool) -> Engine:
    waited_s = point.at_s - run.since_s
    if alternator_control.is_controlled(run.throttle):
        if _flows(run, point, dc_dc) or alternator_control.is_waiting(run.throttle, point.at_s):
            return "unknown"
    elif run.rest_v is not None and run.run_v is None and rise < BACK_V:
        return "off"                # back where it rested
    elif _flows(run, point, dc_dc):
        return "unknown"
    if run.rest_v is not None and rise > LIFTED_V and run.run_v is None and waited_s < UNKNOWN_AT_MOST_S:
        return "unknown"            # something holds it above its rest
    if waited_s < LOADED_WAIT_S and run.run_v is not None and run.charged and (
        run.rest_v is not None and point.starter_v < run.rest_v + AS_BEFORE_V
    ):
        return "unknown"
    return "off" if before.starter_v < CHARGING_V and point.starter_v <= before.starter_v + FALLS_V else "unknown"


def _follow(run: EngineState, last: tuple[Point, ...], state: Engine, lifted: bool) -> EngineState:
    """The levels and counters after the verdict."""
    point = last[-1]
    volts = point.starter_v
    rest, level, throttle, stopped = run.rest_v, run.run_v, run.throttle, run.stopped_s
    before_a, most_a = run.house_before_a, run.house_most_a
    changed = state != run.state
    if changed and run.state == "off" and (stopped is None or point.at_s - stopped > RETURN_S):
        # The least of the last points, for a charger may begin before the starter is seen to rise; and
        # a flicker within a drive keeps what was before it.
        before_a, most_a = min((p.house_a for p in last[:-1] if p.house_a is not None), default=None), 0.0
    charged, peak, held = run.charged, run.peak_v, HeldUp() if state == "running" else run.held
    if changed and run.state == "running":
        held = held_up.update(HeldUp(), point)
        stopped, charged = point.at_s, point.at_s - run.since_s > CHARGED_S
        if state == "off":
            rest = volts
    if changed and state == "running":
        level = volts
        if stopped is not None:
            if point.at_s - stopped > DRIVE_PAUSE_S:
                throttle = alternator_control.begin_drive(throttle)
            elif point.at_s - stopped < RETURN_S and not _start_seen_since(run, stopped) and not held_up.is_sag(run.held):
                throttle = alternator_control.note_return(throttle)
    if state == "running":
        level = volts if level is None else level
        level += (volts - level) * min(1.0, point.span_s / RUN_FOLLOW_S)
        peak = max(peak or 0.0, level)
        if point.house_a is not None and before_a is not None:
            most_a = max(most_a, point.house_a - before_a)
    elif state == "off":
        if rest is None or (changed and run.state == "unknown"):
            rest = volts
        share = min(1.0, point.span_s / REST_FOLLOW_S)
        rest += (volts - rest) * (1.0 if rest - REST_FALLS_V < volts < rest else share)
        level = peak = None
    return EngineState(state, point.at_s if changed else run.since_s, rest, level, stopped, run.dip_s, run.dip_v, throttle,
                       lifted, before_a, most_a, charged, peak, 0.0 if state == "off" else run.sunk_s,
                       held)


def _start_seen_since(run: EngineState, at_s: float) -> bool:
    return run.dip_s is not None and run.dip_s >= at_s
