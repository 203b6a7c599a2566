"""A set-up to weigh, as a person writes it: chemistry=lfp,capacity=200,sun=1.5."""
from dataclasses import dataclass, replace

from monitor.battery.label import CHEMISTRIES, Chemistry
from monitor.battery.limits import limits_of
from monitor.planning.model import Setup

KEYS = ("chemistry", "capacity", "sun", "dcdc", "loads", "reserve", "solar")


@dataclass(frozen=True, slots=True)
class Candidate:
    """What a person wrote: the chemistry, None where it stays, and the figures by their key."""

    chemistry: Chemistry | None
    figures: dict[str, float]


def parse_candidate(text: str) -> Candidate:
    """The pairs of a candidate, checked.

    >>> parse_candidate("chemistry=lfp,capacity=200")
    Candidate(chemistry='lfp', figures={'capacity': 200.0})

    Raises
    ------
    ValueError : what is wrong and how to write it
    """
    named: str | None = None
    figures: dict[str, float] = {}
    for part in text.split(","):
        key, mark, value = part.partition("=")
        key, value = key.strip(), value.strip()
        if key not in KEYS or not mark:
            raise ValueError(f"{part!r} is not one of {', '.join(KEYS)} with a value, as capacity=200")
        if key == "chemistry":
            named = value
            continue
        try:
            number = float(value)
        except ValueError:
            raise ValueError(f"{key} = {value!r} is not a number") from None
        if not 0 < number < 1e5:
            raise ValueError(f"{key} = {value} must be above 0 and not beyond reason")
        figures[key] = number
    chemistry = next((one for one in CHEMISTRIES if one == named), None)
    if named is not None and chemistry is None:
        raise ValueError(f"chemistry {named!r}: write {', '.join(CHEMISTRIES[:-1])} or {CHEMISTRIES[-1]}")
    if figures.get("reserve", 1.0) >= 100:
        raise ValueError("reserve must be below 100 per cent")
    return Candidate(chemistry, figures)


def setup(base: Setup, text: str) -> Setup:
    """The candidate on top of the present set-up; what is not named stays as it is.

    Another chemistry brings its usual reserve: half for lead-acid, a fifth for lithium iron phosphate.

    Raises
    ------
    ValueError : as parse_candidate()
    """
    candidate = parse_candidate(text)
    chemistry, found = candidate.chemistry or base.chemistry, candidate.figures
    reserve = found["reserve"] / 100 if "reserve" in found else (
        base.reserve_frac if (chemistry == "lfp") == (base.chemistry == "lfp") else limits_of(chemistry).reserve_frac)
    return replace(base, name=text, chemistry=chemistry, capacity_ah=found.get("capacity", base.capacity_ah),
                   sun_ratio=found.get("sun", 1.0), solar_limit_a=found.get("solar"), engine_limit_a=found.get("dcdc"),
                   load_ratio=found.get("loads", 1.0), reserve_frac=reserve)
