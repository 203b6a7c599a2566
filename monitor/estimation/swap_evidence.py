"""Whether another battery stands there since an interruption: by its resistance, and by how far its voltage jumped."""
from math import exp, hypot, log, sqrt

from monitor.battery.label import Battery
from monitor.estimation.charge_count import BARE_V
from monitor.estimation.step_resistance import CHARGING_PER_H, MOST_OHM_AH, Bins
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

P = table("estimation", "swap_evidence")
INTERRUPTED_S, COMPARED_S, ABSENT_V = P.number("interrupted_s"), P.number("compared_s"), P.number("absent_v")
USUAL_STEPS, SINCE_STEPS, MOST_STEPS = P.number("usual_steps"), P.number("since_steps"), P.number("most_steps")
STEP_PER_H, LEAST_OHM_AH, ALIKE = P.number("step_per_h"), P.number("least_ohm_ah"), P.number("alike")
#: By lead-acid, as all that differ by it.
SAME_LN, PER_K, OTHER_LN = P.by_chemistry("same_ln"), P.by_chemistry("per_k"), P.number("other_ln")
PER_K_SIGMA, BLIND_LN, DEPTH_FRAC = P.number("per_k_part"), P.number("blind_ln"), P.number("depth_part")
SHORT_S, SETTLED_MINUTES, LIGHT_PER_H = P.number("short_s"), P.count("settled_minutes"), P.number("light_per_h")
SAME_V, SAME_V_PER_H, OTHER_V = P.by_chemistry("same_v"), P.by_chemistry("same_v_per_h"), P.by_chemistry("other_v")
#: Odds against it, and odds for it that are believed. Logarithm.
FOUND_LN = log(P.number("against_odds")) + log(P.number("believed_odds"))


@dataclass(frozen=True, slots=True)
class Steps:
    """Logarithms of the resistance seen in load steps, brought to a full battery: how many, mean, variance, mean temperature."""

    count: float = 0.0
    mean: float = 0.0
    variance: float = 0.0
    temperature_c: float | None = None
    depth_ln: float = 0.0           # mean of what depth was taken to add

    def add(self, value: float, temperature_c: float | None, depth_ln: float) -> "Steps":
        """With one more.

        value: ln of a step's resistance over what is usual; temperature_c: battery temperature [°C], None: not known; depth_ln: ln of
        a factor for how deep it stood.
        """
        share = 1.0 / (min(self.count, MOST_STEPS) + 1.0)
        off = value - self.mean
        warm = temperature_c if self.temperature_c is None or temperature_c is None else (
            self.temperature_c + share * (temperature_c - self.temperature_c))
        return Steps(self.count + 1.0, self.mean + share * off, (1.0 - share) * (self.variance + share * off * off),
                     warm, self.depth_ln + share * (depth_ln - self.depth_ln))

    def merge(self, other: "Steps") -> "Steps":
        """Both together; the older ones fade."""
        if not other.count:
            return self
        mine, total = min(self.count, MOST_STEPS), min(self.count, MOST_STEPS) + other.count
        share = other.count / total
        off = other.mean - self.mean
        warm = other.temperature_c if self.temperature_c is None or not mine else (
            self.temperature_c if other.temperature_c is None else
            self.temperature_c + share * (other.temperature_c - self.temperature_c))
        return Steps(total, self.mean + share * off,
                     (1 - share) * self.variance + share * other.variance + share * (1 - share) * off * off, warm,
                     self.depth_ln + share * (other.depth_ln - self.depth_ln))


@dataclass(frozen=True, slots=True)
class SwapEvidence:
    """What speaks for another battery since the last interruption."""

    usual: Steps = Steps()
    since: Steps = Steps()
    silent_s: float = 0.0               # of the interruption that lasts
    interrupted_at_s: float | None = None   # end of the last one
    interrupted_s: float = 0.0
    calm_v: float | None = None         # voltage at rest of the latest minute
    before_v: float | None = None       # the same before the interruption
    settling: int = 0                   # minutes since it
    jump_v: float | None = None
    last_v: float | None = None
    last_a: float | None = None
    found: bool = False
    found_ratio: float | None = None    # how many times the resistance it had before
    found_jump_v: float | None = None   # how far the voltage jumped


