"""What stands behind a circuit: a battery or a fused panel, and the short-circuit current it can push."""
from dataclasses import dataclass

from monitor.circuits.tables import BATTERIES

#: Batteries that this sheet knows [Ah, CCA, number in parallel]: wider than any vehicle's.
CAPACITY_LIMITS_AH, CRANKING_LIMITS_A, COUNT_LIMITS, SHORT_LIMITS_A = (1.0, 5000.0), (50.0, 5000.0), (1, 20), (50.0, 100_000.0)


@dataclass(frozen=True, slots=True)
class Supply:
    """What feeds a circuit.

    name : of the battery or panel
    short_circuit_a : prospective current where the circuit's fuse sits [A]
    behind_main : a main fuse that can break the battery's whole short-circuit current stands before it
    basis : how the current is known, for the sheet
    drop_v : lost already on the way there [V]
    count : batteries in parallel
    """

    name: str
    short_circuit_a: float
    behind_main: bool = False
    basis: str = ""
    drop_v: float = 0.0
    count: int = 1

    @property
    def resistance_ohm(self) -> float:
        """Resistance behind the fuse [ohm]."""
        return float(BATTERIES["short_circuit"]["open_v"]) / self.short_circuit_a


#: Where nothing is known of the battery.
UNKNOWN = Supply("battery", 10_000.0, basis="nothing is known of the battery, so 10 kA are assumed")


def battery_supply(name: str, chemistry: str, capacity_ah: float | None = None, cranking_a: float | None = None,
            short_circuit_a: float | None = None, count: int = 1) -> Supply:
    """A battery, or several in parallel, as a source.

    chemistry : flooded, agm, gel or lfp
    capacity_ah : rated capacity of ONE of them [Ah]; cranking_a : its cold-cranking amperes (SAE) [A]
    short_circuit_a : its maker's short-circuit current [A], which counts before any estimate
    count : batteries in parallel: their currents add up
    name : what a message calls it

    Raises
    ------
    ValueError : a figure out of its limits, or none given
    """
    for what, value, (low, high), unit in (
            ("capacity", capacity_ah, CAPACITY_LIMITS_AH, "Ah"), ("cold-cranking current", cranking_a, CRANKING_LIMITS_A, "A"),
            ("short-circuit current", short_circuit_a, SHORT_LIMITS_A, "A"), ("number in parallel", count, COUNT_LIMITS, "")):
        if value is not None and not low <= value <= high:
            raise ValueError(f"{name}: {what} is {value:g} {unit}".rstrip() + f": it must lie between {low:g} and {high:g}, as batteries "
                f"of vehicles do")
    if short_circuit_a is not None:
        return Supply(name, count * short_circuit_a, basis="as its maker says", count=count)
    table = BATTERIES["short_circuit"]
    if cranking_a is not None:
        warm_ohm = table["warm_ratio"] * (table["cold_open_v"] - table["cold_end_v"]) / cranking_a
        return Supply(name, count * table["open_v"] / warm_ohm, basis="estimated from its cold-cranking current", count=count)
    if capacity_ah is None:
        raise ValueError(f"{name}: give its capacity, its cold-cranking current or its short-circuit current")
    if chemistry not in BATTERIES["per_ah"]:
        raise ValueError(f"{name}: chemistry {chemistry!r} is not known; write flooded, agm, gel or lfp")
    return Supply(name, count * capacity_ah * BATTERIES["per_ah"][chemistry], basis="estimated from its capacity", count=count)


def panel_supply(name: str, behind: Supply, feed_ohm: float, main_breaks: bool, drop_v: float = 0.0) -> Supply:
    """A fused panel as a source, behind a cable from a battery.

    behind : the battery; feed_ohm : loop of the feeding cable, cold [ohm]
    main_breaks : the fuse before it can break the battery's short-circuit current
    drop_v : on the way there, under load [V]
    name : what a message calls it
    """
    volts = BATTERIES["short_circuit"]["open_v"]
    return Supply(name, volts / (behind.resistance_ohm + feed_ohm), main_breaks, f"behind its feed from {behind.name}", drop_v)
