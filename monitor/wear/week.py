"""What one week showed of the house battery: the record that health is judged on."""
from dataclasses import fields
from typing import Any

from monitor.findings import Event
from monitor.replacing import dataclass

#: The kind of the event that keeps a week in the log for good, whatever becomes of the trackers.
WEEK_EVENT = "battery_week"


@dataclass(frozen=True, slots=True)
class Week:
    """What one week showed. A figure that was not to be had is None."""

    start_s: float
    resistance_ohm: float | None = None         # at 25 °C, brought to a full battery
    resistance_sigma_ohm: float | None = None
    capacity_ah: float | None = None
    capacity_low_ah: float | None = None        # its 95 % interval, which need not be symmetric
    capacity_high_ah: float | None = None
    temperature_c: float | None = None
    lowest_frac: float = 1.0
    highest_frac: float = 0.0
    charge_out_ah: float = 0.0
    fulls: int = 0
    empties_above_frac: float = 0.0             # highest charge believed when the battery proved empty


def event(week: Week, at_s: float) -> Event:
    """A closed week as an event of the log; what was not to be had is left out."""
    parts = []
    if week.capacity_ah is not None:
        parts.append(f"capacity {week.capacity_ah:.0f} Ah")
    if week.resistance_ohm is not None:
        parts.append(f"resistance {1000 * week.resistance_ohm:.1f} mΩ")
    parts.append(f"{week.charge_out_ah:.0f} Ah taken out")
    figures = tuple((f.name, float(value)) for f in fields(week) if (value := getattr(week, f.name)) is not None)
    return Event(at_s, WEEK_EVENT, "house", f"A week of the house battery went into its record: {', '.join(parts)}.", figures)


def of_event(told: Event) -> Week:
    """The week that event() put into the log; figures of other versions are passed over.

    >>> of_event(event(Week(0.0, capacity_ah=80.0), 604800.0)).capacity_ah
    80.0
    """
    names = {f.name for f in fields(Week)}
    given: dict[str, Any] = {name: value for name, value in told.figures if name in names}
    return Week(**({"start_s": told.at_s} | given | {"fulls": int(given.get("fulls", 0))}))
