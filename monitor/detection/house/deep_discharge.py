"""A battery that was drained below what it bears: said until it has been charged full again."""
from monitor.battery.label import Battery
from monitor.battery.limits import limits_of
from monitor.findings import ChargeFindings
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/house", "deep_discharge")
AFTER_S = P.number("after_s")


@dataclass(frozen=True, slots=True)
class Deep:
    """How long it has been below, how low it came, and since when it waits for a full charge."""

    below_s: float = 0.0
    lowest_v: float = 99.0
    since_s: float | None = None


NOTHING = Deep()


def update(deep: Deep, at_s: float, span_s: float, volts: float | None, battery: Battery, charge: ChargeFindings) -> Deep:
    """How deep it was drained, and since when: kept until it was full again.

    deep: what was seen below the limit; at_s: the log's time [s]; span_s: how long it lasted [s]; volts: voltage [V];
    battery: its label; charge: what is known of the charge.
    """
    if volts is None:
        return deep
    if volts < limits_of(battery.chemistry).deep_discharge_v:
        below_s = deep.below_s + span_s
        since_s = at_s if deep.since_s is None and below_s >= AFTER_S else deep.since_s
        return Deep(below_s, min(deep.lowest_v, volts), since_s)
    if deep.since_s is None:
        return NOTHING
    full = charge.anchor == "full" and charge.anchor_age_s is not None and charge.anchor_age_s < at_s - deep.since_s
    return NOTHING if full else replace(deep, below_s=0.0) if deep.below_s else deep
