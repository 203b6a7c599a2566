"""What the instruments make of the true values: gain, offset, drift, noise, steps, gaps and failures."""
from math import isinf
from random import Random
from typing import Any

from drivers.reading import Fault, Reading
from drivers.vehicle.plan import Plan


class Sensors:
    """All instruments of the vehicle."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._random = Random(f"{plan.seed}/sensors")
        self._frozen: dict[str, float] = {}
        self.gaps = self._draw_gaps(plan)
        self._gap = 0

    @staticmethod
    def _draw_gaps(plan: Plan) -> list[tuple[float, float]]:
        r = Random(f"{plan.seed}/gaps")
        rate = plan.sensor.gaps_per_day
        gaps: list[tuple[float, float]] = []
        at = r.expovariate(rate / 86400.0) if rate > 0.0 else float("inf")
        while not isinf(at) and at < plan.days * 86400.0:
            long = min(120.0 * 1.0 / (1.0 - r.random()) ** 0.9, 9.0 * 3600.0)
            gaps.append((at, at + long))
            at += long + r.expovariate(rate / 86400.0)
        return gaps

    def read(self, state: Any, faults: dict[str, float]) -> Reading:
        """One reading of the state; faults are those in force, kind to amount."""
        at_s = state.at_s
        while self._gap < len(self.gaps) and self.gaps[self._gap][1] < at_s:
            self._gap += 1
        if self._gap < len(self.gaps) and self.gaps[self._gap][0] <= at_s:
            return Reading({}, (), True, at_s)
        s = self._plan.sensor
        gauss = self._random.gauss
        warm = state.ambient_temperature_c - 25.0
        step_v, step_a = s.step_v, s.step_a
        round_a = faults.get("fridge_unseen", 0.0) * state.fridge_current_a - faults.get("load_unseen_now", 0.0)
        amps = ((state.house_current_a + round_a) * s.current_gain + s.current_offset_a
                + s.current_offset_per_k_a * warm + gauss(0.0, s.noise_a))
        house = state.house_voltage_v * s.house_gain + gauss(0.0, s.noise_v)
        starter = state.starter_voltage_v * s.starter_gain + s.starter_per_k_v * warm + gauss(0.0, s.noise_v)
        values = {
            "house_voltage_v": round(house / step_v) * step_v,
            "house_current_a": round(amps / step_a) * step_a,
            "starter_voltage_v": round(starter / step_v) * step_v,
        }
        if s.with_temperature:
            values["house_temperature_c"] = round(state.house_temperature_c + s.temperature_offset_c, 1)
        if s.with_ambient:
            values["ambient_temperature_c"] = round(state.ambient_temperature_c + gauss(0.0, 0.1), 1)
        if s.with_solar:
            values["solar_current_a"] = round(max(state.solar_current_a + gauss(0.0, s.noise_a), 0.0) / step_a) * step_a
        if s.with_ignition:
            values["ignition_on"] = 1.0 if state.engine_running else 0.0
        if not faults:
            return Reading(values, (), True, at_s)
        return self._spoil(values, faults, at_s, state)

    def _spoil(self, values: dict[str, float], faults: dict[str, float], at_s: float, state: Any) -> Reading:
        silent: list[Fault] = []
        if "shunt_reversed" in faults:
            values["house_current_a"] = -values["house_current_a"]
        if "divider_wrong" in faults:
            values["starter_voltage_v"] *= faults["divider_wrong"]
        if "house_divider_wrong" in faults:
            values["house_voltage_v"] *= faults["house_divider_wrong"]
        for word, quantity in (("current", "house_current_a"), ("house_voltage", "house_voltage_v")):
            if f"{word}_noisy" in faults:
                values[quantity] += self._random.gauss(0.0, faults[f"{word}_noisy"])
            if f"{word}_saturated" in faults:
                most = faults[f"{word}_saturated"]
                values[quantity] = min(max(values[quantity], -most), most)
        if "sun_on_sensor" in faults and "house_temperature_c" in values:
            full_a = 0.78 * self._plan.panel_w / max(state.house_voltage_v, 10.0)   # what the panel gives in full sun
            values["house_temperature_c"] += round(faults["sun_on_sensor"] * state.solar_possible_a / full_a, 1)
        for word, quantity in (("current", "house_current_a"), ("house_voltage", "house_voltage_v"),
                               ("starter_voltage", "starter_voltage_v"), ("temperature", "house_temperature_c")):
            if f"{word}_frozen" in faults and quantity in values:
                values[quantity] = self._frozen.setdefault(quantity, values[quantity])
            else:
                self._frozen.pop(quantity, None)
            if f"{word}_lost" in faults and values.pop(quantity, None) is not None:
                silent.append(Fault(quantity, "the simulated instrument does not answer"))
        return Reading(values, tuple(silent), True, at_s)
