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
from dataclasses import dataclass, replace
from math import exp, sqrt

from monitor.battery.label import Battery
from monitor.parameters import table

P = table("battery", "lead_acid")
CELLS = P.count("cells")
VOLTAGE_PER_K, REFERENCE_C = P.number("voltage_per_k"), P.number("reference_c")
FALL_LINEAR = P.number("fall_linear")
GASSING_A_PER_AH, GASSING_FROM_V = P.number("gassing_a_per_ah"), P.number("gassing_from_v")
GASSING_PER_V, GASSING_PER_K, GASSING_MOST = P.number("gassing_per_v"), P.number("gassing_per_k"), P.number("gassing_most")
SELF_DISCHARGE_DOUBLES_K = P.number("self_discharge_doubles_k")
DENSITY_CONSTANT_V, DENSITY_SIGMA_V = P.number("density_constant_v"), P.number("density_rest_sigma_v")
DEPTH_MOST_FRAC = P.number("depth_most_frac")


@dataclass(frozen=True, slots=True)
class Construction:
    """What is known of one construction before the battery itself has told anything.

    Each sigma is one standard deviation over batteries on the market, voltmeter included.
    """

    full_v: float             # rested, full, 25 °C
    full_sigma_v: float
    span_v: float             # from full down to empty at the rated rate, rested
    span_sigma_ln: float
    gassing_scale: float
    self_discharge_per_month: float
    peukert: float


def _construction(name: str) -> Construction:
    rows = table("battery", name)
    return Construction(
        full_v=rows.number("full_v"), full_sigma_v=rows.sigma("full_v"),
        span_v=rows.number("span_v"), span_sigma_ln=rows.number("span_sigma_ln"),
        gassing_scale=rows.number("gassing_scale"),
        self_discharge_per_month=rows.number("self_discharge_per_month"), peukert=rows.number("peukert"),
    )


KINDS = {name: _construction(name) for name in ("flooded", "agm", "gel")}


def construction(battery: Battery) -> Construction:
    """What is known of this battery's construction; where the owner gave the density of its acid, its full rest voltage from that."""
    kind = KINDS[battery.chemistry]
    if battery.acid_density_kg_l is None:
        return kind
    return replace(kind, full_v=CELLS * (battery.acid_density_kg_l + DENSITY_CONSTANT_V), full_sigma_v=DENSITY_SIGMA_V)


def density_kg_l(full_v: float) -> float:
    """Density of the acid of a rested battery at 25 °C [kg/L], from its voltage [V]."""
    return full_v / CELLS - DENSITY_CONSTANT_V


def rest_voltage_v(kind: Construction, charge_frac: float, temperature_c: float = REFERENCE_C) -> float:
    """Rest voltage of a 12 V battery of this construction before it has shown its own [V].

    kind: the construction; charge_frac: charge left, 0 to 1; temperature_c: of the battery [°C].
    """
    return kind.full_v - kind.span_v * fall_frac(1.0 - charge_frac) + warmth_v(temperature_c)


def warmth_v(temperature_c: float) -> float:
    """By how much a 12 V battery rests higher than at the temperature its rest voltages are given for [V]."""
    return VOLTAGE_PER_K * (temperature_c - REFERENCE_C)


def fall_frac(depth_frac: float) -> float:
    """Share of its whole span by which the rest voltage has fallen at a depth of discharge (0 to 1).

    Acid falls in proportion to the charge drawn; the voltage falls a little faster as acid gets
    thin, which is the curvature of Bode's polynomial [1] between 7.4 and 1.2 mol/kg.
    """
    return depth_frac * (FALL_LINEAR + (1.0 - FALL_LINEAR) * depth_frac)


def depth_of_fall(fall: float) -> float:
    """The depth of discharge at which the rest voltage has fallen by such a share of its span: fall_frac the other way."""
    bend = 1.0 - FALL_LINEAR
    return (sqrt(max(FALL_LINEAR**2 + 4.0 * bend * fall, 0.0)) - FALL_LINEAR) / (2.0 * bend)


def fall_slope(depth_frac: float) -> float:
    """Derivative of fall_frac."""
    return FALL_LINEAR + 2.0 * (1.0 - FALL_LINEAR) * depth_frac


def gassing_a(capacity_ah: float, voltage_v: float, temperature_c: float, scale: float = 1.0) -> float:
    """Current that makes gas instead of charge [A].

    20 mA per 100 Ah at 2.23 V a cell and 20 °C, 11 per volt and 0.06 per kelvin [2].
    capacity_ah: what it gives at its rated rate [Ah]; voltage_v: at its posts [V]; temperature_c: of the battery [°C]; scale:
    against the usual battery of its kind.
    """
    steps = GASSING_PER_V * (voltage_v / CELLS - GASSING_FROM_V) + GASSING_PER_K * (temperature_c - 20.0)
    return scale * GASSING_A_PER_AH * capacity_ah * exp(min(steps, GASSING_MOST))


def self_discharge_per_hour(kind: Construction, temperature_c: float) -> float:
    """Part of a full charge lost in an hour; doubles every 10 K [5]."""
    doublings: float = 2.0 ** ((temperature_c - 20.0) / SELF_DISCHARGE_DOUBLES_K)
    return kind.self_discharge_per_month / 720.0 * doublings


def resistance_shape(depth_frac: float) -> float:
    """How resistance to a load step grows with depth: x/(1-x), the term of Shepherd [3]."""
    depth = min(max(depth_frac, 0.0), DEPTH_MOST_FRAC)
    return depth / (1.0 - depth)
