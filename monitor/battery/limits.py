"""What each kind of battery bears: voltage, heat, cold, frost, and how long without a full charge (limits.toml).

Alerts, planning, pages and docs read these rows, so that none of them can say another number than the others.
"""
import tomllib
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any

from monitor.battery.label import CHEMISTRIES, Battery
from monitor.parameters import table

REFERENCE_C = 25.0
#: Part of its rating that is the end of a battery's life, where its owner says nothing else.
USED_UP_FRAC = table("battery", "end_of_life").number("used_up_frac")
#: No charger compensates further: to 50 °C, and to 25 °C below freezing (common practice).
COMPENSATED_K = 25.0
BASES = ("published", "reprint", "common practice", "from memory", "own judgement")


@dataclass(frozen=True, slots=True)
class Row:
    """One limit: its name, what it means, unit and source, and a value for each chemistry that has one."""

    name: str
    means: str
    unit: str
    source: str
    basis: str
    values: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Limits:
    """All limits of one kind of battery, 12 V, at 25 °C; None where a limit is no matter of that kind.

    What each means, and who says so, stands in limits.toml under the same name.
    """

    chemistry: str
    charge_upper_v: float
    over_voltage_v: float
    voltmeter_margin_v: float
    over_warning_h: float
    over_high_h: float
    usual_absorption_v: float
    usual_float_v: float
    discharge_end_v: float
    under_voltage_v: float
    deep_discharge_v: float
    recovery_rate_per_h: float
    hot_c: float
    hot_high_c: float
    doubling_low_k: float
    doubling_high_k: float
    never_full_days: float
    reserve_frac: float
    cold_v_per_k: float = 0.0
    heat_v_per_k: float = 0.0
    alternator_upper_v: float | None = None
    equalise_upper_v: float | None = None
    equalise_hours_h: float | None = None
    never_charge_v: float | None = None
    runaway_c: float | None = None
    runaway_above_air_k: float | None = None
    runaway_rise_ratio: float | None = None
    frost_margin_k: float | None = None
    cold_charge_c: float | None = None
    cold_margin_k: float | None = None
    cold_rate_per_h: float | None = None
    slow_below_c: float | None = None
    slow_rate_per_h: float | None = None


@cache
def _document() -> dict[str, Any]:
    return tomllib.loads(files("monitor.battery").joinpath("limits.toml").read_text(encoding="utf-8"))


@cache
def rows() -> tuple[Row, ...]:
    """Every row of the table, in its order.

    Raises
    ------
    ValueError : a row lacks its source, names an unknown basis, or is no limit that the code knows
    """
    known, made = {f.name for f in fields(Limits)}, []
    for name, row in _document().items():
        if name in ("freezing", "told_within_s"):
            continue
        values = tuple((c, float(row[c])) for c in CHEMISTRIES if c in row)
        if name not in known or not row["source"] or row["basis"] not in BASES or not values:
            raise ValueError(f"limits.toml: the row {name} needs a known name, a source, a basis of {BASES} and a value")
        made.append(Row(name, row["means"], row["unit"], row["source"], row["basis"], values))
    return tuple(made)


@cache
def limits_of(chemistry: str) -> Limits:
    """The limits of one kind of battery: flooded, agm, gel or lfp."""
    return Limits(chemistry, **{row.name: dict(row.values)[chemistry] for row in rows() if chemistry in dict(row.values)})


@cache
def freezing_table() -> tuple[tuple[float, float], ...]:
    """(density at 25 °C [kg/l], freezing point [°C]) of sulphuric acid, thin to strong."""
    table = _document()["freezing"]
    return tuple(zip(table["density_kg_l"], table["freezing_c"], strict=True))


@cache
def told_within_s() -> dict[str, float]:
    """Kind of alert -> how soon after its cause it is raised, at the latest [s]."""
    return {kind: float(seconds) for kind, seconds in _document()["told_within_s"].items()}


