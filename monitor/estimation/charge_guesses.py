"""Several beliefs side by side, each with its weight: for a plateau where one voltage fits many charges.

A sum of Gaussians, each carried by its own linear filter (Alspach and Sorenson, IEEE Trans.
Automatic Control 17 (1972) 439). Lead-acid needs one; lithium starts with a row of them along the
state of charge and keeps those that go on fitting. From the first full charge on, where the charge is
known, the row stands along the place of the curve's step instead, which wears.
"""
from dataclasses import dataclass
from math import exp, log

from monitor.battery.label import Battery, CurrentSensor
from monitor.estimation import charge_filter, kalman
from monitor.estimation.charge_filter import CAPACITY, DEPTH, LEVEL, SPAN
from monitor.estimation.kalman import Belief

#: Voltage errors of one quarter of an hour and the next are not independent: a bad fit counts for less than its
#: Gaussian says. How wide a guess's own forecast is does not count at all: else the flattest part of the curve,
#: which forecasts best, would always win.
TEMPER = 0.4
#: Less still once full is known: the next thousand quarters of an hour go over the same stretch of the same wrong curve.
TEMPER_AFTER_FULL = 0.15
#: How far from the table the height of a whole curve lies (one sigma). The two plateaux are 0.15 V apart: a guess on the
#: wrong one asks for a curve as far off as that.
LEVEL_SIGMA_V = 0.07
SPACING_FRAC = 0.08
#: A full charge teaches a lithium battery's capacity only where depth was so closely tied to it (correlation).
LEAST_TIE = 0.3
#: Where graphite's step lies once full is known (ln of its filling): worn by up to a third, or of another maker's curve.
STEPS_LN, STEP_SIGMA_LN, STEP_SPREAD_LN = tuple(0.16 - 0.06 * i for i in range(11)), 0.04, 0.15
#: A step that comes earlier than this is wear, of which the ratio of the electrodes when new explains no more.
EARLY_LN = -0.10
#: How well such a step tells capacity: how far from the table's place it lies in a new battery (one sigma).
STEP_TELLS_LN = 0.08
#: A capacity known better than this was measured, not read off the step.
MEASURED_LN = 0.07
#: After so many full charges the step is looked for anew: it moves as a battery fades.
FULLS_A_LOOK = 30


@dataclass(frozen=True, slots=True)
class Guess:
    """One belief and the logarithm of its weight."""

    log_weight: float
    belief: Belief


Guesses = tuple[Guess, ...]


def begin(battery: Battery, sensor: CurrentSensor) -> Guesses:
    """What is believed before the first reading."""
    wide = charge_filter.begin(battery, sensor)
    if battery.lead_acid:
        return (Guess(0.0, wide),)
    rated = battery.rated_capacity_ah
    return tuple(
        Guess(0.0, kalman.replaced(wide, DEPTH, SPACING_FRAC * (i + 0.5) * rated, 0.6 * SPACING_FRAC * rated))
        for i in range(12)
    )


def best(guesses: Guesses) -> Belief:
    """The belief with most weight."""
    return max(guesses, key=likely).belief


def likely(guess: Guess) -> float:
    """Logarithm of how likely a guess is: how well it forecasts, and how strange a curve it asks for."""
    return guess.log_weight - 0.5 * (guess.belief.mean[LEVEL] / LEVEL_SIGMA_V) ** 2


