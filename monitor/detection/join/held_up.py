"""Whether something holds the starter battery up after what looked like a stop: then it was a sag, and the engine runs on."""
from monitor.detection.join import power_direction
from monitor.detection.join.points import Point
from monitor.detection.join.power_direction import FLOWS_V
from monitor.parameters import table
from monitor.replacing import dataclass

P = table("detection/join", "held_up")
ALTERNATOR = table("battery", "alternator")
CHARGING_V, CHARGING_WELL_V = ALTERNATOR.number("charging_v"), ALTERNATOR.number("charging_well_v")
NOTHING_RESTS_ABOVE_V = ALTERNATOR.number("nothing_rests_above_v")
SINKS_V, HELD_S, LONG_S = P.number("sinks_v"), P.number("held_s"), P.number("long_s")
BACK_V, BACK_S, SOON_S = P.number("back_v"), P.number("back_s"), P.number("soon_s")


@dataclass(frozen=True, slots=True)
class HeldUp:
    """The starter voltage since a stop: its lowest, and since when it has stayed where nothing rests."""

    lowest_v: float | None = None
    from_v: float | None = None         # it has not sunk below this, but for sinks_v, ...
    for_s: float = 0.0                  # ... for so long


def update(held: HeldUp, point: Point) -> HeldUp:
    """After one more point with the engine not seen running."""
    volts = point.starter_v
    lowest = volts if held.lowest_v is None else min(held.lowest_v, volts)
    if volts < NOTHING_RESTS_ABOVE_V:
        return held if lowest == held.lowest_v and held.from_v is None and not held.for_s else HeldUp(lowest)
    if held.from_v is None or volts < held.from_v - SINKS_V:
        return HeldUp(lowest, volts)
    return HeldUp(lowest, volts if volts > held.from_v + SINKS_V else held.from_v, held.for_s + point.span_s)


def engine_runs_on(held: HeldUp, point: Point, stopped_s: float | None) -> bool:
    """Whether only an alternator explains the voltage: surface charge sinks, and no battery rests so high.

    held: the voltage since what looked like a stop; point: the latest; stopped_s: when that was on the log's time [s],
    None: no run was seen. A house battery that is charged and joined could hold it up as well; then nothing is said.
    """
    if stopped_s is None or held.lowest_v is None or held.from_v is None:
        return False
    if held.lowest_v < CHARGING_V and point.at_s - stopped_s > SOON_S:
        return False                # it rested in between: a charger of its own could have been plugged in
    if power_direction.is_near(point) and point.house_v is not None and point.starter_v < point.house_v + FLOWS_V:
        return False
    if held.for_s >= (HELD_S if held.from_v > CHARGING_WELL_V else LONG_S):
        return True
    return point.starter_v > held.lowest_v + BACK_V and held.for_s >= BACK_S


def is_sag(held: HeldUp) -> bool:
    """Whether the voltage never went where a battery rests: a regulator under load, not one turned down."""
    return held.lowest_v is not None and held.lowest_v >= CHARGING_V
