"""Ratings of batteries on one scale: capacity at other rates, reserve capacity, watt-hours, cold-cranking current by other norms.

No standard defines these conversions; each is a range, from what batteries of a kind differ in. The tables are in labels.toml.
"""
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from math import sqrt

TABLES = tomllib.loads((files("monitor.planning") / "labels.toml").read_text(encoding="utf-8"))
NORMS = ("SAE", "EN", "IEC", "DIN", "JIS", "MCA")


@dataclass(frozen=True, slots=True)
class Span:
    """From the least to the most, and the usual; all the same where it is exact."""

    low: float
    usual: float
    high: float

    @property
    def exact(self) -> bool:
        return self.low == self.high


def exactly(value: float) -> Span:
    """A figure that is known as it stands."""
    return Span(value, value, value)


def capacity_at(capacity_ah: float, hours: float, wanted_hours: float, kind: str | None) -> Span:
    """Capacity over wanted_hours of a battery that gives capacity_ah over hours [Ah], by Peukert (1897).

    capacity_ah: over hours [Ah]; hours: that it was rated over [h]; wanted_hours: that it is asked over [h]; kind: flooded, agm,
    gel, lfp, or None where it is not known.

    >>> [round(x) for x in (lambda s: (s.low, s.usual, s.high))(capacity_at(100.0, 20.0, 10.0, "flooded"))]
    [85, 88, 91]
    """
    values = sorted(capacity_ah * (wanted_hours / hours) ** (1.0 - 1.0 / k) for k in _peukert(kind))
    return Span(values[0], values[1], values[2])


def capacity_from_reserve(minutes: float, kind: str | None) -> Span:
    """Twenty-hour capacity of a battery with so many reserve minutes [Ah]: 25 A to 10.5 V (SAE J537), and Peukert from there.

    >>> [round(x, 1) for x in (lambda s: (s.low, s.high))(capacity_from_reserve(120.0, "agm"))]
    [55.8, 69.9]
    """
    at_25_a = minutes * TABLES["reserve"]["current_a"] / 60.0
    values = sorted(_twenty_hour(at_25_a, minutes / 60.0, k) for k in _peukert(kind))
    return Span(values[0], values[1], values[2])


def reserve_from_capacity(capacity_ah: float, hours: float, kind: str | None) -> Span:
    """Reserve minutes of a battery of so many ampere-hours over hours: the way back.

    capacity_ah: over hours [Ah]; hours: that it was rated over [h]; kind: flooded, agm, gel, lfp, or None.
    """
    current = TABLES["reserve"]["current_a"]
    values = sorted(60.0 * hours * (capacity_ah / hours / current) ** k for k in _peukert(kind))
    return Span(values[0], values[1], values[2])


def cranking_by(amperes: float, norm: str, wanted: str) -> Span:
    """Cold-cranking current by another norm [A].

    amperes: as printed [A]; norm: by which it was measured; wanted: the norm asked for; both one of NORMS.

    >>> [round(x) for x in (lambda s: (s.low, s.usual, s.high))(cranking_by(600.0, "SAE", "EN"))]
    [552, 570, 588]
    """
    if norm == wanted:
        return exactly(amperes)
    given, asked = TABLES["cranking"][norm], TABLES["cranking"][wanted]
    return Span(amperes * asked[0] / given[2], amperes * asked[1] / given[1], amperes * asked[2] / given[0])


def cranking_from_rank(rank: float) -> tuple[Span, Span]:
    """Cold-cranking current [A] and reserve minutes that a JIS performance rank leaves room for.

    Their product is known, (2.8 x rank)²; what one of them is, only as far as batteries of a rank differ.
    """
    product = (TABLES["jis"]["rank_divisor"] * rank) ** 2
    low, high = TABLES["jis"]["amperes_per_minute"]
    middle = sqrt(low * high)
    return (Span(*(sqrt(product * ratio) for ratio in (low, middle, high))),
            Span(*(sqrt(product / ratio) for ratio in (high, middle, low))))


def energy_wh(capacity_ah: float, kind: str | None) -> tuple[float, float]:
    """Watt-hours of a 12 V battery as labels count them, and how many of them it should be used for.

    >>> energy_wh(100, "agm"), energy_wh(100, "lfp")
    ((1200.0, 600.0), (1280.0, 1152.0))
    """
    table = TABLES["energy"]
    whole = capacity_ah * (table["lfp_v"] if kind == "lfp" else table["lead_v"])
    return whole, whole * (table["lfp_usable"] if kind == "lfp" else table["lead_usable"])


def _peukert(kind: str | None) -> list[float]:
    return list(TABLES["peukert"][kind or "unknown"])


def _twenty_hour(capacity_ah: float, hours: float, exponent: float) -> float:
    """Capacity over 20 h of what gave capacity_ah over hours [Ah]."""
    return float(capacity_ah * (20.0 / hours) ** (1.0 - 1.0 / exponent))
