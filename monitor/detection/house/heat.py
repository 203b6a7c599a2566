"""A battery that is too hot: how hot, for how long, and what it costs; and one that heats itself while it is charged."""

from monitor.battery.label import Battery
from monitor.battery.limits import Limits, limits_of
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/house", "heat")
BACK_K = P.number("back_k")
WARNING_S, HIGH_S = P.number("warning_s"), P.number("high_s")
ENDED_S = P.number("ended_s")


@dataclass(frozen=True, slots=True)
class Heat:
    """The present spell of heat."""

    hours: float = 0.0          # above the limit in this spell
    hot_s: float = 0.0          # in a row, now
    high_s: float = 0.0
    cool_s: float = 0.0         # since it was last too hot
    since_s: float = 0.0
    most_c: float = -99.0
    level: str = ""             # "" | "warning" | "high"


def update(heat: Heat, at_s: float, span_s: float, temperature_c: float | None, battery: Battery) -> Heat:
    """Some seconds further; a temperature that is not measured leaves everything as it was.

    heat: the hours above the limit so far; at_s: the log's time [s]; span_s: how long it lasted [s]; temperature_c:
    of the battery [°C]; battery: its label.
    """
    if temperature_c is None:
        return heat
    limits = limits_of(battery.chemistry)
    if temperature_c < limits.hot_c - BACK_K and not heat.hours:
        return heat
    hot = temperature_c > limits.hot_c - (BACK_K if heat.level else 0.0)
    high = temperature_c > limits.hot_high_c - (BACK_K if heat.level == "high" else 0.0)
    if not hot:
        cool_s = heat.cool_s + span_s
        return Heat() if cool_s > ENDED_S else replace(heat, hot_s=0.0, high_s=0.0, cool_s=cool_s, level="")
    hot_s, high_s = heat.hot_s + span_s, heat.high_s + span_s if high else 0.0
    level = "high" if high_s >= HIGH_S else "warning" if hot_s >= WARNING_S else ""
    return Heat(heat.hours + span_s / 3600.0, hot_s, high_s, 0.0, heat.since_s or at_s - span_s,
                max(heat.most_c, temperature_c), level)


#: Means over this time [s] are compared with those of some hours before, as long as charging goes on.
BLOCK_S, BLOCKS = 600.0, 24
CHARGING_V, STEADY_V = table("battery", "alternator").number("charging_v"), P.number("steady_v")
LEAST_PER_H = P.number("least_per_h")
WARMER_K, IN_A_ROW = P.number("warmer_k"), P.count("in_a_row")


@dataclass(frozen=True, slots=True)
class Runaway:
    """Charging without a break: ten-minute means, and whether more flows in hotter at no more voltage.

    A sound battery takes less and less: what it took at one voltage it never takes again at the same or a lower one
    before it has been discharged.
    """

    start_s: float = 0.0
    count: int = 0
    volts: float = 0.0                  # sums of the block being filled
    amps: float = 0.0
    warm_c: float = 0.0
    past: tuple[tuple[float, float, float], ...] = ()   # (V, A, °C)
    rising: int = 0
    then_a: float = 0.0                 # what it took at this voltage or more
    now_a: float = 0.0
    now_v: float = 0.0

    @property
    def found(self) -> bool:
        """Whether it may be running away."""
        return self.rising >= IN_A_ROW


def update_runaway(state: Runaway, at_s: float, volts: float | None, amps: float | None, temperature_c: float | None,
            air_c: float | None, battery: Battery) -> Runaway:
    """The state with what a charging minute took at which warmth; each block of minutes is held against earlier ones.

    volts, amps : of the house battery [V, A], positive while charging
    temperature_c : of the battery; air_c : around it [°C], None where not measured
    battery : its label
    state: what was kept after the minute before; at_s: the log's time [s].
    """
    limits = limits_of(battery.chemistry)
    if limits.runaway_c is None or volts is None or amps is None or temperature_c is None:
        return state
    if volts < CHARGING_V or amps <= 0.0:
        if state.found and amps > LEAST_PER_H * battery.rated_capacity_ah:
            return state                 # so hot by now that it pulls the voltage down
        return NOT_CHARGED
    if not state.count:
        state = replace(state, start_s=at_s)
    state = replace(state, count=state.count + 1, volts=state.volts + volts, amps=state.amps + amps, warm_c=state.warm_c + temperature_c)
    return state if at_s - state.start_s < BLOCK_S else _close_window(state, limits, battery, air_c)


NOT_CHARGED = Runaway()


def _close_window(state: Runaway, limits: Limits, battery: Battery, air_c: float | None) -> Runaway:
    mean_v, mean_a, mean_c = state.volts / state.count, state.amps / state.count, state.warm_c / state.count
    hot = limits.runaway_c is not None and mean_c >= limits.runaway_c or (
        air_c is not None and limits.runaway_above_air_k is not None and mean_c - air_c >= limits.runaway_above_air_k)
    before = [amps for volts, amps, warm_c in state.past if volts > mean_v - STEADY_V and warm_c < mean_c - WARMER_K]
    then_a = min(before, default=mean_a)
    climbs = hot and mean_a > LEAST_PER_H * battery.rated_capacity_ah and mean_a > (limits.runaway_rise_ratio or 2.0) * then_a
    return Runaway(past=(*state.past[-BLOCKS + 1:], (mean_v, mean_a, mean_c)), rising=state.rising + 1 if climbs else 0,
                   then_a=then_a if climbs else state.then_a, now_a=mean_a, now_v=mean_v)
