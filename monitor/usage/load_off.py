"""Moments at which a load goes off, and the voltage that comes back: at first, and a little later.

What comes back at once is ohmic and ages with the battery; what follows is diffusion, goes with the root of time
(Warburg, Ann. Phys. Chem. 303 (1899) 493), and need not age alike. Both answers of one step tell them apart.
A load going off repeats better than one coming on: no inrush in the same reading.
"""
from monitor.parameters import table
from monitor.replacing import dataclass

P = table("usage", "load_off")
APART_S = P.number("apart_s")
LEAST_SHARE = P.number("least_share")
CHARGING_FRAC, CHANGE_FRAC = P.number("charging_frac"), P.number("change_frac")
HIGHEST_V, LASTING_SHARE = P.number("highest_v"), P.number("lasting_share")


@dataclass(frozen=True, slots=True)
class LoadOffState:
    """The latest two bins: the steady one before a step, and the one in which it may have come."""

    at_s: float = 0.0
    voltage_v: float | None = None
    current_a: float = 0.0
    before_s: float = 0.0
    before_v: float | None = None
    before_a: float = 0.0


@dataclass(frozen=True, slots=True)
class LoadStep:
    """A load that went off: resistance, the change of current, the root of its age, and growth with that root.

    slope_ohm is in ohm per root of a second; None where the bin after it does not tell.
    """

    ohm: float
    change_a: float
    root_age: float
    slope_ohm: float | None


def add(state: LoadOffState, at_s: float, voltage_v: float, current_a: float,
        rated_capacity_ah: float) -> tuple[LoadOffState, LoadStep | None]:
    """What is held after one more bin, and the step that it completes.

    state: what was kept after the minute before; at_s: the log's time [s]; voltage_v: of the house battery [V]; current_a: into
    the house battery [A]; rated_capacity_ah: capacity on the label [Ah].
    """
    if state.voltage_v is None or at_s - state.at_s > APART_S:
        return LoadOffState(at_s, voltage_v, current_a), None
    after = LoadOffState(at_s, voltage_v, current_a, state.at_s, state.voltage_v, state.current_a)
    if state.before_v is None or not _rose(state.before_a, state.current_a, state.voltage_v, rated_capacity_ah):
        return after, None
    # The step came in the bin before this one; whatever of it this one adds came in the same bin's time.
    first, whole = state.current_a - state.before_a, current_a - state.before_a
    if current_a > CHARGING_FRAC * rated_capacity_ah or voltage_v > HIGHEST_V or whole < LASTING_SHARE * first:
        return after, None
    share = min(first / whole, 1.0)
    length, later = state.at_s - state.before_s, at_s - state.at_s
    seen, seen_later = (state.voltage_v - state.before_v) / first, (voltage_v - state.before_v) / whole
    root, root_later = (share * length / 2) ** 0.5, (share * length + later / 2) ** 0.5
    # this bin is spoken for: the next step begins from it
    after = LoadOffState(at_s, voltage_v, current_a)
    if share < LEAST_SHARE:
        return after, LoadStep(seen_later, whole, root_later, None)
    return after, LoadStep(seen, first, root, (seen_later - seen) / (root_later - root))


def _rose(before_a: float, now_a: float, voltage_v: float, rated: float) -> bool:
    return now_a - before_a > CHANGE_FRAC * rated and now_a < CHARGING_FRAC * rated and voltage_v < HIGHEST_V
