"""Whether the engine runs, from the starter voltage's steps; an ignition wire is used where there is one."""
from dataclasses import dataclass, replace

from monitor.findings import Engine
from monitor.trackers.points import SHOWS_A_START_S, Point

#: Something charges a lead-acid battery that stays above this; below it an alternator may hide [V].
CHARGING_V = 13.2
#: A running engine lifts the starter at least this much within a minute or so [V].
RISE_V = 0.4
#: And its end lets the voltage fall this much [V]. After a full charge the rest begins high, so a
#: fall counts as the end of a run up to STOP_BELOW_V.
FALL_V = 0.3
STOP_BELOW_V = 13.6
#: A dip this deep between two samples a second apart is a start, or a heavy load [V].
DIP_V = 0.5
#: How quickly the level at rest, and the level while running, are followed [s].
REST_FOLLOW_S = 1200.0
RUN_FOLLOW_S = 90.0
#: Comes back to charging sooner than this with no start in between: the alternator is throttled.
RETURN_S = 900.0
#: After so many returns the vehicle is known to throttle its alternator.
RETURNS_TO_BELIEVE = 3
#: How long a throttled vehicle's low voltage stays "unknown" before it is called off [s].
THROTTLED_WAIT_S = 1800.0
#: Silence longer than this and nothing before it helps [s].
GAP_S = 900.0


@dataclass(frozen=True, slots=True)
class Run:
    """What is known of the engine, and the levels it is judged by."""

    state: Engine = "unknown"
    since_s: float = 0.0
    rest_v: float | None = None          # level while off
    run_v: float | None = None           # level while running
    last_s: float | None = None
    last_v: float | None = None
    last_house_v: float | None = None
    last_house_a: float | None = None
    stopped_s: float | None = None
    dip_s: float | None = None           # last dip deep enough to be a start
    dip_v: float | None = None
    returns: int = 0
    lifted_by_house: bool = False        # the last rise came from the house side


def step(run: Run, point: Point, joined: bool, ignition_on: float | None) -> Run:
    """The state after one more point.

    joined says whether the batteries were joined before the point: then a house charger lifts the
    starter too and only a sudden rise or a dip speaks for the engine.
    """
    volts = point.starter_v
    if volts is None:
        return run
    if run.last_v is None or run.last_s is None or point.at_s - run.last_s > GAP_S:
        return _first(run, point, volts, ignition_on)
    run = _note_dip(run, point)
    if ignition_on is not None:
        state = _with_ignition(run, volts, ignition_on)
        lifted = False
    else:
        state, lifted = _judge(run, point, volts, joined)
    return _follow(run, point, volts, state, lifted)


def throttles(run: Run) -> bool:
    """Whether this vehicle was seen to let its alternator voltage sink while it drives."""
    return run.returns >= RETURNS_TO_BELIEVE


def _first(run: Run, point: Point, volts: float, ignition_on: float | None) -> Run:
    state: Engine = "off" if volts < CHARGING_V else "unknown"
    if ignition_on is not None:
        state = "running" if ignition_on >= 0.5 and volts > CHARGING_V else ("off" if ignition_on < 0.5 else "unknown")
    elif volts > STOP_BELOW_V and (point.house_v is None or volts > point.house_v + 0.3):
        state = "running"
    return replace(
        run, state=state, since_s=point.at_s, rest_v=volts if state == "off" else None,
        run_v=volts if state == "running" else None, last_s=point.at_s, last_v=volts,
        last_house_v=point.house_v, last_house_a=point.house_a, lifted_by_house=False,
    )


def _note_dip(run: Run, point: Point) -> Run:
    if point.low_v is not None and run.last_v is not None and point.low_v < run.last_v - DIP_V and run.state != "running":
        return replace(run, dip_s=point.at_s, dip_v=point.low_v)
    return run


def _with_ignition(run: Run, volts: float, ignition_on: float) -> Engine:
    if ignition_on < 0.5:
        return "off"
    if volts > CHARGING_V:
        return "running"
    return "running" if run.state == "running" else "unknown"


