"""What is believed of a lithium battery before the first reading, and what is kept when only its charge is lost."""
from collections.abc import Iterator
from functools import lru_cache
from math import exp, hypot, log, sqrt, tanh

from monitor.battery import charge_loss
from monitor.battery.label import Battery, CurrentSensor
from monitor.estimation import gaussian
from monitor.estimation.families import KINDS, Kind
from monitor.estimation.state import (
    AXIS_BOTTOM,
    AXIS_SLOW,
    AXIS_STEP,
    AXIS_TOP,
    CAPACITY,
    CHARGE,
    DIFFUSION,
    DIFFUSION_ACTIVATION,
    FILLING,
    HYSTERESIS,
    KINETIC,
    KINETIC_ACTIVATION,
    LEVEL,
    LOSS,
    OFFSET,
    RESISTANCE,
    SHAPE,
    SIZE,
    SLOW,
    Component,
    Mixture,
)
from monitor.estimation.triangle import Triangle, Vector, layout, of_rows
from monitor.parameters import table

_P = table("estimation", "prior")
HYSTERESIS_SIGMA = _P.number("hysteresis_sigma")
FLOWING_PER_H, FLOWING = _P.number("flowing_per_h"), _P.numbers("flowing")
MEMORY_FRAC = table("battery", "lithium_cell").number("hysteresis_memory_frac")
_CHARGE_VARIANCE = layout(SIZE).diagonal[CHARGE]
#: A kind lighter than this (ln of its share) is no longer brought up again.
LEAST_LOG_SHARE = _P.number("least_share_ln")
NOMINAL_V = _P.number("nominal_v")
#: The components of a kind stand between so far above empty and so far below full.
FIRST_FRAC = _P.number("first_frac")
#: What is not known of its charge stands at a half with this doubt.
BORN_SIGMA_FRAC = _P.number("born_sigma_frac")
#: One sigma of the curve's shape at each knot [V].
SHAPE_V = table("battery", "lithium_cell").numbers("shape_v")


@lru_cache(maxsize=32)
def vehicle_part(battery: Battery, sensor: CurrentSensor, kind: Kind) -> tuple[Vector, Triangle]:
    """Mean and covariance of everything but the depth, for a battery of this kind.

    battery: what its label says; sensor: the shunt, its zero and gain with their doubt; kind: sound, worn or another make.
    """
    p, rated = table("battery", "lithium_cell"), battery.rated_capacity_ah
    mean, rows = [0.0] * SIZE, [[0.0] * SIZE for _ in range(SIZE)]

    def believe(i: int, value: float, sigma: float) -> None:
        mean[i], rows[i][i] = value, sigma * sigma

    voltmeter_v = p.sigma("voltmeter_v") if battery.voltage_sigma_frac is None else NOMINAL_V * battery.voltage_sigma_frac
    believe(OFFSET, 0.0, sensor.offset_sigma_a)
    believe(CAPACITY, log(rated) + kind.capacity_ln, hypot(kind.capacity_sigma_ln, sensor.gain_sigma_frac))
    believe(LOSS, charge_loss.FRAC[battery.chemistry], charge_loss.SIGMA_FRAC[battery.chemistry])
    believe(HYSTERESIS, 0.0, HYSTERESIS_SIGMA)
    believe(RESISTANCE, p.number("resistance_ohm_ah") / rated, p.sigma("resistance_ohm_ah") / rated)
    believe(DIFFUSION, 0.0, p.sigma("diffusion_ln"))
    believe(LEVEL, 0.0, hypot(kind.level * p.sigma("level_v"), voltmeter_v))
    believe(AXIS_BOTTOM, 0.0, kind.bottom * p.sigma("axis_bottom_frac"))
    believe(AXIS_STEP, 0.0, kind.axis * p.sigma("axis_step_frac"))
    believe(AXIS_TOP, 0.0, p.sigma("axis_top_frac"))
    # before switch-on it may have been charged or discharged: what that left behind dies away with the slow error
    believe(AXIS_SLOW, 0.0, p.sigma("axis_slow_frac"))
    believe(SLOW, 0.0, 2.0 * p.sigma("slow_v"))
    believe(KINETIC, 0.0, p.sigma("kinetic_ln"))
    believe(KINETIC_ACTIVATION, 0.0, 1.0)
    believe(DIFFUSION_ACTIVATION, 0.0, 1.0)
    by = kind.filling_by_capacity
    believe(FILLING, by * kind.capacity_ln, hypot(p.sigma("filling_ln"), by * kind.capacity_sigma_ln))
    rows[FILLING][CAPACITY] = rows[CAPACITY][FILLING] = by * rows[CAPACITY][CAPACITY]
    length = p.number("shape_length_frac")
    for i, (a, one) in enumerate(SHAPE_V):
        for j, (b, other) in enumerate(SHAPE_V):
            rows[SHAPE + i][SHAPE + j] = kind.shape**2 * one * other * exp(-0.5 * ((a - b) / length) ** 2) + (1e-8 if i == j else 0.0)
    return tuple(mean), of_rows(rows)


def hysteresis(surely: float) -> tuple[float, float]:
    """Mean and one sigma of a hysteresis of which nothing is known but which way charge went last.

    surely: how surely it went in (up to 1) or out (down to -1).
    """
    mean, sigma = FLOWING
    return surely * mean, sqrt(HYSTERESIS_SIGMA**2 + surely * surely * (sigma * sigma - HYSTERESIS_SIGMA**2))


