"""Whether the engine runs, from the starter voltage's steps; an ignition wire is used where there is one."""
from dataclasses import dataclass, replace

from monitor.findings import Engine
from monitor.trackers.points import Point

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
    stopped_s: float | None = None
    dip_s: float | None = None           # last dip deep enough to be a start
    dip_v: float | None = None
    returns: int = 0
    lifted_by_house: bool = False        # the last rise came from the house side


def step(run: Run, before: Point | None, point: Point, joined: bool, ignition_on: float | None) -> Run:
    """The state after one more point; before is the last one that had a starter voltage.

    joined says whether the batteries were joined before the point: then a house charger lifts the
    starter too and only a sudden rise or a dip speaks for the engine.
    """
    if before is None or point.at_s - before.at_s > GAP_S:
        return _first(run, point, ignition_on)
    dip = point.low_v is not None and run.state != "running" and point.low_v < before.starter_v - DIP_V
    if dip:
        run = replace(run, dip_s=point.at_s, dip_v=point.low_v)
    if ignition_on is not None:
        return _follow(run, point, _with_ignition(run, point.starter_v, ignition_on), False)
    state, lifted = _judge(run, before, point, joined)
    return _follow(run, point, state, lifted)


def calm(run: Run, point: Point) -> bool:
    """Whether the point changes nothing: engine off, voltage where it rests, no dip."""
    rest = run.rest_v
    return (run.state == "off" and rest is not None and -0.02 < point.starter_v - rest < 0.02
            and (point.low_v is None or point.low_v > rest - 0.2))


def throttles(run: Run) -> bool:
    """Whether this vehicle was seen to let its alternator voltage sink while it drives."""
    return run.returns >= RETURNS_TO_BELIEVE


def _first(run: Run, point: Point, ignition_on: float | None) -> Run:
    volts = point.starter_v
    state: Engine = "off" if volts < CHARGING_V else "unknown"
    if ignition_on is not None:
        state = "running" if ignition_on >= 0.5 and volts > CHARGING_V else ("off" if ignition_on < 0.5 else "unknown")
    elif volts > STOP_BELOW_V and (point.house_v is None or volts > point.house_v + 0.3):
        state = "running"
    return replace(
        run, state=state, since_s=point.at_s, rest_v=volts if state == "off" else None,
        run_v=volts if state == "running" else None, lifted_by_house=False,
    )


def _with_ignition(run: Run, volts: float, ignition_on: float) -> Engine:
    if ignition_on < 0.5:
        return "off"
    if volts > CHARGING_V:
        return "running"
    return "running" if run.state == "running" else "unknown"


def _judge(run: Run, before: Point, point: Point, joined: bool) -> tuple[Engine, bool]:
    """The state now, and whether a rise came from the house side."""
    volts, last = point.starter_v, before.starter_v
    if run.state == "running":
        return _still_running(run, volts), False
    rise = volts - (run.rest_v if run.rest_v is not None else last)
    if volts > CHARGING_V and rise > RISE_V:
        sudden = volts - last > 0.5 * RISE_V or run.state == "unknown"
        if _from_house(run, before, point, joined) or (joined and run.lifted_by_house and not sudden):
            return "off", True
        if sudden or not joined:
            return "running", False
    if run.state == "unknown":
        return _unknown(run, before, point, rise), run.lifted_by_house
    if rise > 0.25 and volts - last > 0.15 and not joined and not _from_house(run, before, point, joined):
        return "unknown", False     # lifted, but not to where alternators charge
    return "off", run.lifted_by_house and joined


def _from_house(run: Run, before: Point, point: Point, joined: bool) -> bool:
    """A relay that closes from the house side pulls the house down to the starter, and its current with it."""
    if point.house_v is None or before.house_v is None or point.starter_v > point.house_v + 0.06:
        return False
    if joined and run.lifted_by_house:
        return True
    # A starter battery is as stiff as a house battery: it pulls the house down about as far as it
    # is lifted itself, or takes many amperes from it. An alternator lifts it without either.
    fell, rose = before.house_v - point.house_v, point.starter_v - before.starter_v
    taken_a = 0.0
    if point.house_a is not None and before.house_a is not None:
        taken_a = before.house_a - point.house_a
        if taken_a < 0.3:
            return False
    return fell > 0.4 * rose or (taken_a > 4.0 and fell > 0.03)


def _still_running(run: Run, volts: float) -> Engine:
    level = run.run_v if run.run_v is not None else volts
    if volts < STOP_BELOW_V and volts < level - FALL_V:
        return "unknown" if throttles(run) else "off"
    if volts < CHARGING_V - 0.1:
        return "unknown"
    return "running"


def _unknown(run: Run, before: Point, point: Point, rise: float) -> Engine:
    waited_s = point.at_s - run.since_s
    if point.starter_v > CHARGING_V:
        return "off" if waited_s > 7200 else "unknown"   # surface charge, sun or engine
    if run.rest_v is not None and run.run_v is None and rise < 0.15:
        return "off"                # back where it rested
    return "off" if waited_s > THROTTLED_WAIT_S and point.starter_v <= before.starter_v + 0.05 else "unknown"


def _follow(run: Run, point: Point, state: Engine, lifted: bool) -> Run:
    """The levels and counters after the verdict."""
    volts = point.starter_v
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
        rest += (volts - rest) * (1.0 if rest - 0.1 < volts < rest else share)
        level = None
    return Run(state, point.at_s if changed else run.since_s, rest, level, stopped, run.dip_s, run.dip_v, returns, lifted)


def _start_seen_since(run: Run, at_s: float) -> bool:
    return run.dip_s is not None and run.dip_s >= at_s
