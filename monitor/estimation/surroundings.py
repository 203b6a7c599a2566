"""What temperature and rate do to a lithium battery's voltage: the same for every component, once a window."""
from math import exp, tanh

from monitor.battery.rest_curves import line
from monitor.parameters import table
from monitor.replacing import dataclass

_P = table("battery", "lithium_cell")
_KELVIN, _REFERENCE_C = table("battery", "units").number("zero_c_k"), _P.number("reference_c")
_REFERENCE_K = _KELVIN + _REFERENCE_C
_WARMTH_V = _P.numbers("warmth_v_per_k")
TAU_H, TAU_K, TAU_SIGMA_K = _P.number("diffusion_h"), _P.number("diffusion_activation_k"), _P.sigma("diffusion_activation_k")
LIMIT = _P.number("diffusion_limit_per_h")
KINETIC_V, KINETIC_K, KINETIC_SIGMA_K = _P.number("kinetic_v"), _P.number("kinetic_activation_k"), _P.sigma("kinetic_activation_k")
KINETIC_RATE_H, RESISTANCE_K = _P.number("kinetic_rate_h"), _P.number("resistance_activation_k")


@dataclass(frozen=True, slots=True)
class Surroundings:
    """One window's voltage and current, and what its temperature and rate make of them.

    current_a is as if at 25 °C: multiplied by how much larger resistance is. shift_h: times e^diffusion_ln, how much
    further along the charge axis the surface stands than the whole [1]; kinetic_v: that part of half the gap which goes
    with current [V]. The factors say by how much one sigma of an activation energy changes them (ln).
    """

    voltage_v: float
    current_a: float
    temperature_c: float
    shift_frac: float
    kinetic_v: float
    diffusion_factor: float
    kinetic_factor: float
    coldness: float        # 1 at 25 °C, more in the cold: kinetics against 25 °C

    def warmth_v(self, charge_frac: float) -> float:
        """By how much the rest curve lies higher than at 25 °C [V], at a charge of 0 to 1."""
        return (self.temperature_c - _REFERENCE_C) * line(_WARMTH_V, charge_frac)


def _inverse(temperature_c: float) -> float:
    return 1.0 / (_KELVIN + temperature_c) - 1.0 / _REFERENCE_K


def coldness(temperature_c: float) -> float:
    """How much slower the electrodes are than at 25 °C, never less than 1."""
    return max(exp(KINETIC_K * _inverse(temperature_c)), 1.0)


def look(voltage_v: float, current_a: float, rate: float, temperature_c: float) -> Surroundings:
    """voltage_v and current_a: means of the window; rate: filtered current over the label's capacity [1/h].

    voltage_v: mean of the window [V]; temperature_c: battery temperature [°C], None: not known.
    """
    t = _inverse(temperature_c)
    return Surroundings(
        voltage_v, current_a * exp(RESISTANCE_K * t), temperature_c,
        TAU_H * exp(TAU_K * t) * rate / (1.0 + abs(rate) / LIMIT),
        KINETIC_V * exp(KINETIC_K * t) * tanh(KINETIC_RATE_H * rate),
        TAU_SIGMA_K * t, KINETIC_SIGMA_K * t, coldness(temperature_c))
