"""The voltage of a battery left alone: surface charge that decays, a slow fall, temperature, wandering.

A Kalman regression over quarter-hour medians. The drain test reads its innovations.
"""
from collections.abc import Sequence
from math import cos, exp, pi, sin, sqrt

from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/starter", "surface_decay")
DECAY_H = P.numbers("decay_h")
MODES = len(DECAY_H)
SURFACE_V = P.numbers("surface_v")
SURFACE_SIGMA_V = P.numbers("surface_sigma_v")
FALL_V_PER_DAY, FALL_SIGMA_V_PER_DAY = P.number("fall_v_per_day"), P.number("fall_sigma_v_per_day")
SELF_V_PER_DAY, SELF_SIGMA_V_PER_DAY = P.number("self_v_per_day"), P.number("self_sigma_v_per_day")
PER_K, PER_K_SIGMA = P.number("per_k"), P.number("per_k_sigma")
LAG_H = P.number("lag_h")
WAVE_SIGMA_V, WAVE_BLIND_V, WAVE_DRIFT = P.number("wave_sigma_v"), P.number("wave_blind_v"), P.number("wave_drift")
WANDER_V, WANDER_BLIND_V, WANDER_H = P.number("wander_v"), P.number("wander_blind_v"), P.number("wander_h")
NOISE_V = P.number("noise_v")
OUTLIER = P.number("outlier")
USUAL_C, USUAL_LEAST_COUNT, USUAL_SHARE = P.number("usual_c"), P.count("usual_least_count"), P.number("usual_share")
USUAL_SPREAD, USUAL_SIGMA_V = P.number("usual_spread"), P.number("usual_sigma_v")
USUAL_FALL_SIGMA, LEAST_FALL, COLDEST_C = P.number("usual_fall_sigma"), P.number("least_fall"), P.number("coldest_c")
HOTTEST_C, SELF_C, DOUBLES_K = P.number("hottest_c"), P.number("self_c"), P.number("doubles_k")
UNREST_LEAST_STEPS, UNREST_MOST_STEPS = P.count("unrest_least_steps"), P.count("unrest_most_steps")
UNREST_MOST, FALL_WALK = P.number("unrest_most"), P.number("fall_walk")
LEARNT_PARKINGS, MOST_DECAYS = P.count("learnt_parkings"), P.number("most_decays")
LEAST_BEGUN_V, MOST_BEGUN_V = P.number("least_begun_v"), P.number("most_begun_v")

#: Places of the state vector: level, four surface charges, fall, self-discharge, warmth, ... and their number.
LEVEL, SURFACE, FALL, SELF, WARM, WARM_LATE, SINE, COSINE, WANDER = 0, 1, 5, 6, 7, 8, 9, 10, 11
STATES = 12


@dataclass(frozen=True, slots=True)
class Decay:
    """The filter of one parking: state, covariance row by row, and what the latest step found."""

    begun_s: float
    at_s: float
    state: tuple[float, ...]
    cov: tuple[tuple[float, ...], ...]
    steps: int = 0
    late_c: float | None = None         # temperature through its lag
    base_c: float = USUAL_C
    blind: bool = False                 # no thermometer
    aside: int = 0                      # outliers put aside in a row, with their sign
    unrest: float = 1.0                 # mean squared normalised innovation, 1 when the model fits
    # the latest step, for the drain test
    innovation_v: float = 0.0
    variance: float = 1.0
    gain: tuple[float, ...] = ()
    look: tuple[float, ...] = ()
    jumped: bool = False
    passed_h: float = 0.0
    self_factor: float = 1.0


@dataclass(frozen=True, slots=True)
class Usual:
    """What earlier parkings of this vehicle looked like: running mean and variance of each part."""

    count: int = 0
    surface_v: tuple[float, ...] = SURFACE_V
    surface_m2: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    fall: float = FALL_V_PER_DAY + SELF_V_PER_DAY
    fall_m2: float = 0.0


