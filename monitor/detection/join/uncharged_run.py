"""Whether the engine runs and nothing charges: the starter battery stays under load after a start, or after charging ended.

By itself it sinks well below its rest then. Joined it is fed by the house battery and sinks with it, slowly: what shows the load is that
it lies below its rest while current flows to it. A starter battery that only feeds the house loads stands above the house; one
that the house charges does not lie below its rest.
"""
from typing import ClassVar, Literal

from monitor.detection.join import alternator_control
from monitor.detection.join.engine import IGNITION_ON_PART, EngineState
from monitor.findings import Engine, Isolator
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

P = table("detection/join", "uncharged_run")
CHARGING_V = table("battery", "alternator").number("charging_v")
START_DIP_V, TRY_S = P.number("start_dip_v"), P.number("try_s")
LOADED_V, SETTLE_S = P.number("loaded_v"), P.number("settle_s")
BLOCK_S, BLOCKS, FALLS_V = P.number("block_s"), P.count("blocks"), P.number("falls_v")
RUN_BLOCKS, FED_ENDED_S = P.count("run_blocks"), P.number("fed_ended_s")
CONTROLLED_V, FRESH_V = P.number("controlled_v"), P.number("fresh_v")
FROM_HOUSE_A, FROM_HOUSE_V = P.number("from_house_a"), P.number("from_house_v")
RELIEVED_V, ENDED_S, CHARGES_S = P.number("relieved_v"), P.number("ended_s"), P.number("charges_s")
WAIT_S, DIP_SAMPLES, ENDED_IN = P.number("wait_s"), P.count("dip_samples"), P.count("ended_in")


@dataclass(frozen=True, slots=True)
class UnchargedRun:
    """A run that nothing charges, while it is only possible and once it is found."""

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"joined", "fed"})

    began: Literal["", "start", "run"] = ""     # with a start, or with the end of charging in a run
    begun_s: float = 0.0
    tries: int = 0                      # dips as in a start, close together
    rest_v: float | None = None         # starter at rest before it
    house_a: float | None = None        # house current before it
    lowest_v: float = 99.0
    now_v: float | None = None
    loaded_s: float = 0.0
    block_s: float = 0.0                # of the block that is being averaged, under load
    block_v: float = 0.0                # its mean
    blocks_v: tuple[float, ...] = ()    # of those that each lie below all before
    relieved_s: float = 0.0
    charging_s: float = 0.0
    goes_on: bool = False               # found, and the load goes on
    found: bool = False                 # found, and no run has charged since
    ignition_on: bool = False
    joined: bool = False                # the batteries were, in the run or since
    fed: bool = False                   # found while the house battery fed the load


def update(state: UnchargedRun, minute: Minute, run: EngineState, isolator: Isolator, parted: bool,
           path_ohm: float) -> UnchargedRun:
    """The state with a minute of a run in which nothing charges: an engine is told from a load by how the voltage sinks and comes back.

    state: what was kept after the minute before; run: the engine as it is judged by charging; isolator: whether the batteries are
    joined; parted: whether they are plainly not; path_ohm: resistance of isolator and cables; minute: what was measured.
    """
    volts = minute.starter_voltage_v
    if volts is None:
        return state
    if volts > CHARGING_V:
        charging_s = state.charging_s + minute.duration_s
        state = replace(state, charging_s=charging_s, now_v=volts)
        # what it rested at stays known through the run
        return state if charging_s < CHARGES_S else UnchargedRun(
            rest_v=state.rest_v, house_a=state.house_a, charging_s=charging_s, found=state.found and run.state != "running",
            joined=isolator == "closed" or state.joined and isolator == "unknown")
    on = minute.ignition_on is not None and minute.ignition_on >= IGNITION_ON_PART
    now = _begin_run(state, minute, run, on)
    if not now.began:
        now = replace(now, charging_s=0.0, ignition_on=on, now_v=volts)
        # not of an engine that has just been started, and does not charge well yet
        return replace(now, rest_v=volts, house_a=minute.house_current_a) if run.state == "off" else now
    now = replace(now, charging_s=0.0, ignition_on=on, now_v=volts, joined=(now.joined or isolator == "closed") and not parted)
    if minute.ignition_on is not None and not on:
        return _end_run(now, minute)
    if minute.end_s - now.begun_s < SETTLE_S:
        return now
    low = volts < CONTROLLED_V or not alternator_control.is_suspected(run.throttle)
    return _weigh(now, minute, volts, _is_loaded(now, minute, volts, isolator), _is_fed(now, minute, volts, path_ohm), low)