def measured(
    guesses: Guesses, trials: list[tuple[tuple[float, ...], float, float]], gate: float, repeats: float = 1.0,
    untouched: int | None = None, temper: float = TEMPER,
) -> tuple[Guesses, float]:
    """All guesses after one measurement, and how badly even the best fits (squared sigmas).

    trials gives, for each guess, the slopes, the surprise and the variance. A surprise beyond gate (squared
    sigmas) moves no guess, but still costs it weight. untouched: a quantity not to learn from it.

    guesses: the mixture before; trials: slopes, innovation and variance by each guess; gate: squared sigmas beyond which nothing is
    learnt; repeats: how many readings share one error; temper: power to which likelihoods are raised.
    """
    found, least = [], 1e9
    for guess, (slopes, miss, variance) in zip(guesses, trials, strict=True):
        total = kalman.variance_along(guess.belief, slopes) + variance
        squared = miss * miss / total
        least = min(least, squared)
        belief = guess.belief
        if squared < gate:
            belief = (
                kalman.weigh(belief, slopes, miss, variance * repeats) if untouched is None
                else kalman.weigh_around(belief, slopes, miss, variance * repeats, untouched))
        found.append(Guess(guess.log_weight - temper * 0.5 * min(squared, 2 * gate), belief))
    return pruned(found), least


def pruned(guesses: list[Guess]) -> Guesses:
    """Without those that no longer count."""
    top = max(likely(g) for g in guesses)
    return tuple(Guess(g.log_weight - top, g.belief) for g in guesses if likely(g) > top - 8.0)


def stepped(belief: Belief, battery: Battery, sensor: CurrentSensor, capacity_known: bool) -> Guesses:
    """A lithium belief whose depth is known, as a row of guesses of where the step of its curve lies.

    As one Gaussian it took the early step of a worn battery for a curve that lies 0.2 V too low, and stayed on the
    upper plateau. capacity_known: a knee or a test has told the capacity; else the guesses differ in it.

    belief: means and covariance before; battery: what its label says; sensor: the shunt, its zero and gain with their doubt.
    """
    wide = kalman.widened(belief, SPAN, max(STEP_SIGMA_LN**2 - belief.covariance[SPAN][SPAN], 0.0))
    wide = kalman.parted(wide, SPAN, CAPACITY)
    spread = wide.covariance[SPAN][SPAN] + STEP_SPREAD_LN**2
    new, label_ln, row = charge_filter.begin(battery, sensor), log(battery.rated_capacity_ah), []
    for value in STEPS_LN:
        part = kalman.narrowed(wide, SPAN, value, STEP_SIGMA_LN)
        if not capacity_known:
            told = (label_ln + value, STEP_TELLS_LN) if value < EARLY_LN else (new.mean[CAPACITY], new.sigma(CAPACITY))
            part = kalman.replaced(part, CAPACITY, *told)
        row.append(Guess(-0.5 * (value - wide.mean[SPAN]) ** 2 / spread, part))
    return tuple(row)


def early(guess: Guess) -> bool:
    """Whether graphite's step comes earlier than in any new battery."""
    return guess.belief.mean[SPAN] < EARLY_LN


def tied(guesses: Guesses) -> bool:
    """Whether depth hangs on capacity, as it does after a knee.

    A plateau leaves a trace of a tie, and a hundred full charges would each learn a little from it, all alike.
    """
    belief = best(guesses)
    return belief.covariance[DEPTH][CAPACITY] > LEAST_TIE * belief.sigma(DEPTH) * belief.sigma(CAPACITY)


def shares(guesses: Guesses) -> list[float]:
    """Weights that add up to 1."""
    plain = [exp(likely(g)) for g in guesses]
    total = sum(plain)
    return [w / total for w in plain]


def one(guesses: Guesses) -> Belief:
    """A single belief with the mean and covariance of them all."""
    if len(guesses) == 1:
        return guesses[0].belief
    parts = shares(guesses)
    beliefs = [g.belief for g in guesses]
    n = len(beliefs[0].mean)
    mean = tuple(sum(w * b.mean[i] for w, b in zip(parts, beliefs, strict=True)) for i in range(n))
    rows = tuple(
        tuple(
            sum(w * (b.covariance[i][j] + (b.mean[i] - mean[i]) * (b.mean[j] - mean[j])) for w, b in zip(parts, beliefs, strict=True))
            for j in range(n)
        ) for i in range(n)
    )
    return Belief(mean, rows)
