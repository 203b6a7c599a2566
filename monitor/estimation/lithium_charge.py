"""State of charge of a lithium iron phosphate battery: the estimator, and what is watched beside it."""
from math import hypot, log

from monitor.battery.label import Vehicle
from monitor.estimation import (
    charge_alerts,
    charge_count,
    charge_suspicion,
    charging_stage,
    estimator,
    gaussian,
    mixture,
    step_resistance,
)
from monitor.estimation.charge_count import Count
from monitor.estimation.charge_ends import AGAIN_S, EMPTY_WORDS, FULL_WORDS
from monitor.estimation.charge_report import BASIS, COUNTING_S, UNKNOWN_WIDTH_FRAC, ZERO_PART, resistance_at
from monitor.estimation.charge_suspicion import Suspicion
from monitor.estimation.estimator import EstimatorState
from monitor.estimation.state import CAPACITY, LEVEL, OFFSET, SIZE, Component
from monitor.estimation.step_resistance import Resistance
from monitor.estimation.triangle import Triangle, Vector, layout
from monitor.findings import (
    NOT_ASKED,
    Z95,
    Answer,
    Basis,
    ChargeFindings,
    Condition,
    Estimate,
    Event,
    NotYet,
)
from monitor.parameters import table
from monitor.posterior import Interval
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

P = table("estimation", "lithium_charge")
OWN_USE_A, FLOAT_S = P.number("own_use_a"), P.number("float_s")
LEAST_ZERO_SIGMA_A = table("battery", "current_sensor").number("least_zero_sigma_a")


@dataclass(frozen=True, slots=True)
class LithiumState:
    """What is carried from minute to minute."""

    estimate: EstimatorState
    resistance: Resistance
    count: Count = Count()
    suspicion: Suspicion = Suspicion()
    news: tuple[Event, ...] = ()

    @property
    def anchor(self) -> str:
        """The end that was seen last."""
        return self.estimate.anchor

    @property
    def fulls(self) -> int:
        """How often it was found full."""
        return self.estimate.fulls


def begin(vehicle: Vehicle, without: tuple[str, ...] = ()) -> LithiumState:
    """Nothing seen yet. without: makes whose measured curve is not to be used."""
    return LithiumState(estimator.begin(vehicle, without), step_resistance.begin(vehicle.house))


def update(state: LithiumState, minute: Minute, vehicle: Vehicle, _join: object = None) -> LithiumState:
    """The state after a minute: the estimator's mixture, and beside it resistance, events and signs of a wrong type.

    What is known of the other battery is not needed: shunt and voltmeter are the house battery's own.

    state: what was known before; minute: the readings of a minute; vehicle: labels and instruments, as configured.
    """
    battery, before = vehicle.house, state.estimate
    capacity = before.capacity_ah[1]
    count = charge_count.update(state.count, minute, battery, vehicle.current_sensor, capacity, False)
    halves = step_resistance.bins(minute)
    depth_frac = 1.0 - before.charge[1]
    resistance = step_resistance.update(state.resistance, halves, battery, depth_frac, count.surface_v < charge_count.BARE_V)
    estimate = estimator.advance(before, minute, vehicle)
    news = []
    for anchor, kind, words in (("full", "full_charge", FULL_WORDS), ("empty", "empty_seen", EMPTY_WORDS)):
        since = before.anchor_at_s if before.anchor == anchor else None
        if estimate.anchor == anchor and estimate.anchor_at_s == minute.end_s and (since is None or minute.end_s - since > AGAIN_S):
            news.append(Event(minute.end_s, kind, "house", words))
    suspicion = charge_suspicion.update(
        state.suspicion, minute, halves, battery, count, resistance, depth_frac)
    return LithiumState(estimate, resistance, count, suspicion, tuple(news))


def findings(state: LithiumState, vehicle: Vehicle, brief: bool = False) -> ChargeFindings:
    """What is known now.

    state: what was kept after the latest minute; vehicle: what its owner said of it; brief: only what trackers ask that make no
    forecast (`house_charge.findings`).
    """
    estimate, count, house = state.estimate, state.count, vehicle.house
    age = None if estimate.anchor_at_s is None or count.at_s is None else count.at_s - estimate.anchor_at_s
    (low, middle, high), out_ah = estimator.charge_now(estimate, vehicle)
    resistance, offset = resistance_at(state.resistance, 1.0 - middle), _offset(state, vehicle)
    stage = "unknown" if brief else charging_stage.stage(count, house, estimate.anchor == "full" and age is not None and age < FLOAT_S)
    doubt = "" if brief else charge_suspicion.chemistry_doubt(state.suspicion, house, 0.0, 0.0, False)
    wait = None
    if state.suspicion.reversed:
        wait = NotYet("the shunt seems to be wired backwards; once that is right, one full charge")
    elif high - low > UNKNOWN_WIDTH_FRAC:
        wait = NotYet("it needs some minutes of readings, or some hours of ordinary use")
    if wait is not None:
        return ChargeFindings(wait, wait, wait, wait, resistance, offset, estimate.anchor, age, doubt, stage)
    basis = BASIS[estimate.anchor]
    if estimate.anchor in ("full", "empty") and age is not None and age > COUNTING_S:
        basis = "counting"
    q_low, q, q_high = estimate.capacity_ah
    learnt: Basis = "empty seen" if estimate.anchor == "empty" else "learnt" if estimate.fulls else "label"
    charge, size = Estimate(middle, low, high, basis), Estimate(q, q_low, q_high, learnt)
    if brief:
        return ChargeFindings(charge, size, NOT_ASKED, NOT_ASKED, resistance, offset, estimate.anchor, age, doubt, stage, estimate.belief)
    return ChargeFindings(
        charge, size,
        _less(estimate.left_ah, out_ah, 1.0, estimate.capacity_ah, basis),
        _less(estimate.usable_ah, out_ah, 1.0 - house.reserve_soc_frac, estimate.capacity_ah, basis),
        resistance, offset, estimate.anchor, age, doubt, stage,
        estimator.hand_on(estimate, vehicle))


