"""When the relay of this vehicle lets go after a stop: as its owner says, else as its stops have shown."""
from monitor.battery.label import Vehicle
from monitor.detection.join.join_record import JoinRecord
from monitor.parameters import table

P = table("detection/join", "relay_release")
RELAY = table("battery", "relay")
LETS_GO_HIGH_V, LETS_GO_WITHIN_S = RELAY.number("holds_above_v"), P.number("lets_go_within_s")
LET_GO_V, LET_GO_BOTH_V = P.number("let_go_v"), P.number("let_go_both_v")
LET_GO_MARGIN_V, LET_GO_LEAST_V, LET_GO_MOST_V = P.numbers("let_go_margin_v"), P.number("let_go_least_v"), P.number("let_go_most_v")


def after_stop(record: JoinRecord, starter_v: float, vehicle: Vehicle) -> str:
    """What this vehicle's relay does when the engine stops, by its earlier stops: open, closed (it holds on) or unknown.

    record: what runs and stops have shown; starter_v: starter battery's voltage [V]; vehicle: what its owner said of it.
    """
    if opens_with_engine(record, vehicle):
        return "open"
    return "closed" if record.opened and starter_v > LETS_GO_HIGH_V else "unknown"


def opens_with_engine(record: JoinRecord, vehicle: Vehicle) -> bool:
    """Whether this relay ever opens with the engine: as configured, else as seen once."""
    if vehicle.isolator_follows != "unknown":
        return vehicle.isolator_follows == "engine"
    return record.lets_go > 0


def follows_engine(record: JoinRecord, vehicle: Vehicle) -> bool:
    """Whether this relay opens with the engine: as configured, else as seen twice after a stop, and seldom otherwise."""
    if vehicle.isolator_follows != "unknown":
        return vehicle.isolator_follows == "engine"
    return record.lets_go >= 2 and record.lets_go > record.opened - record.lets_go


def release_voltage_v(record: JoinRecord) -> float:
    """Below this voltage of both batteries this vehicle's relay should have let go [V].

    A relay found open late seems to have held on to a lower voltage than it did, one that was called open too early to a
    higher: so the middle of its stops is taken, the lower of two.
    """
    seen = sorted(record.released_v)
    if not seen:
        return LET_GO_BOTH_V if record.house_joins else LET_GO_V
    margin_v = LET_GO_MARGIN_V[min(len(seen), len(LET_GO_MARGIN_V)) - 1]
    return max(LET_GO_LEAST_V, min(LET_GO_MOST_V, seen[(len(seen) - 1) // 2] - margin_v))