def update(state: SwapEvidence, minute: Minute, halves: Bins, battery: Battery, shape_ratio: float, ohm: float, surface_v: float,
           ) -> SwapEvidence:
    """The evidence with a minute's load steps and voltage at rest: each interruption parts what was usual from what is since.

    state: what was kept after the minute before; minute: what was measured; halves: its means over half a minute;
    battery: its label; shape_ratio: resistance at the
    present depth over that of the full battery, as believed; ohm: resistance now, as believed [ohm]; surface_v: what charging
    has left on the voltage [V].
    """
    volts, amps = minute.house_voltage_v, minute.house_current_a
    if volts is None or amps is None or volts < ABSENT_V:
        return replace(state, silent_s=state.silent_s + minute.duration_s, last_v=None, last_a=None)
    silent_s = state.silent_s + minute.gap_s
    if silent_s >= INTERRUPTED_S:
        # one more while an earlier one is looked at: what came since that goes on to count
        begun_s = minute.end_s if state.interrupted_at_s is None else state.interrupted_at_s
        state = replace(state, interrupted_at_s=begun_s, interrupted_s=silent_s, before_v=state.calm_v, settling=0, jump_v=None)
    elif state.interrupted_at_s is not None and minute.end_s - state.interrupted_at_s > COMPARED_S:
        state = replace(state, usual=state.usual.merge(state.since), since=Steps(), interrupted_at_s=None, before_v=None, jump_v=None)
    since, usual = state.since, state.usual
    last_v, last_a = (None, None) if silent_s >= INTERRUPTED_S else (state.last_v, state.last_a)
    rated = battery.rated_capacity_ah
    for _, voltage, current in halves:
        if last_v is not None and last_a is not None:
            seen = _step_ohm(voltage - last_v, current - last_a, max(current, last_a), rated)
            if seen is not None and surface_v < BARE_V:
                depth_ln = log(max(shape_ratio, 1e-3))
                value = log(seen) - depth_ln
                if state.interrupted_at_s is None:
                    usual = usual.add(value, minute.house_temperature_c, depth_ln)
                else:
                    since = since.add(value, minute.house_temperature_c, depth_ln)
        last_v, last_a = voltage, current
    light = -LIGHT_PER_H * rated < amps < CHARGING_PER_H * rated and surface_v < BARE_V
    calm_v = volts - ohm * amps if light else None
    settling, jump_v = min(state.settling + 1, SETTLED_MINUTES + 1), state.jump_v
    if settling == SETTLED_MINUTES and calm_v is not None and state.before_v is not None and state.interrupted_s < SHORT_S:
        jump_v = calm_v - state.before_v
    now = SwapEvidence(usual, since, 0.0, state.interrupted_at_s, state.interrupted_s, calm_v, state.before_v, settling, jump_v,
                       last_v, last_a, state.found, state.found_ratio, state.found_jump_v)
    if now.found or now.interrupted_at_s is None or log_odds(now, battery) < FOUND_LN:
        return now
    change = resistance_change(now, battery)
    return replace(now, found=True, found_ratio=None if change is None else exp(change[0]), found_jump_v=now.jump_v)


def _step_ohm(rise_v: float, change_a: float, most_a: float, rated_ah: float) -> float | None:
    """Resistance of a step between two means on the discharge side [ohm], None where it says nothing.

    rise_v: change of the voltage [V]; change_a: of the current [A]; most_a: larger of the two currents [A]; rated_ah: the
    label's capacity [Ah].
    """
    if abs(change_a) < STEP_PER_H * rated_ah or most_a > CHARGING_PER_H * rated_ah:
        return None
    ohm = rise_v / change_a
    return ohm if LEAST_OHM_AH < ohm * rated_ah < MOST_OHM_AH else None


def log_odds(state: SwapEvidence, battery: Battery) -> float:
    """Logarithm of how much better another battery explains what was seen since the interruption than the same one does."""
    lead, total = battery.lead_acid, 0.0
    compared = resistance_change(state, battery)
    if compared is not None:
        total += _better(*compared, OTHER_LN)
    if state.jump_v is not None:
        same_v = hypot(SAME_V[lead], SAME_V_PER_H[lead] * state.interrupted_s / 3600.0)
        total += _better(state.jump_v, same_v, OTHER_V[lead])
    return total


def resistance_change(state: SwapEvidence, battery: Battery) -> tuple[float, float] | None:
    """Logarithm of the resistance since the interruption over that before, and its sigma if the battery is the same.

    None: too few load steps on one side.
    """
    usual, since, lead = state.usual, state.since, battery.lead_acid
    if usual.count < USUAL_STEPS or since.count < SINCE_STEPS:
        return None
    change = since.mean - usual.mean
    sigma = hypot(SAME_LN[lead], DEPTH_FRAC * (since.depth_ln - usual.depth_ln),
                  sqrt(ALIKE * (usual.variance / usual.count + since.variance / since.count)))
    if usual.temperature_c is not None and since.temperature_c is not None:
        by_warmth = PER_K[lead] * (since.temperature_c - usual.temperature_c)
        return change - by_warmth, hypot(sigma, PER_K_SIGMA * by_warmth)
    return change, hypot(sigma, BLIND_LN)


def _better(seen: float, same: float, other: float) -> float:
    wide = hypot(same, other)
    return 0.5 * (seen / same) ** 2 - 0.5 * (seen / wide) ** 2 - log(wide / same)
