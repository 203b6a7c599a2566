"""A battery in storage by published tables: what it loses by itself, at what charge to leave it, when to refresh it."""
import tomllib
from importlib.resources import files
from math import exp, log

_TABLES = tomllib.loads((files("monitor.planning") / "storage.toml").read_text(encoding="utf-8"))


def density_loss_kg_l_per_day(temperature_c: float) -> float:
    """Density that a charged flooded battery of the older kind loses in a day [kg/l], on the line between the table's logarithms.

    >>> round(density_loss_kg_l_per_day(26.7), 6)
    0.001
    """
    table = _TABLES["density_loss"]
    points = list(zip(table["temperature_c"], table["kg_l_per_day"], strict=True))
    (t0, y0), (t1, y1) = points[:2] if temperature_c <= points[1][0] else points[1:]
    return exp(log(y0) + (log(y1) - log(y0)) * (temperature_c - t0) / (t1 - t0))


def self_discharge_per_day(chemistry: str, temperature_c: float) -> tuple[float, float]:
    """Share of a full charge that a battery loses in a day: (least, most) of what is published for its kind."""
    table = _TABLES["self_discharge"]
    factor = 2.0 ** ((temperature_c - table["reference_c"]) / table["doubling_k"])
    low, high = (share / 30.0 * factor for share in table[chemistry])
    if chemistry == "flooded":  # an older one, with antimony in its plates, by its density
        high = max(high, density_loss_kg_l_per_day(temperature_c) / _TABLES["density_loss"]["span_kg_l"])
    return low, high


def leave_at_frac(chemistry: str) -> float:
    """Charge to leave a battery at, 0 to 1."""
    return float(_TABLES["leave_at"]["lfp_frac" if chemistry == "lfp" else "lead_frac"])


def refresh_at_frac(chemistry: str) -> float:
    """Charge at which to charge it again, 0 to 1."""
    return float(_TABLES["leave_at"]["lfp_refresh_frac" if chemistry == "lfp" else "lead_refresh_frac"])


def look_every_days(chemistry: str) -> float:
    """The longest time to leave it unseen [days]."""
    return float(_TABLES["look_every"][chemistry])
