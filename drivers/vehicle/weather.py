"""Air, sky and sun over the vehicle: temperature by day and hour, clouds in spells, light on a flat panel.

The sun's height follows from latitude, day of year and hour (declination after Cooper, Solar Energy
12 (1969) 333); a clear sky's light on the flat after Haurwitz, J. Meteorology 2 (1945) 154.
"""
from math import asin, cos, exp, pi, sin
from random import Random

from drivers.vehicle.plan import Plan


def sun_height_sin(latitude_deg: float, day_of_year: float, solar_hour: float) -> float:
    """Sine of the sun's height above the horizon; negative at night.

    latitude_deg: north positive [°]; day_of_year: 1 to 366; solar_hour: 12 at noon [h].
    """
    tilt = 23.45 * pi / 180.0 * sin(2.0 * pi * (284.0 + day_of_year) / 365.0)
    place = latitude_deg * pi / 180.0
    return sin(place) * sin(tilt) + cos(place) * cos(tilt) * cos(pi * (solar_hour - 12.0) / 12.0)


def clear_sky_w_per_m2(height_sin: float) -> float:
    """Sunlight on a level square metre under a clear sky [W/m2]."""
    return 1098.0 * height_sin * exp(-0.057 / height_sin) if height_sin > 0.01 else 0.0


class Weather:
    """Air temperature and light, drawn afresh every tick from one seeded source of chance."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._random = Random(f"{plan.seed}/weather")
        self._day = -1
        self._warmer_c = 0.0
        self._cover = 1.0
        self._veil = 0.0
        self._ordered = False
        self._kind = "clear" if self._random.random() < plan.clear_share else "mixed"
        self.air_c = plan.mean_temperature_c
        self.light_w_per_m2 = 0.0
        self.sunset_hour = 19.0

    def tick(self, at_s: float, tick_s: float) -> None:
        """Move to at_s, which lies tick_s after the tick before."""
        plan = self._plan
        hours = plan.start_hour + at_s / 3600.0
        day, hour = int(hours // 24.0), hours % 24.0
        if day != self._day:
            self._day = day
            self._begin_day(day)
        r = self._random
        keep = exp(-tick_s / 2400.0)
        depth = {"clear": 0.06, "mixed": 0.32, "dull": 0.16}[self._kind]
        self._veil = keep * self._veil + (1.0 - keep * keep) ** 0.5 * depth * r.gauss(0.0, 1.0)
        through = min(max(self._cover + self._veil, 0.06), 1.04)
        height = sun_height_sin(plan.latitude_deg, plan.day_of_year + day, hour)
        light = clear_sky_w_per_m2(height) * through
        if hour < plan.shade_until_hour:
            light *= 0.25
        self.light_w_per_m2 = light
        wave = cos(2.0 * pi * (hour - 15.0) / 24.0) + 0.22 * cos(4.0 * pi * (hour - 14.0) / 24.0)
        self.air_c = plan.mean_temperature_c + self._warmer_c + 0.5 * plan.swing_c * self._swing * wave

    def _begin_day(self, day: int) -> None:
        plan, r = self._plan, self._random
        stay = r.random() < 0.62
        if not stay or self._ordered:
            u = r.random()
            self._kind = "clear" if u < plan.clear_share else "mixed" if u < plan.clear_share + 0.6 * (
                1.0 - plan.clear_share) else "dull"
        self._cover = {"clear": 0.97, "mixed": 0.62, "dull": 0.27}[self._kind] + r.gauss(0.0, 0.04)
        self._ordered = False
        for first, last, share in plan.cloud_days:
            if first <= day <= last:
                self._ordered = True
                self._kind, self._cover = "dull", share + r.gauss(0.0, 0.03)
        self._warmer_c = 0.75 * self._warmer_c + r.gauss(0.0, 1.4)
        for first, last, warmer in plan.heat_days:
            if first <= day <= last:
                self._warmer_c += 0.4 * (warmer - self._warmer_c) if day > first else 0.7 * warmer
        self._swing = {"clear": 1.1, "mixed": 0.9, "dull": 0.5}[self._kind]
        tilt = 23.45 * pi / 180.0 * sin(2.0 * pi * (284.0 + plan.day_of_year + day) / 365.0)
        place = plan.latitude_deg * pi / 180.0
        x = -sin(place) * sin(tilt) / (cos(place) * cos(tilt))
        self.sunset_hour = 12.0 + (12.0 / pi) * (pi / 2.0 + asin(min(max(-x, -1.0), 1.0)))
