"""A first system from a list of loads and a place, before there is any log."""
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, cos, exp, pi, radians, sin

from monitor.battery.limits import USED_UP_FRAC

#: IEEE 485 cell-sizing factor by temperature [°F]: divide what a cold battery must give (public reprint).
SIZING_FACTOR_F = (
    (25, 1.520), (30, 1.430), (35, 1.350), (40, 1.300), (45, 1.250), (50, 1.190), (55, 1.150), (60, 1.110), (65, 1.080),
    (68, 1.056), (70, 1.040), (75, 1.011), (77, 1.000), (80, 0.980), (85, 0.960), (90, 0.940), (95, 0.930),
    (100, 0.910), (110, 0.880), (120, 0.860))
#: The label's temperature [°C] (definition).
REFERENCE_C = 25.0


@dataclass(frozen=True, slots=True)
class Load:
    """One consumer: watts while on, hours a day."""

    name: str
    power_w: float
    hours_per_day: float


@dataclass(frozen=True, slots=True)
class BatterySize:
    """A battery as a worksheet sizes it."""

    daily_ah: float
    needed_ah: float
    parallel: int
    series: int
    chosen_ah: float
    energy_wh: float
    mean_daily_depth_frac: float


def daily_energy_wh(loads: list[Load]) -> float:
    """Energy that the loads take in a day [Wh]."""
    return sum(load.power_w * load.hours_per_day for load in loads)


def battery(daily_wh: float, system_v: float, days: float, depth_frac: float, unit_ah: float | None = None,
            unit_v: float = 12.0, sunless_share: float = 0.75) -> BatterySize:
    """The battery for so many days without sun, down to depth_frac, in whole units where given.

    The way of the published stand-alone worksheets (Sandia, Stand-Alone Photovoltaic Systems: A Handbook
    of Recommended Design Practices, worksheet 2): Ah a day x days / depth, then whole strings.
    sunless_share is the part of a day's need that the battery itself carries.
    daily_wh: need of a day [Wh]; system_v: system voltage [V]; unit_ah: capacity of one battery [Ah]; unit_v: voltage of one
    battery [V]; days: without sun to be carried; depth_frac: how deep it may go, 0 to 1; sunless_share: part of a day's need that
    the battery carries, 0 to 1.
    """
    _above_zero(daily_wh=daily_wh, system_v=system_v, days=days, depth_frac=depth_frac)
    daily_ah = daily_wh / system_v
    needed = daily_ah * days / depth_frac
    parallel = ceil(needed / unit_ah - 1e-9) if unit_ah else 1
    series = max(round(system_v / unit_v), 1)
    chosen = parallel * unit_ah if unit_ah else needed
    return BatterySize(daily_ah, needed, parallel, series, chosen, chosen * system_v, sunless_share * daily_ah / chosen)


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
    fahrenheit = temperature_c * 9 / 5 + 32
    rows = SIZING_FACTOR_F
    if fahrenheit <= rows[0][0]:
        return rows[0][1]
    for (low, a), (high, b) in pairwise(rows):
        if fahrenheit <= high:
            return a + (b - a) * (fahrenheit - low) / (high - low)
    return rows[-1][1]


def array_output_wh(daily_wh: float, round_trip_frac: float = 0.85) -> float:
    """What the panels must give in a day for the loads and the battery's own losses [Wh]."""
    return daily_wh / round_trip_frac


def clear_sky_wh_m2(latitude_deg: float, day_of_year: int) -> float:
    """Energy of a cloudless day on level ground [Wh/m2]: an upper bound, not a forecast.

    Haurwitz (1945): 1098 sin(h) exp(-0.057 / sin(h)) W/m2 at solar elevation h; declination by
    Spencer (1971), whose series is good to 0.04 degrees.
    """
    if not -90 <= latitude_deg <= 90:
        raise ValueError(f"latitude_deg is {latitude_deg:g}: it must lie between -90 and 90")
    g = 2 * pi * (day_of_year - 1) / 365
    declination = (0.006918 - 0.399912 * cos(g) + 0.070257 * sin(g) - 0.006758 * cos(2 * g) + 0.000907 * sin(2 * g)
                   - 0.002697 * cos(3 * g) + 0.00148 * sin(3 * g))
    phi, total = radians(latitude_deg), 0.0
    for step in range(288):
        angle = (step + 0.5) / 288 * 2 * pi - pi
        height = sin(phi) * sin(declination) + cos(phi) * cos(declination) * cos(angle)
        if height > 0.01:
            total += 1098 * height * exp(-0.057 / height) / 12
    return total


def _above_zero(**figures: float) -> None:
    for name, value in figures.items():
        if not value > 0:
            raise ValueError(f"{name} is {value:g}: it must be above 0")
