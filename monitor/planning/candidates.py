"""A set-up to weigh, as a person writes it: chemistry=lfp,capacity=200,sun=1.5."""
from dataclasses import replace

from monitor.battery.label import CHEMISTRIES
from monitor.planning.model import Setup

KEYS = {"chemistry": str, "capacity": float, "sun": float, "dcdc": float, "loads": float, "reserve": float, "solar": float}


def parse_candidate(text: str) -> dict[str, str | float]:
    """The pairs of a candidate, checked.

    >>> parsed("chemistry=lfp,capacity=200")
    {'chemistry': 'lfp', 'capacity': 200.0}

    Raises
    ------
    ValueError : what is wrong and how to write it
    """
    found: dict[str, str | float] = {}
    for part in text.split(","):
        key, mark, value = part.partition("=")
        key, value = key.strip(), value.strip()
        if key not in KEYS or not mark:
            raise ValueError(f"{part!r} is not one of {', '.join(KEYS)} with a value, as capacity=200")
        if KEYS[key] is str:
            found[key] = value
            continue
        try:
            number = float(value)
        except ValueError:
            raise ValueError(f"{key} = {value!r} is not a number") from None
        if not 0 < number < 1e5:
            raise ValueError(f"{key} = {value} must be above 0 and not beyond reason")
        found[key] = number
    if found.get("chemistry", "lfp") not in CHEMISTRIES:
        raise ValueError(f"chemistry {found['chemistry']!r}: write {', '.join(CHEMISTRIES[:-1])} or {CHEMISTRIES[-1]}")
    if found.get("reserve", 1.0) >= 100:
        raise ValueError("reserve must be below 100 per cent")
    return found


def setup(base: Setup, text: str) -> Setup:
    """The candidate on top of the present set-up; what is not named stays as it is.

    Another chemistry brings its usual reserve: half for lead-acid, a fifth for lithium iron phosphate.

    Raises
    ------
    ValueError : as parsed()
    """
    found = parse_candidate(text)
    chemistry = found.get("chemistry", base.chemistry)
    usual = 0.2 if chemistry == "lfp" else 0.5
    reserve = found["reserve"] / 100 if "reserve" in found else (
        base.reserve_frac if (chemistry == "lfp") == (base.chemistry == "lfp") else usual)
    return replace(base, name=text, chemistry=chemistry, capacity_ah=found.get("capacity", base.capacity_ah),
                   sun_ratio=found.get("sun", 1.0), solar_limit_a=found.get("solar"), engine_limit_a=found.get("dcdc"),
                   load_ratio=found.get("loads", 1.0), reserve_frac=reserve)
