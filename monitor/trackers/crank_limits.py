"""Limits that a start is held against, by temperature."""

#: Lowest voltage a sound battery keeps at half its cold-cranking current for 15 s; the load-test
#: table of battery service manuals (BCI; from memory, two versions in print differ by up to 0.5 V
#: at -18 °C, this is the higher) [°C, V].
LOAD_TEST = ((-18.0, 8.5), (-12.0, 8.7), (-7.0, 8.9), (-1.0, 9.1), (4.0, 9.3), (10.0, 9.4), (16.0, 9.5), (20.0, 9.6))
#: Drop ratio (before - plateau) / plateau in the warm: a sound battery turns the engine at 10 to
#: 11 V at the lowest and some 11 to 12 V on the plateau (common practice), that is below 0.13;
#: at 0.22 the plateau is near 10 V from a good rest and the lowest near 9 V.
BORDER_D, WEAK_D = 0.128, 0.215


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