def direct(mixture: Mixture, rate_per_h: float) -> Mixture:
    """A mixture that has seen nothing yet, at the first current that is read.

    A current found flowing has mostly flowed for some time, and turned the battery its own way.

    mixture: components of which nothing was learnt; rate_per_h: current over rated capacity, into the battery [1/h].
    """
    surely = tanh(rate_per_h / FLOWING_PER_H)
    return tuple(Component(c.log_weight, c.family, *_turn(c.mean, c.covariance, surely)) for c in mixture)


def _turn(mean: Vector, covariance: Triangle, surely: float) -> tuple[Vector, Triangle]:
    """A battery whose hysteresis is tied to nothing else, turned one way as surely as this (-1 to 1)."""
    value, sigma = hysteresis(surely)
    numbers = list(covariance)
    numbers[layout(SIZE).diagonal[HYSTERESIS]] = sigma * sigma
    return (*mean[:HYSTERESIS], value, *mean[HYSTERESIS + 1:]), tuple(numbers)


def place_at(mean: Vector, covariance: Triangle, charge_frac: float, sigma_frac: float) -> tuple[Vector, Triangle]:
    """The same battery at another charge, known within sigma_frac and by nothing else that is known.

    mean: of each quantity; covariance: of all quantities; charge_frac: state of charge, 0 to 1; sigma_frac: its doubt, one sigma.
    """
    numbers, where = list(covariance), layout(SIZE)
    for at in where.places[CHARGE]:
        numbers[at] = 0.0
    numbers[where.diagonal[CHARGE]] = sigma_frac * sigma_frac
    return (charge_frac, *mean[1:]), tuple(numbers)


def _spread(mean: Vector, covariance: Triangle, kind: int, share: float) -> list[Component]:
    """A battery of which all but the charge is known, as a row of components along it."""
    count = KINDS[kind].along_count
    row = []
    for i in range(count):
        m, c = place_at(mean, covariance, FIRST_FRAC + (1.0 - 2.0 * FIRST_FRAC) * (i + 0.5) / count, 0.5 / count)
        row.append(Component(log(share / count), kind, m, c))
    return row


def begin(battery: Battery, sensor: CurrentSensor) -> Mixture:
    """Before the first reading."""
    found = []
    for index, kind in enumerate(KINDS):
        found += _spread(*vehicle_part(battery, sensor, kind), index, kind.share)
    return tuple(found)


def _by_kind(mixture: Mixture) -> Iterator[tuple[int, float, Vector, Triangle]]:
    """Each kind that still counts: index, share, mean and covariance."""
    for index in range(len(KINDS)):
        parts = [(c.log_weight, c.mean, c.covariance) for c in mixture if c.family == index]
        if parts:
            weight, mean, covariance = gaussian.merge(parts)
            if weight > LEAST_LOG_SHARE:
                yield index, exp(weight), mean, covariance


def forget_charge(mixture: Mixture, battery: Battery, sensor: CurrentSensor, rate_per_h: float) -> Mixture:
    """After a gap in which anything may have happened: shunt, resistance, capacity and curve are kept, charge is not.

    Where it stands higher than before it was charged, where lower discharged: that turned its hysteresis, as does the current after it.

    mixture: components with their weights; battery: what its label says; sensor: the shunt, its zero and gain with their doubt;
    rate_per_h: current after it, over rated capacity, into the battery [1/h].
    """
    found = []
    flowing = tanh(rate_per_h / FLOWING_PER_H)
    _, (before,), (before2,) = gaussian.merge([(c.log_weight, (c.mean[CHARGE],), (c.covariance[_CHARGE_VARIANCE],)) for c in mixture])
    unsure = hypot(MEMORY_FRAC, sqrt(before2))
    for index, share, mean, covariance in _by_kind(mixture):
        fresh, fresh_numbers = vehicle_part(battery, sensor, KINDS[index])
        numbers, new = list(covariance), list(mean)
        for i in (HYSTERESIS, SLOW, AXIS_SLOW):
            for at in layout(SIZE).places[i]:
                numbers[at] = fresh_numbers[at]
            new[i] = fresh[i]
        for c in _spread(tuple(new), tuple(numbers), index, share):
            moved = tanh((c.mean[CHARGE] - before) / unsure)
            found.append(Component(c.log_weight, index, *_turn(c.mean, c.covariance, flowing + (1.0 - abs(flowing)) * moved)))
    return tuple(found)


def make_unsure(mixture: Mixture, log_share: float, ends: int, battery: Battery, sensor: CurrentSensor) -> list[Component]:
    """A small share of not knowing the charge, beside what is believed: an end of the curve may then correct a belief
    that was too sure of itself. Half of it keeps all else that was learnt, half of it nothing but the shunt's offset: what was
    learnt may be as wrong as the charge, but each end that came where it was expected makes that half as likely.

    mixture: components with their weights; log_share: ln of the weight given; ends: how many full charges and knees there were;
    battery: what its label says; sensor: the shunt, its zero and gain with their doubt.
    """
    born, half = [], log_share + log(0.5)
    anew = half - ends * log(2.0)
    at_offset = layout(SIZE).diagonal[OFFSET]
    _, (offset_a,), (offset_a2,) = gaussian.merge([(c.log_weight, (c.mean[OFFSET],), (c.covariance[at_offset],)) for c in mixture])
    for index, share, mean, covariance in _by_kind(mixture):
        m, c = place_at(mean, covariance, 0.5, BORN_SIGMA_FRAC)
        born.append(Component(half + log(share), index, m, c))
    for index, kind in enumerate(KINDS):
        part, numbers = vehicle_part(battery, sensor, kind)
        fresh, doubt = list(part), list(numbers)
        fresh[OFFSET], doubt[at_offset] = offset_a, offset_a2
        m, c = place_at(tuple(fresh), tuple(doubt), 0.5, BORN_SIGMA_FRAC)
        born.append(Component(anew + log(kind.share), index, m, c))
    return born
