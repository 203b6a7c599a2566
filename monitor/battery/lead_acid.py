"""Lead-acid: published relations of rest voltage, acid, gassing, self-discharge and resistance (12 V, six cells).

Sources
-------
[1] Bode, Lead-Acid Batteries, Wiley 1977: equilibrium voltage against molality, as quoted by
    Sulzer et al., J. Electrochem. Soc. 166 (2019) A2363.
[2] Schiffer et al., J. Power Sources 168 (2007) 66: gassing law, acceptance and resistance terms.
[3] Shepherd, J. Electrochem. Soc. 112 (1965) 657: resistance that grows as active mass runs out.
[4] Ceraolo, IEEE Trans. Power Systems 15 (2000) 1184: slow resistance with the logarithm of charge.
[5] Berndt, Maintenance-Free Batteries, 1997 (from memory): self-discharge and its temperature rule.
"""
from dataclasses import dataclass
from math import exp, log10

CELLS = 6


@dataclass(frozen=True, slots=True)
class Construction:
    """What is known of one construction before the battery itself has told anything.

    Each sigma is one standard deviation over batteries on the market, voltmeter included.
    """

    full_v: float             # rested, full, 25 °C
    full_sigma_v: float
    span_v: float             # from full down to empty at the rated rate, rested
    span_sigma_ln: float
    charge_loss_frac: float   # of what goes in, below gassing
    gassing_scale: float
    self_discharge_per_month: float
    peukert: float


#: Rest voltages: handbook tables for flooded batteries end at 12.65 and 11.7 to 11.9 V, for
#: absorbed and gelled acid at 12.8 to 13.08 and 11.6 to 11.8 V; stationary cells with much acid
#: use half that span [2], which the wide sigma of the span allows for.
KINDS = {
    "flooded": Construction(12.70, 0.07, 0.95, 0.20, 0.04, 1.5, 0.05, 1.25),
    "agm": Construction(12.94, 0.08, 1.16, 0.15, 0.03, 1.0, 0.025, 1.10),
    "gel": Construction(12.88, 0.08, 1.12, 0.15, 0.03, 0.7, 0.02, 1.14),
}

#: Rest voltage of a 12 V battery per kelvin: 0.2 mV a cell [1].
VOLTAGE_PER_K = 0.0013


def cell_voltage_v(molality: float) -> float:
    """Equilibrium voltage of one cell at an acid molality [mol/kg], 25 °C.

    The difference of Bode's two electrode polynomials [1].
    """
    x = log10(molality)
    negative = -0.294 + x * (-0.074 + x * (-0.030 + x * (-0.031 - 0.012 * x)))
    positive = 1.628 + x * (0.074 + x * (0.033 + x * (0.043 + 0.022 * x)))
    return positive - negative


def molality(concentration: float) -> float:
    """Acid in mol per kg of water from mol per cubic metre of solution (partial volumes as in Sulzer 2019 [1])."""
    return concentration * 1.75e-5 / ((1.0 - concentration * 4.5e-5) * 0.01801)


def cell_voltage_from_density_v(density_kg_l: float, constant_v: float = 0.845) -> float:
    """Rest voltage of one cell from the density of its acid: density + 0.84 to 0.86 (Linden, Handbook of Batteries)."""
    return density_kg_l + constant_v


def rest_voltage_v(kind: Construction, charge_frac: float, temperature_c: float = 25.0) -> float:
    """Rest voltage of a 12 V battery of this construction before it has shown its own [V]."""
    return kind.full_v - kind.span_v * fall_frac(1.0 - charge_frac) + VOLTAGE_PER_K * (temperature_c - 25.0)


def fall_frac(depth_frac: float) -> float:
    """Share of its whole span by which the rest voltage has fallen at a depth of discharge (0 to 1).

    Acid falls in proportion to the charge drawn; the voltage falls a little faster as acid gets
    thin, which is the curvature of Bode's polynomial [1] between 7.4 and 1.2 mol/kg.
    """
    return depth_frac * (0.9 + 0.1 * depth_frac)


def fall_slope(depth_frac: float) -> float:
    """Derivative of fall_frac."""
    return 0.9 + 0.2 * depth_frac


def gassing_a(capacity_ah: float, voltage_v: float, temperature_c: float, scale: float = 1.0) -> float:
    """Current that makes gas instead of charge [A].

    20 mA per 100 Ah at 2.23 V a cell and 20 °C, 11 per volt and 0.06 per kelvin [2].
    """
    steps = 11.0 * (voltage_v / CELLS - 2.23) + 0.06 * (temperature_c - 20.0)
    return scale * 0.0002 * capacity_ah * exp(min(steps, 6.0))


def self_discharge_per_hour(kind: Construction, temperature_c: float) -> float:
    """Part of a full charge lost in an hour; doubles every 10 K [5]."""
    doublings: float = 2.0 ** ((temperature_c - 20.0) / 10.0)
    return kind.self_discharge_per_month / 720.0 * doublings


def resistance_shape(depth_frac: float) -> float:
    """How resistance to a load step grows with depth: x/(1-x), the term of Shepherd [3]."""
    depth = min(max(depth_frac, 0.0), 0.97)
    return depth / (1.0 - depth)