def _judge(run: Run, point: Point, volts: float, joined: bool) -> tuple[Engine, bool]:
    """The state now, and whether a rise came from the house side."""
    if run.state == "running":
        return _still_running(run, point, volts), False
    rest = run.rest_v if run.rest_v is not None else run.last_v
    rise = volts - rest
    if volts > CHARGING_V and rise > RISE_V:
        sudden = volts - run.last_v > 0.5 * RISE_V or run.state == "unknown"
        if _from_house(run, point, volts, joined) or (joined and run.lifted_by_house and not sudden):
            return "off", True
        if sudden or not joined:
            return "running", False
    if run.state == "unknown":
        return _unknown(run, point, volts, rise), run.lifted_by_house
    if rise > 0.25 and volts - run.last_v > 0.15 and not joined and not _from_house(run, point, volts, joined):
        return "unknown", False     # lifted, but not to where alternators charge
    return "off", run.lifted_by_house and joined


def _from_house(run: Run, point: Point, volts: float, joined: bool) -> bool:
    """A relay that closes from the house side pulls the house down to the starter, and its current with it."""
    if point.house_v is None or run.last_house_v is None:
        return False
    if volts > point.house_v + 0.06:
        return False
    if joined and run.lifted_by_house:
        return True
    fell = run.last_house_v - point.house_v > 0.05
    if point.house_a is not None and run.last_house_a is not None:
        return fell and point.house_a - run.last_house_a < -0.3
    return fell


def _still_running(run: Run, point: Point, volts: float) -> Engine:
    level = run.run_v if run.run_v is not None else volts
    if volts < STOP_BELOW_V and volts < level - FALL_V:
        return "unknown" if throttles(run) else "off"
    if volts < CHARGING_V - 0.1:
        return "unknown"
    return "running"


def _unknown(run: Run, point: Point, volts: float, rise: float) -> Engine:
    waited_s = point.at_s - run.since_s
    if volts > CHARGING_V:
        if run.rest_v is None and waited_s < 7200:
            return "unknown"        # the log begins high: surface charge, sun or engine
        return "off" if waited_s > 7200 else "unknown"
    if run.rest_v is not None and run.run_v is None and rise < 0.15:
        return "off"                # back where it rested
    return "off" if waited_s > THROTTLED_WAIT_S and volts <= run.last_v + 0.05 else "unknown"


def _follow(run: Run, point: Point, volts: float, state: Engine, lifted: bool) -> Run:
    """The levels and counters after the verdict."""
    rest, level, returns, stopped = run.rest_v, run.run_v, run.returns, run.stopped_s
    changed = state != run.state
    if changed and run.state == "running":
        stopped, rest = point.at_s, volts
    if changed and state == "running":
        level = volts
        if stopped is not None and point.at_s - stopped < RETURN_S and not _start_seen_since(run, stopped):
            returns += 1
    elif state == "running":
        level += (volts - level) * min(1.0, point.span_s / RUN_FOLLOW_S)
    elif state == "off":
        if rest is None or (changed and run.state == "unknown"):
            rest = volts
        share = min(1.0, point.span_s / REST_FOLLOW_S)
        rest += (volts - rest) * (1.0 if volts < rest and volts > rest - 0.1 else share)
        level = None
    return replace(
        run, state=state, since_s=point.at_s if changed else run.since_s, rest_v=rest, run_v=level,
        returns=returns, stopped_s=stopped, last_s=point.at_s, last_v=volts, last_house_v=point.house_v,
        last_house_a=point.house_a, lifted_by_house=lifted,
    )


def _start_seen_since(run: Run, at_s: float) -> bool:
    return run.dip_s is not None and run.dip_s >= at_s


def shows_starts(span_s: float, count: int) -> bool:
    """Whether samples are close enough together for a start to be seen as a dip."""
    return count > 1 and span_s / count <= SHOWS_A_START_S
