"""Limits that a start is held against, by temperature."""

#: Lowest voltage a sound battery keeps at half its cold-cranking current for 15 s; the load-test
#: table of battery service manuals (BCI; from memory, two versions in print differ by up to 0.5 V
#: at -18 °C, this is the higher) [°C, V].
LOAD_TEST = ((-18.0, 8.5), (-12.0, 8.7), (-7.0, 8.9), (-1.0, 9.1), (4.0, 9.3), (10.0, 9.4), (16.0, 9.5), (20.0, 9.6))
#: The lowest voltage of a real start includes the inrush of a motor that stands still. Practice: 10 to
#: 11 V is usual, 9.6 V in the warm the limit. So healthy ends this far above the table, and weak begins
#: this much lower [V]; what lies between is borderline.
LOWEST_MARGIN_V, LOWEST_SPAN_V = 0.45, 0.9
#: Drop ratio (before - plateau) / plateau in the warm. From 12.7 V at rest the two limits are
#: plateaus of 11.2 V and 10.4 V: those of the lowest voltage with half of the inrush taken off.
BORDER_D, WEAK_D = 0.135, 0.225


def load_test_v(temperature_c: float) -> float:
    """Lowest voltage expected of a sound battery under load at this temperature [V]; ends are held."""
    if temperature_c <= LOAD_TEST[0][0]:
        return LOAD_TEST[0][1]
    for (t0, v0), (t1, v1) in zip(LOAD_TEST, LOAD_TEST[1:]):
        if temperature_c <= t1:
            return v0 + (v1 - v0) * (temperature_c - t0) / (t1 - t0)
    return LOAD_TEST[-1][1]


def d_scale(limit_v: float) -> float:
    """How much larger a drop ratio the cold allows: that of the table's limit against its warm end."""
    return (12.6 / limit_v - 1) / (12.6 / 9.6 - 1)