def _weigh(state: UnchargedRun, minute: Minute, volts: float, alone: bool, fed: bool, low: bool) -> UnchargedRun:
    """The state with a minute's load.

    state: what was kept so far; minute: what was measured; volts: its starter voltage [V]; alone: the starter battery by itself is
    under load; fed: it is though the house battery feeds it; low: no alternator is turned down so far.
    """
    lowest = min(state.lowest_v, volts)
    relieved = volts > lowest + RELIEVED_V
    loaded = not relieved and (alone or fed)
    without = relieved or state.fed and not loaded
    now = replace(state, lowest_v=lowest, relieved_s=state.relieved_s + minute.duration_s if without else 0.0,
                  loaded_s=state.loaded_s + (minute.duration_s if loaded else 0.0))
    waited = not now.goes_on and minute.end_s - now.begun_s > WAIT_S
    if now.relieved_s > (FED_ENDED_S if now.fed and not relieved else ENDED_S) or waited:
        return _end_run(now, minute)
    if not loaded:
        return now
    now = _add_to_mean(now, volts, minute.duration_s)
    falls = len(now.blocks_v) > (BLOCKS if now.began == "start" else RUN_BLOCKS)
    return replace(now, found=True, goes_on=True, fed=not alone) if not now.goes_on and (now.found or falls and low) else now


def engine(state: UnchargedRun, judged: Engine) -> Engine:
    """The engine's state with this in mind, where charging alone makes it `judged`.

    After one start it runs. After several tries the ignition may be on at an engine that stands; after a run that charged
    the lights may have been left on. Once the load has gone it is off.
    """
    if state.found and not state.began and judged == "unknown":
        return "off"
    if not state.goes_on or judged == "running":
        return judged
    return "running" if state.began == "start" and state.tries == 1 or state.began == "run" and state.ignition_on else "unknown"


def _begin_run(state: UnchargedRun, minute: Minute, run: EngineState, on: bool) -> UnchargedRun:
    """The state with what this minute shows of a start or of a run's end."""
    rest_v = state.rest_v
    if rest_v is not None and state.now_v is not None and _has_dip(minute, min(state.now_v, rest_v)):
        again = state.began == "start" and minute.end_s - state.begun_s < TRY_S
        return UnchargedRun("start", minute.end_s, state.tries + 1 if again else 1, rest_v, state.house_a,
                            found=state.found, ignition_on=on)
    # a minute whose mean is still that of charging says nothing, so that the end of charging may lie in the one before
    ended = run.stopped_s is not None and minute.end_s - run.stopped_s < ENDED_IN * minute.duration_s
    if not state.began and ended and run.state != "running" and run.charged:
        return UnchargedRun("run", minute.end_s, 0, FRESH_V if rest_v is None else min(rest_v, FRESH_V), state.house_a,
                            found=state.found, ignition_on=on, joined=state.joined)
    return state


def _add_to_mean(state: UnchargedRun, volts: float, span_s: float) -> UnchargedRun:
    """The mean of the voltage with a minute under load; the blocks that are kept are those that each lie below all before."""
    total_s = state.block_s + span_s
    mean = state.block_v + (volts - state.block_v) * span_s / total_s
    if total_s < BLOCK_S:
        return replace(state, block_s=total_s, block_v=mean)
    falls = not state.blocks_v or mean < state.blocks_v[-1] - FALLS_V
    return replace(state, block_s=0.0, block_v=0.0, blocks_v=(*state.blocks_v, mean) if falls else state.blocks_v)


def _has_dip(minute: Minute, from_v: float) -> bool:
    if minute.fast_starter:
        return min(v for _, v in minute.fast_starter) < from_v - START_DIP_V
    low = minute.starter_voltage_low_v
    return low is not None and len(minute.samples) > DIP_SAMPLES and low < from_v - START_DIP_V


def _is_loaded(state: UnchargedRun, minute: Minute, volts: float, isolator: Isolator) -> bool:
    """Whether a starter battery that feeds no house loads lies below its rest by what the loads of a running engine take."""
    feeds = state.joined and minute.house_voltage_v is not None and volts > minute.house_voltage_v + FROM_HOUSE_V
    return isolator != "closed" and not feeds and state.rest_v is not None and volts < state.rest_v - LOADED_V


def _is_fed(state: UnchargedRun, minute: Minute, volts: float, path_ohm: float) -> bool:
    """Whether the starter battery lies below its rest though the house battery, joined to it, feeds it: something draws from it."""
    house_v, house_a = minute.house_voltage_v, minute.house_current_a
    if not state.joined or house_v is None or house_a is None or state.rest_v is None or state.house_a is None:
        return False
    flows = house_v - volts > max(FROM_HOUSE_V, FROM_HOUSE_A * path_ohm) and house_a < state.house_a - FROM_HOUSE_A
    return flows and volts < state.rest_v


def _end_run(state: UnchargedRun, minute: Minute) -> UnchargedRun:
    """The load has gone: the engine was stopped, or the ignition switched off."""
    return UnchargedRun(rest_v=minute.starter_voltage_v, house_a=minute.house_current_a, now_v=state.now_v, found=state.found)