def begin(at_s: float, voltage_v: float, temperature_c: float | None, usual: Usual) -> Decay:
    """The filter at the first quarter-hour of a parking.

    at_s: the log's time [s]; voltage_v: at its posts [V]; temperature_c: of the battery [°C]; usual: what is usual for this
    vehicle.
    """
    means, sigmas = list(SURFACE_V), list(SURFACE_SIGMA_V)
    fall, fall_sigma = FALL_V_PER_DAY, FALL_SIGMA_V_PER_DAY
    if usual.count >= USUAL_LEAST_COUNT:
        for i in range(MODES):
            spread = sqrt(usual.surface_m2[i] / (usual.count - 1))
            means[i] = USUAL_SHARE * usual.surface_v[i] + (1.0 - USUAL_SHARE) * means[i]
            sigmas[i] = min(sigmas[i], USUAL_SPREAD * spread + USUAL_SIGMA_V + sigmas[i] / usual.count)
        own = max(usual.fall - SELF_V_PER_DAY, LEAST_FALL)
        spread = sqrt(usual.fall_m2 / (usual.count - 1))
        fall, fall_sigma = own, min(fall_sigma, USUAL_SPREAD * spread + USUAL_FALL_SIGMA + fall_sigma / usual.count)
    state = [voltage_v - sum(means), *means, fall, SELF_V_PER_DAY, PER_K, PER_K, 0.0, 0.0, 0.0]
    blind = temperature_c is None
    wave, wander = (WAVE_BLIND_V, WANDER_BLIND_V) if blind else (WAVE_SIGMA_V, WANDER_V)
    sigma = [0.0, *sigmas, fall_sigma, SELF_SIGMA_V_PER_DAY, PER_K_SIGMA, PER_K_SIGMA, wave, wave, wander]
    cov = [[0.0] * STATES for _ in range(STATES)]
    for i in range(1, STATES):
        cov[i][i] = sigma[i] ** 2
    for i in range(MODES):      # the first voltage is the sum: level and surface are known together only
        cov[0][1 + i] = cov[1 + i][0] = -(sigmas[i] ** 2)
    cov[0][0] = sum(s * s for s in sigmas) + NOISE_V**2 + sigma[WANDER] ** 2
    cov[0][WANDER] = cov[WANDER][0] = -(sigma[WANDER] ** 2)
    return Decay(at_s, at_s, tuple(state), tuple(map(tuple, cov)), late_c=temperature_c,
                 base_c=temperature_c if temperature_c is not None else USUAL_C, blind=blind)


def step(decay: Decay, at_s: float, voltage_v: float, temperature_c: float | None) -> Decay:
    """The filter after one more quarter-hour median of the starter voltage at rest.

    decay: the filter so far; at_s: the log's time [s]; voltage_v: the median [V]; temperature_c: of the battery [°C], None: not
    measured.
    """
    hours = (at_s - decay.at_s) / 3600
    late = decay.late_c
    if temperature_c is None:
        temperature_c = late
    elif late is not None:
        late += (temperature_c - late) * (1 - exp(-hours / LAG_H))
    factor = 1.0 if temperature_c is None else 2.0 ** ((min(max(temperature_c, COLDEST_C), HOTTEST_C) - SELF_C) / DOUBLES_K)
    state, cov = _predict(decay, hours, factor)
    look = _look(decay, at_s, temperature_c, late)
    along = [_dot(row, look) for row in cov]
    variance = _dot(along, look) + NOISE_V**2
    innovation = voltage_v - _dot(state, look)
    sign = 1 if innovation > 0 else -1
    jumped = False
    if innovation * innovation > OUTLIER**2 * variance * decay.unrest:
        if decay.aside * sign < 1:       # put aside once
            return replace(decay, at_s=at_s, state=tuple(state), cov=tuple(map(tuple, cov)), late_c=late,
                           aside=sign, gain=(), jumped=False, passed_h=hours, self_factor=factor, look=look)
        # Twice alike: charge was used, or the battery was worked on. The level is open again.
        for i in (LEVEL, SURFACE, SURFACE + 1):
            cov[i][i] += innovation * innovation
        jumped = True
        along = [_dot(row, look) for row in cov]
        variance = _dot(along, look) + NOISE_V**2
    gain = [a / variance for a in along]
    state = [x + k * innovation for x, k in zip(state, gain, strict=True)]
    cov = [[c - k * a for c, a in zip(row, along, strict=True)] for row, k in zip(cov, gain, strict=True)]
    unrest = decay.unrest
    if not jumped:
        weight = 1 / min(UNREST_MOST_STEPS, decay.steps + UNREST_LEAST_STEPS)
        unrest = max(1.0, unrest + weight * (min(innovation**2 / variance, UNREST_MOST) - unrest))
    return Decay(decay.begun_s, at_s, tuple(state), tuple(map(tuple, cov)), decay.steps + 1, late, decay.base_c,
                 decay.blind, 0, unrest, innovation, variance, tuple(gain), look, jumped, hours, factor)


