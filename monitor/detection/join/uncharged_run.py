"""Whether the engine runs and nothing charges: the starter battery stays under load after a start, or after charging ended."""
from typing import Literal

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
CONTROLLED_V, FRESH_V = P.number("controlled_v"), P.number("fresh_v")
FROM_HOUSE_A, FROM_HOUSE_V = P.number("from_house_a"), P.number("from_house_v")
RELIEVED_V, ENDED_S, CHARGES_S = P.number("relieved_v"), P.number("ended_s"), P.number("charges_s")
WAIT_S, DIP_SAMPLES, ENDED_IN = P.number("wait_s"), P.count("dip_samples"), P.count("ended_in")


@dataclass(frozen=True, slots=True)
class UnchargedRun:
    """A run that nothing charges, while it is only possible and once it is found."""

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
    blocks_v: tuple[float, ...] = ()    # of the latest ones that each lie below the one before
    relieved_s: float = 0.0
    charging_s: float = 0.0
    goes_on: bool = False               # found, and the load goes on
    found: bool = False                 # found, and no run has charged since
    ignition_on: bool = False


def update(state: UnchargedRun, minute: Minute, run: EngineState, isolator: Isolator) -> UnchargedRun:
    """The state with a minute of a run in which nothing charges: an engine is told from a load by how the voltage sinks and comes back.

    state: what was kept after the minute before; run: the engine as it is judged by charging; isolator: whether the batteries are
    joined; minute: what was measured.
    """
    volts = minute.starter_voltage_v
    if volts is None:
        return state
    if volts > CHARGING_V:
        charging_s = state.charging_s + minute.duration_s
        state = replace(state, charging_s=charging_s, now_v=volts)
        # what it rested at stays known through the run
        return state if charging_s < CHARGES_S else UnchargedRun(
            rest_v=state.rest_v, house_a=state.house_a, charging_s=charging_s, found=state.found and run.state != "running")
    on = minute.ignition_on is not None and minute.ignition_on >= IGNITION_ON_PART
    now = _begin_run(state, minute, run, on)
    if not now.began:
        return replace(now, charging_s=0.0, ignition_on=on, now_v=volts, rest_v=volts, house_a=minute.house_current_a)
    now = replace(now, charging_s=0.0, ignition_on=on, now_v=volts)
    if minute.ignition_on is not None and not on:
        return _end_run(now, minute)
    if minute.end_s - now.begun_s < SETTLE_S:
        return now
    lowest = min(now.lowest_v, volts)
    relieved = volts > lowest + RELIEVED_V
    loaded = not relieved and _is_loaded(now, minute, isolator)
    now = replace(now, lowest_v=lowest, relieved_s=now.relieved_s + minute.duration_s if relieved else 0.0,
                  loaded_s=now.loaded_s + (minute.duration_s if loaded else 0.0))
    if now.relieved_s > ENDED_S or not now.goes_on and minute.end_s - now.begun_s > WAIT_S:
        return _end_run(now, minute)
    if not loaded:
        return now
    now = _add_to_mean(now, volts, minute.duration_s)
    falls = len(now.blocks_v) > BLOCKS
    low = volts < CONTROLLED_V or not alternator_control.is_suspected(run.throttle)
    return replace(now, found=True, goes_on=True) if now.found or falls and low else now


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
                            found=state.found, ignition_on=on)
    return state


def _add_to_mean(state: UnchargedRun, volts: float, span_s: float) -> UnchargedRun:
    """The mean of the voltage with a minute under load; a block that does not lie below the one before begins the row anew."""
    total_s = state.block_s + span_s
    mean = state.block_v + (volts - state.block_v) * span_s / total_s
    if total_s < BLOCK_S:
        return replace(state, block_s=total_s, block_v=mean)
    falls = bool(state.blocks_v) and mean < state.blocks_v[-1] - FALLS_V
    return replace(state, block_s=0.0, block_v=0.0, blocks_v=(*state.blocks_v, mean) if falls else (mean,))


def _has_dip(minute: Minute, from_v: float) -> bool:
    if minute.fast_starter:
        return min(v for _, v in minute.fast_starter) < from_v - START_DIP_V
    low = minute.starter_voltage_low_v
    return low is not None and len(minute.samples) > DIP_SAMPLES and low < from_v - START_DIP_V


def _is_loaded(state: UnchargedRun, minute: Minute, isolator: Isolator) -> bool:
    volts = minute.starter_voltage_v
    if volts is None:
        return False
    if state.rest_v is None or volts > state.rest_v - LOADED_V:
        return False
    if isolator != "closed":
        return True
    # joined: the house battery feeds the engine as well
    return (state.house_a is not None and minute.house_current_a is not None and minute.house_voltage_v is not None
            and minute.house_current_a < state.house_a - FROM_HOUSE_A and volts < minute.house_voltage_v - FROM_HOUSE_V)


def _end_run(state: UnchargedRun, minute: Minute) -> UnchargedRun:
    """The load has gone: the engine was stopped, or the ignition switched off."""
    return UnchargedRun(rest_v=minute.starter_voltage_v, house_a=minute.house_current_a, now_v=state.now_v, found=state.found)
