"""Limits that a start is held against, by temperature."""
from itertools import pairwise

from monitor.parameters import table

P = table("detection/starter", "crank_limits")
LOAD_TEST = P.numbers("load_test")
LOWEST_MARGIN_V, LOWEST_SPAN_V = P.number("lowest_margin_v"), P.number("lowest_span_v")
BORDER_D, WEAK_D, REST_V = P.number("border_d"), P.number("weak_d"), P.number("rest_v")


def load_test_v(temperature_c: float) -> float:
    """Lowest voltage expected of a sound battery under load at this temperature [V]; ends are held."""
    if temperature_c <= LOAD_TEST[0][0]:
        return LOAD_TEST[0][1]
    for (t0, v0), (t1, v1) in pairwise(LOAD_TEST):
        if temperature_c <= t1:
            return v0 + (v1 - v0) * (temperature_c - t0) / (t1 - t0)
    return LOAD_TEST[-1][1]


def d_scale(limit_v: float) -> float:
    """How much larger a drop ratio the cold allows: that of the table's limit against its warm end."""
    return (REST_V / limit_v - 1) / (REST_V / LOAD_TEST[-1][1] - 1)
