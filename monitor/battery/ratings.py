"""What a battery gives at another rate, temperature or state of charge: published relations.

None of them is ever booked as charge removed: charge that a high rate leaves behind can be drawn
later at a lower one (Doerffel and Sharkh, J. Power Sources 155 (2006) 395; Manwell and McGowan,
Solar Energy 50 (1993) 399). They limit what is reachable now.

Sources
-------
[1] Peukert, Elektrotechnische Zeitschrift 18 (1897) 287.
[2] IEC 60896-21 (from memory): 0.006 per kelvin for long discharges, 0.010 for one to three hours.
[3] IEEE 485, table 1, and IEEE 450, table of time-adjusted factors (public reprints), 25 °C base.
"""
from bisect import bisect_right

from monitor.parameters import table


def reachable_frac(capacity_ah: float, rated_hours: float, current_a: float, exponent: float) -> float:
    """Part of the rated capacity that can be had at a steady current; never more than all of it.

    Below the rated current the formula would promise more than there is.
    capacity_ah: what it gives at its rated rate [Ah]; rated_hours: hours of discharge the label's capacity is for; current_a: the
    discharge [A]; exponent: Peukert's exponent.
    """
    if current_a <= 0:
        return 1.0
    reached: float = (capacity_ah / (current_a * rated_hours)) ** (exponent - 1.0)
    return min(reached, 1.0)


def warmth_factor(temperature_c: float, per_k: float = 0.006, reference_c: float = 25.0) -> float:
    """Capacity at a temperature over that at the reference [2].

    temperature_c: of the battery [°C]; per_k: part per kelvin [1/K]; reference_c: temperature the capacity is for [°C].
    """
    return 1.0 + per_k * (temperature_c - reference_c)


P = table("battery", "ratings")
#: °C, and the factor by which a battery for a cold place must be larger [3].
SIZING = tuple(((f - 32.0) / 1.8, k) for f, k in P.numbers("sizing_f"))
#: °C, and the factor of a capacity test by the time-adjusted method [3]; not the inverse of the other.
TESTING = tuple(((f - 32.0) / 1.8, k) for f, k in P.numbers("testing_f"))


def from_table(rows: tuple[tuple[float, float], ...], temperature_c: float) -> float:
    """A factor between the rows of a table; the end rows hold beyond it."""
    at = [c for c, _ in rows]
    i = min(max(bisect_right(at, temperature_c), 1), len(rows) - 1)
    (c0, k0), (c1, k1) = rows[i - 1], rows[i]
    share = min(max((temperature_c - c0) / (c1 - c0), 0.0), 1.0)
    return k0 + share * (k1 - k0)
