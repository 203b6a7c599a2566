"""Which side feeds which: signs of a running engine in the house current and the voltages across the join."""
from monitor.detection.join.alternator_control import SUDDEN_S
from monitor.detection.join.points import Point
from monitor.parameters import table

P = table("detection/join", "power_direction")
NEAR_V, NEAR_OHM = P.number("near_v"), P.number("near_ohm")
FEEDS_V = P.number("feeds_v")
FEED_RISE_V = P.number("feed_rise_v")
FLOWS_A, FLOWS_V = P.number("flows_a"), P.number("flows_v")
DC_FEEDS_A = P.number("dc_feeds_a")


def is_near(point: Point) -> bool:
    """Whether the two voltages lie as close as a joined path lets them."""
    return point.house_v is not None and (
        abs(point.starter_v - point.house_v) < NEAR_V + NEAR_OHM * abs(point.house_a or 0.0))


def begins_to_feed(last: tuple[Point, ...]) -> bool:
    """Whether current has just begun to flow from a lifted starter into the house: only an engine pushes that way."""
    point = last[-1]
    recent = [(p.starter_v, p.house_a) for p in last[:-1]
              if p.at_s > point.at_s - SUDDEN_S - point.span_s and p.house_a is not None]
    if not recent or point.house_a is None or point.house_v is None or point.starter_v < point.house_v + FLOWS_V:
        return False
    least_v = min(starter_v for starter_v, _ in recent)
    return point.starter_v - least_v > FEED_RISE_V and point.house_a - min(house_a for _, house_a in recent) > FLOWS_A


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
