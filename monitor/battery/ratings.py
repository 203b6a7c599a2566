"""What a battery gives at another rate, temperature or state of charge: published relations.

None of them is ever booked as charge removed: charge that a high rate leaves behind can be drawn
later at a lower one (Doerffel and Sharkh, J. Power Sources 155 (2006) 395; Manwell and McGowan,
Solar Energy 50 (1993) 399). They limit what is reachable now.

Sources
-------
[1] Peukert, Elektrotechnische Zeitschrift 18 (1897) 287.
[2] IEC 60896-21 (from memory): 0.006 per kelvin for long discharges, 0.010 for one to three hours.
[3] Copetti, Lorenzo and Chenlo, Progress in Photovoltaics 1 (1993) 283 (from memory).
[4] Ceraolo, IEEE Trans. Power Systems 15 (2000) 1184 (from memory).
[5] IEEE 485, table 1, and IEEE 450, table of time-adjusted factors (public reprints), 25 °C base.
"""
from bisect import bisect_right
from math import exp, log

from monitor.parameters import table


def peukert_hours(capacity_ah: float, rated_hours: float, current_a: float, exponent: float) -> float:
    """How long a full battery lasts at a current [h]: t = H (C / (I H))^k [1].

    capacity_ah is what it gives over rated_hours; current_a is positive here.
    """
    stretch: float = (capacity_ah / (current_a * rated_hours)) ** exponent
    return rated_hours * stretch


def peukert_exponent(current_1_a: float, hours_1: float, current_2_a: float, hours_2: float) -> float:
    """The exponent between two discharges of one battery [1]."""
    return log(hours_1 / hours_2) / log(current_2_a / current_1_a)


def reachable_frac(capacity_ah: float, rated_hours: float, current_a: float, exponent: float) -> float:
    """Part of the rated capacity that can be had at a steady current; never more than all of it.

    Below the rated current the formula would promise more than there is.
    """
    if current_a <= 0:
        return 1.0
    reached: float = (capacity_ah / (current_a * rated_hours)) ** (exponent - 1.0)
    return min(reached, 1.0)


def warmth_factor(temperature_c: float, per_k: float = 0.006, reference_c: float = 25.0) -> float:
    """Capacity at a temperature over that at the reference [2]."""
    return 1.0 + per_k * (temperature_c - reference_c)


def rate_factor(current_over_10h: float, temperature_c: float = 25.0) -> float:
    """Capacity over the 10 h capacity at a multiple of the 10 h current [3]."""
    raised: float = current_over_10h**0.9
    return 1.67 / (1.0 + 0.67 * raised) * (1.0 + 0.005 * (temperature_c - 25.0))


def charge_efficiency(current_over_10h: float, charge_frac: float) -> float:
    """Part of a charging current that is stored, at a multiple of the 10 h current [3]."""
    return 1.0 - exp(20.73 / (current_over_10h + 0.55) * (charge_frac - 1.0))


def ceraolo_capacity_ah(
    current_a: float, temperature_c: float, reference_ah: float = 261.9, reference_a: float = 49.0,
) -> float:
    """Capacity of the 500 Ah battery of [4] at a current and temperature above -40 °C [Ah]."""
    gain = 1.18
    warm: float = (1.0 + temperature_c / 40.0) ** 1.29
    drawn: float = (current_a / reference_a) ** 1.40
    return gain * reference_ah * warm / (1.0 + (gain - 1.0) * drawn)


P = table("battery", "ratings")
#: °C, and the factor by which a battery for a cold place must be larger [5].
SIZING = tuple(((f - 32.0) / 1.8, k) for f, k in P.numbers("sizing_f"))
#: °C, and the factor of a capacity test by the time-adjusted method [5]; not the inverse of the other.
TESTING = tuple(((f - 32.0) / 1.8, k) for f, k in P.numbers("testing_f"))


def from_table(rows: tuple[tuple[float, float], ...], temperature_c: float) -> float:
    """A factor between the rows of a table; the end rows hold beyond it."""
    at = [c for c, _ in rows]
    i = min(max(bisect_right(at, temperature_c), 1), len(rows) - 1)
    (c0, k0), (c1, k1) = rows[i - 1], rows[i]
    share = min(max((temperature_c - c0) / (c1 - c0), 0.0), 1.0)
    return k0 + share * (k1 - k0)


def tested_capacity_frac(hours: float, rated_hours: float, temperature_c: float) -> float:
    """Capacity found by a discharge at the rated current, over the rating, corrected to 25 °C [5]."""
    return hours / (rated_hours * from_table(TESTING, temperature_c))
