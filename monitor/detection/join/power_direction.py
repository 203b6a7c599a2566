"""Which side feeds which: signs of a running engine in the house current and the voltages across the join."""
from monitor.detection.join.alternator_control import SUDDEN_S
from monitor.detection.join.points import Point

#: Two voltages are near each other within this, and more under current [V, ohm].
NEAR_V, NEAR_OHM = 0.12, 0.03
#: An engine that starts while the batteries are joined lifts the starter this much further above the house [V].
FEEDS_V = 0.03
#: With such a current the starter need only be lifted by this much [V].
FEED_RISE_V = 0.15
#: Current begins to flow from starter to house: at least this much more [A], the starter this much above [V].
FLOWS_A, FLOWS_V = 3.0, 0.04
#: A DC-DC charger begins to feed the house by at least this much [A].
DC_FEEDS_A = 5.0


def is_near(point: Point) -> bool:
    """Whether the two voltages lie as close as a joined path lets them."""
    return point.house_v is not None and (
        abs(point.starter_v - point.house_v) < NEAR_V + NEAR_OHM * abs(point.house_a or 0.0))


def begins_to_feed(last: tuple[Point, ...]) -> bool:
    """Whether current has just begun to flow from a lifted starter into the house: only an engine pushes that way."""
    point = last[-1]
    recent = [p for p in last[:-1] if p.at_s > point.at_s - SUDDEN_S - point.span_s and p.house_a is not None]
    if not recent or point.house_a is None or point.house_v is None or point.starter_v < point.house_v + FLOWS_V:
        return False
    least = min(recent, key=lambda p: p.starter_v)
    return (point.starter_v - least.starter_v > FEED_RISE_V and point.house_v is not None
            and point.house_a - min(p.house_a for p in recent) > FLOWS_A)


def is_fed_suddenly(last: tuple[Point, ...]) -> bool:
    """Whether the house has just begun to be charged: beside a step of the starter, by the DC-DC charger."""
    point = last[-1]
    recent = [p.house_a for p in last[:-1] if p.at_s > point.at_s - SUDDEN_S - point.span_s and p.house_a is not None]
    return bool(recent) and point.house_a is not None and (
        point.house_a > DC_FEEDS_A and point.house_a - min(recent) > DC_FEEDS_A)


def is_fed_more(before: Point, point: Point) -> bool:
    """Whether the starter has come to lie further above the house: its side feeds the join now."""
    if point.house_v is None or before.house_v is None:
        return True
    return (point.starter_v - point.house_v) - (before.starter_v - before.house_v) > FEEDS_V
