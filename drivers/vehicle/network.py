"""Volts and amperes of one step: two batteries, sources with a voltage limit, and the path between.

Each battery is a straight line V = e + r I (I into it). A source gives what it can until its bus
reaches the voltage it regulates to; then only what holds that voltage.
"""


def alone(e: float, r: float, load_a: float, most_a: float, limit_v: float) -> tuple[float, float]:
    """One battery, a load and one regulated source: battery current and source current [A].

    e: electromotive force [V]; r: inner resistance [ohm]; load_a: drawn beside it [A]; most_a: the source's limit of current [A];
    limit_v: the voltage it does not exceed [V].
    """
    current = most_a - load_a
    if most_a <= 0.0 or e + r * current <= limit_v:
        return current, most_a
    source = (limit_v - e) / r + load_a
    if source < 0.0:
        source = 0.0
    return source - load_a, source


def two_sources(e: float, r: float, load_a: float, first: tuple[float, float],
                second: tuple[float, float]) -> tuple[float, float, float]:
    """One battery, a load and two sources (most_a, limit_v): battery current and both source currents [A].

    The source with the lower limit gives way first.

    e: electromotive force [V]; r: inner resistance [ohm]; load_a: drawn beside it [A]; first, second: limit of current [A] and of
    voltage [V] of each.
    """
    if first[1] > second[1]:
        current, b, a = two_sources(e, r, load_a, second, first)
        return current, a, b
    current, a = alone(e, r, load_a - second[0], *first)
    if a > 0.0 or e + r * current <= second[1]:
        return current, a, second[0]
    current, b = alone(e, r, load_a, *second)
    return current, 0.0, b


def solve_joined(house: tuple[float, float], starter: tuple[float, float], path_ohm: float, house_load_a: float,
                 starter_load_a: float, sun: tuple[float, float], alternator: tuple[float, float],
                 ) -> tuple[float, float, float, float]:
    """Both batteries with the path closed: house and starter battery current, sun and alternator current [A].

    sun and alternator are (most_a, limit_v); the sun feeds the house side, the alternator the starter side.

    house, starter: electromotive force [V] and inner resistance [ohm]; path_ohm: relay and cables between them [ohm]; house_load_a,
    starter_load_a: drawn on either side [A]; sun, alternator: limit of current [A] and of voltage [V].
    """
    (eh, rh), (es, rs) = house, starter
    gh, gs, gp = 1.0 / rh, 1.0 / rs, 1.0 / path_ohm
    most_sun, sun_v = sun
    most_alt, alt_v = alternator

    def free(sun_a: float, alt_a: float) -> tuple[float, float]:
        """Both bus voltages with given source currents."""
        a, b = gh * eh + sun_a - house_load_a, gs * es + alt_a - starter_load_a
        det = (gh + gp) * (gs + gp) - gp * gp
        return ((gs + gp) * a + gp * b) / det, ((gh + gp) * b + gp * a) / det

    sun_a, alt_a = most_sun, most_alt
    vh, vs = free(sun_a, alt_a)
    for _ in range(4):
        if most_alt > 0.0 and (vs > alt_v + 1e-9 or (alt_a < most_alt and vs < alt_v - 1e-9)):
            # hold the starter bus; the house bus follows from the rest
            vh = (gh * eh + sun_a - house_load_a + gp * alt_v) / (gh + gp)
            alt_a = min(max(starter_load_a - gs * (es - alt_v) - gp * (vh - alt_v), 0.0), most_alt)
            vh, vs = free(sun_a, alt_a)
        if most_sun > 0.0 and (vh > sun_v + 1e-9 or (sun_a < most_sun and vh < sun_v - 1e-9)):
            vs = (gs * es + alt_a - starter_load_a + gp * sun_v) / (gs + gp)
            sun_a = min(max(house_load_a - gh * (eh - sun_v) - gp * (vs - sun_v), 0.0), most_sun)
            vh, vs = free(sun_a, alt_a)
        else:
            break
    return gh * (vh - eh), gs * (vs - es), sun_a, alt_a
