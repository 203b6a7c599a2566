"""What one week showed of the house battery: the record that health is judged on."""
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Week:
    """What one week showed. A figure that was not to be had is None."""

    start_s: float
    resistance_ohm: float | None = None         # at 25 °C, brought to a full battery
    resistance_sigma_ohm: float | None = None
    capacity_ah: float | None = None
    capacity_sigma_ah: float | None = None
    temperature_c: float | None = None
    lowest_frac: float = 1.0
    highest_frac: float = 0.0
    charge_out_ah: float = 0.0
    fulls: int = 0
    empties_above_frac: float = 0.0             # highest charge believed when the battery proved empty