def _predict(decay: Decay, hours: float, factor: float) -> tuple[list[float], list[list[float]]]:
    days = hours / 24
    keep = transition(hours)
    x = decay.state
    state = [k * v for k, v in zip(keep, x, strict=True)]
    state[LEVEL] -= days * (x[FALL] + factor * x[SELF])
    p = decay.cov
    # The level row and column take up the two falls, then every part shrinks by what it keeps.
    level = [p[0][j] - days * (p[FALL][j] + factor * p[SELF][j]) for j in range(STATES)]
    level[0] = level[0] - days * (level[FALL] + factor * level[SELF])
    cov = [[ki * kj * c for kj, c in zip(keep, row, strict=True)] for ki, row in zip(keep, p, strict=True)]
    for j in range(1, STATES):
        cov[0][j] = cov[j][0] = level[j] * keep[j]
    cov[0][0] = level[0]
    wander = WANDER_BLIND_V if decay.blind else WANDER_V
    cov[WANDER][WANDER] += wander**2 * (1 - keep[WANDER] ** 2)
    cov[FALL][FALL] += FALL_WALK**2 * days
    drift = ((WAVE_BLIND_V if decay.blind else WAVE_SIGMA_V) * WAVE_DRIFT) ** 2 * days
    cov[SINE][SINE] += drift
    cov[COSINE][COSINE] += drift
    return state, cov


def transition(hours: float) -> list[float]:
    """The part of each state that is left after so many hours."""
    return [1.0, *(exp(-hours / tau) for tau in DECAY_H), 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, exp(-hours / WANDER_H)]


def _look(state: Decay, at_s: float, temperature_c: float | None, late_c: float | None) -> tuple[float, ...]:
    phase = 2 * pi * (at_s % 86400) / 86400
    warm = late = 0.0
    if temperature_c is not None and late_c is not None and not state.blind:
        warm, late = temperature_c - state.base_c, late_c - state.base_c
    return (1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0, warm, late, sin(phase), cos(phase), 1.0)


def _dot(row: Sequence[float], look: tuple[float, ...]) -> float:
    """The sum of a row along the line of the measurement (`_look`): level, surface and wander whole, both falls not at all."""
    level, a, b, c, d, _, _, warm, late, sine, cosine, wander = row
    return level + a + b + c + d + look[WARM] * warm + look[WARM_LATE] * late + look[SINE] * sine + look[COSINE] * cosine + wander


def warmth_v(state: Decay) -> float:
    """The part of the latest voltage that temperature and the daily wave explain [V]."""
    return sum(state.look[i] * state.state[i] for i in (WARM, WARM_LATE, SINE, COSINE)) if state.look else 0.0


def rest_voltage_v(state: Decay) -> tuple[float, float]:
    """Voltage once all surface charge is gone, at the temperature the parking began with, and its sigma [V]."""
    return state.state[LEVEL], sqrt(max(state.cov[0][0], 0.0) * state.unrest)


def fall_v_per_day(state: Decay) -> tuple[float, float]:
    """How fast the rested voltage falls [V/day], positive downwards, and its sigma."""
    f = state.self_factor
    p = state.cov
    variance = p[FALL][FALL] + 2 * f * p[FALL][SELF] + f * f * p[SELF][SELF]
    return state.state[FALL] + f * state.state[SELF], sqrt(max(variance, 0.0) * state.unrest)


def learn(usual: Usual, state: Decay) -> Usual:
    """What is usual after one more sound parking (the last sixteen count)."""
    count = min(usual.count + 1, LEARNT_PARKINGS)
    surface, spread = [], []
    for i in range(MODES):
        seen, mean = state.state[SURFACE + i], usual.surface_v[i] if usual.count else 0.0
        at_start = seen * exp(min((state.at_s - state.begun_s) / 3600 / DECAY_H[i], MOST_DECAYS))
        at_start = max(LEAST_BEGUN_V, min(MOST_BEGUN_V, at_start)) if i >= 2 else SURFACE_V[i]
        surface.append(mean + (at_start - mean) / count)
        spread.append(usual.surface_m2[i] * (1.0 if count < LEARNT_PARKINGS else (LEARNT_PARKINGS - 1) / LEARNT_PARKINGS)
                      + (at_start - mean) * (at_start - surface[i]) * (1.0 if usual.count else 0.0))
    seen, _ = fall_v_per_day(state)
    mean = usual.fall if usual.count else 0.0
    fall = mean + (seen - mean) / count
    fall_m2 = usual.fall_m2 * (1.0 if count < LEARNT_PARKINGS else (LEARNT_PARKINGS - 1) / LEARNT_PARKINGS) + (
        (seen - mean) * (seen - fall) if usual.count else 0.0)
    return Usual(count, tuple(surface), tuple(spread), fall, fall_m2)