def unseen_c(last_c: float | None) -> float | None:
    """How cold it is taken to be while it is not measured [°C]: freezing, or colder if it was when last measured.

    last_c: the latest that was measured [°C], None: none ever was, and nothing is taken
    """
    return None if last_c is None else min(last_c, 0.0)


def say_unseen(charger: str) -> str:
    """What goes with a voltage that is too high while no temperature is measured; charger: what holds the voltage, as "charger"."""
    return f"There is no thermometer: if it is colder than freezing, a {charger} with a sensor of its own may rightly go so high."


def coldest_c(battery: Battery, own_c: float | None, air_c: float | None, last_c: float | None) -> float | None:
    """How cold the battery may be, which decides what a charger with a sensor of its own may give it [°C]; None: nobody knows.

    Parameters
    ----------
    battery : its label
    own_c : its own temperature [°C], None: not measured
    air_c : the air's, which the battery follows by hours [°C], None: not measured
    last_c : what this gave last [°C]
    """
    if own_c is not None or air_c is None:
        return own_c if own_c is not None else unseen_c(last_c)
    return air_c - (limits_of(battery.chemistry).frost_margin_k or 0.0)


def compensation_v(limits: Limits, temperature_c: float | None) -> float:
    """What temperature adds to a charging voltage [V]: more in the cold, less in heat.

    Without a thermometer it is taken to freeze, for nobody can say that a charger which knows better is wrong.
    """
    below_k = min(max(REFERENCE_C - (0.0 if temperature_c is None else temperature_c), -COMPENSATED_K), 2 * COMPENSATED_K)
    return below_k * (limits.cold_v_per_k if below_k > 0 else limits.heat_v_per_k)


def over_voltage_v(battery: Battery, temperature_c: float | None) -> float:
    """Voltage that no regulator should reach [V]. It rises in the cold; heat lowers only what may be held for hours.

    An equalising charge that the owner has announced (`equalise_v`) lifts it for flooded batteries.
    """
    limits = limits_of(battery.chemistry)
    return _over_voltage_warm_v(limits, battery) + max(compensation_v(limits, temperature_c), 0.0)


def _over_voltage_warm_v(limits: Limits, battery: Battery) -> float:
    """The same at 25 °C and above [V]."""
    if battery.equalise_v is not None and limits.equalise_upper_v is not None:
        return max(limits.over_voltage_v, min(battery.equalise_v, limits.equalise_upper_v) + 2 * limits.voltmeter_margin_v)
    return limits.over_voltage_v


def alternator_over_voltage_v(battery: Battery, temperature_c: float | None) -> float:
    """Voltage that no alternator should reach [V]: not less than what an engine control may ask for during minutes.

    battery : the starter battery, or the house battery while it is joined to it; temperature_c : of it or of the air [°C], None: not known
    """
    limits = limits_of(battery.chemistry)
    by_cold_v = max(compensation_v(limits, temperature_c), 0.0)
    asked_v = 0.0 if limits.alternator_upper_v is None else limits.alternator_upper_v + limits.voltmeter_margin_v + by_cold_v
    return max(_over_voltage_warm_v(limits, battery) + by_cold_v, asked_v)


def held_voltage_v(battery: Battery, temperature_c: float | None) -> float:
    """Voltage above which a charge lasts no more than hours without harm [V]; it falls in heat.

    A charger's own higher voltage, where the owner has written it down, is believed up to the kind's over-voltage.
    """
    limits = limits_of(battery.chemistry)
    upper_v = limits.charge_upper_v
    if battery.absorption_v is not None:
        upper_v = max(upper_v, min(battery.absorption_v, limits.over_voltage_v - limits.voltmeter_margin_v))
    return upper_v + limits.voltmeter_margin_v + compensation_v(limits, temperature_c)


def ageing_ratio(limits: Limits, temperature_c: float) -> tuple[float, float]:
    """How many times as fast as at 25 °C a battery ages: (gentler rule, harsher rule)."""
    above_k = temperature_c - REFERENCE_C
    one, other = 2.0 ** (above_k / limits.doubling_low_k), 2.0 ** (above_k / limits.doubling_high_k)
    return (one, other) if one <= other else (other, one)
