"""Clearness and air that a log without a solar meter tells of its weeks, against the simulated sky over it.

    python -m tests.benchmarks.bench_logged_climate [vehicles] [seed]
"""
import sys
from math import log, sqrt
from statistics import mean

from drivers.vehicle.weather import Weather
from monitor.planning.climate import sky
from monitor.planning.logged_climate import clearness_of
from monitor.planning.trip_weather import WALL_K
from tests.benchmarks.bench_whatif import told
from tests.benchmarks.ensemble import camps

DAYS, TICK_S = 40, 120.0


def main(wanted: list[str]) -> None:
    """Eight camps of seed 0, or as many and of the seed that is asked for."""
    ratios, warmer = [], []
    for plan in camps(int(wanted[0]) if wanted else 8, int(wanted[1]) if len(wanted) > 1 else 0):
        life, weather, light, air = told(plan, DAYS).life, Weather(plan), 0.0, []
        for k in range(round(DAYS * 86400 / TICK_S)):
            weather.tick(k * TICK_S, TICK_S)
            light += weather.light_w_per_m2 * TICK_S / 3.6e6
            air.append(weather.air_c)
        outside = sum(sky.day_sky(plan.latitude_deg, (plan.day_of_year + d - 1) % 365 + 1, 0.0).outside_kwh_m2 for d in range(DAYS))
        found = clearness_of(life)
        warm = [row.temperature_c for row in life if row.temperature_c is not None]
        if found is not None:
            ratios.append(log(found * outside / light))
        if warm:
            warmer.append(mean(warm) - WALL_K - mean(air))
        print(f"{plan.name}: clearness {light / outside:.2f}, by the log {found if found is None else round(found, 2)}; air {mean(air):.1f}"
              f", by the log {mean(warm) - WALL_K if warm else float('nan'):.1f} °C", flush=True)
    print(f"clearness: mean ln {mean(ratios):+.2f}, rms {sqrt(mean(r * r for r in ratios)):.2f}, {len(ratios)} camps; air: mean "
          f"{mean(warmer):+.1f} K, rms {sqrt(mean(w * w for w in warmer)):.1f} K, {len(warmer)} with a thermometer")


if __name__ == "__main__":
    main(sys.argv[1:])