def conditions(state: LithiumState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """What may deserve an alert."""
    doubt = charge_suspicion.chemistry_doubt(state.suspicion, vehicle.house, 0.0, 0.0, False)
    return charge_alerts.suspicions(state.suspicion, doubt)


def replace_battery(state: LithiumState, vehicle: Vehicle) -> LithiumState:
    """The state after another lithium battery was put in: the shunt's offset and the habits stay."""
    _, mean, covariance = _one(state)
    fresh = begin(vehicle, state.estimate.without)
    parts = tuple(_with_offset(c, mean[OFFSET], covariance[layout(SIZE).diagonal[OFFSET]]) for c in fresh.estimate.mixture)
    count = Count(at_s=state.count.at_s, usual=state.count.usual, temperature_c=state.count.temperature_c)
    return replace(fresh, estimate=replace(fresh.estimate, mixture=parts, past=replace(
        fresh.estimate.past, temperature_c=state.estimate.past.temperature_c)), count=count,
        suspicion=charge_suspicion.dismiss(state.suspicion))


def calibrate_zero(state: LithiumState, sigma_a: float) -> LithiumState:
    """The state after the shunt's zero was measured: what was learnt beyond it is forgotten."""
    parts = tuple(_with_offset(c, 0.0, max(sigma_a, LEAST_ZERO_SIGMA_A) ** 2) for c in state.estimate.mixture)
    return replace(state, estimate=replace(state.estimate, mixture=parts, offset_a=(0.0, max(sigma_a, LEAST_ZERO_SIGMA_A))))


def apply_capacity_test(state: LithiumState, capacity_ah: float, sigma_ln: float) -> LithiumState:
    """The state after a capacity test that reached its end: capacity is measured; what is told follows within a minute.

    state: what was known before; capacity_ah: what the test found [Ah]; sigma_ln: one sigma of its ln.
    """
    parts = []
    for c in state.estimate.mixture:
        slopes = {CAPACITY: 1.0}
        cross = gaussian.times(c.covariance, slopes, SIZE)
        total, miss = gaussian.along(cross, slopes) + sigma_ln**2, log(capacity_ah) - c.mean[CAPACITY]
        mean, cov = gaussian.update(c.mean, c.covariance, cross, miss, total)
        parts.append(Component(c.log_weight + gaussian.log_density(miss, total), c.family, mean, cov))
    return replace(state, estimate=replace(state.estimate, mixture=mixture.normalise(parts), stale=True))


def level_v(state: LithiumState) -> float:
    """By how much the rest curve lies higher than the makes measured [V]."""
    return _one(state)[1][LEVEL]


def _one(state: LithiumState) -> tuple[float, Vector, Triangle]:
    return gaussian.merge([(c.log_weight, c.mean, c.covariance) for c in state.estimate.mixture])


def _with_offset(component: Component, mean_a: float, variance: float) -> Component:
    mean, numbers, where = list(component.mean), list(component.covariance), layout(SIZE)
    mean[OFFSET] = mean_a
    for at in where.places[OFFSET]:
        numbers[at] = 0.0
    numbers[where.diagonal[OFFSET]] = variance
    return Component(component.log_weight, component.family, tuple(mean), tuple(numbers))


def _less(interval: Interval, out_ah: float, most_frac: float, capacity_ah: Interval, basis: Basis) -> Estimate:
    """What is left once out_ah more was drawn; never less than none, nor more than fits."""
    low, middle, high = interval
    q_low, q_middle, q_high = capacity_ah
    return Estimate(min(max(middle - out_ah, 0.0), most_frac * q_middle), min(max(low - out_ah, 0.0), most_frac * q_low),
                    min(max(high - out_ah, 0.0), most_frac * q_high), basis)


def _offset(state: LithiumState, vehicle: Vehicle) -> Answer:
    sensor = vehicle.current_sensor
    mean, doubt = state.estimate.offset_a
    if doubt > ZERO_PART * sensor.offset_sigma_a and not sensor.offset_a:
        return NotYet("it needs two full charges some days apart, or a zero calibration with everything off")
    # only what was learnt from the charge's balance holds the battery's own use, not what a zero calibration measured
    learnt = max(1.0 - (doubt / sensor.offset_sigma_a) ** 2, 0.0)
    offset = sensor.offset_a + mean
    return Estimate(offset, offset - hypot(Z95 * doubt, OWN_USE_A * learnt), offset + Z95 * doubt, "learnt")
