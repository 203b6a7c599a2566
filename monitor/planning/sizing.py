"""A first system from a list of loads and a place, before there is any log."""
from monitor.battery import ratings
from monitor.battery.limits import USED_UP_FRAC

#: The label's temperature [°C] (definition).
REFERENCE_C = 25.0


def battery_with_margins(daily_ah: float, days: float, depth_frac: float, temperature_c: float, margin_frac: float = 0.10,
                         end_of_life_frac: float = USED_UP_FRAC) -> float:
    """Rated capacity needed, with end of life, cold and margin [Ah]: the form of IEEE 1013 (from memory).

    daily_ah: need of a day [Ah]; days: days without sun; depth_frac: depth of discharge, 0 to 1;
    temperature_c: where the battery stands [°C]; margin_frac: design margin, as a part; end_of_life_frac: capacity at the end of
    life, as a part.

    >>> round(battery_with_margins(40, 3, 0.5, 10.0), 1)
    392.7
    """
    _above_zero(daily_ah=daily_ah, days=days, depth_frac=depth_frac, end_of_life_frac=end_of_life_frac)
    return daily_ah * days / depth_frac / end_of_life_frac * sizing_factor(temperature_c) * (1 + margin_frac)


def sizing_factor(temperature_c: float) -> float:
    """Factor by which a battery at this temperature must be larger (IEEE 485, straight between rows)."""
    return ratings.from_table(ratings.SIZING, temperature_c)


def array_output_wh(daily_wh: float, round_trip_frac: float = 0.85) -> float:
    """What the panels must give in a day for the loads and the battery's own losses [Wh]."""
    return daily_wh / round_trip_frac


def _above_zero(**figures: float) -> None:
    for name, value in figures.items():
        if not value > 0:
            raise ValueError(f"{name} is {value:g}: it must be above 0")
