"""A house battery by PyBaMM's cell models, with what they leave out, stepped like the simulated vehicle's own.

Added to the cell: gas and self-discharge in Tafel form and charge acceptance (Schiffer et al., J. Power Sources 168
(2007) 66), active mass that runs out (Shepherd 1965), surface charge of hours, a slow resistance (Ceraolo, IEEE
Trans. Power Systems 15 (2000) 1184), series resistance with temperature; for lithium one-state hysteresis (Plett
2004), a slow overpotential, balancing and own electronics. Sizes are drawn around published or usual ones.
"""
from math import exp, log
from random import Random
from typing import Any

import casadi
import numpy as np
import pybamm


class Core:
    """One cell model as an implicit Euler stepper. Amperes are positive into the battery and scaled to it."""

    def __init__(self, model: Any, parameters: Any, points: dict[str, int], cells: int) -> None:
        pybamm.set_logging_level("ERROR")
        self.version = pybamm.__version__
        parameters["Current function [A]"] = "[input]"
        simulation = pybamm.Simulation(model, parameter_values=parameters, var_pts=points)
        simulation.build(inputs={"Current function [A]": 0.1})
        built = simulation.built_model
        if built.len_alg:
            raise ValueError("only models without algebraic equations are stepped here")
        t, y, i = casadi.MX.sym("t"), casadi.MX.sym("y", built.len_rhs), casadi.MX.sym("i")
        inputs = {"Current function [A]": i}
        f = built.concatenated_rhs.to_casadi(t, y, inputs=inputs)
        v = built.get_processed_variable("Voltage [V]").to_casadi(t, y, inputs=inputs) * cells
        # buffers spare the conversions that would cost more than the model itself
        self._in_y, self._in_i = np.zeros(built.len_rhs), np.zeros(1)
        self._out_f, self._out_v = np.zeros(built.len_rhs), np.zeros(1)
        self._rates = self._bound(casadi.Function("rates", [y, i], [casadi.densify(f)]), self._out_f)
        self._volts = self._bound(casadi.Function("volts", [y, i], [casadi.densify(v)]), self._out_v)
        self._slopes = casadi.Function("slopes", [y, i], [
            casadi.densify(casadi.jacobian(f, y)), casadi.densify(casadi.jacobian(f, i)),
            casadi.densify(casadi.jacobian(v, y)), casadi.densify(casadi.jacobian(v, i))]).expand()
        self.y = np.array(built.concatenated_initial_conditions.evaluate(inputs={"Current function [A]": 0.1})).ravel()
        self._one = np.eye(len(self.y))
        self.scale = 1.0
        self.unconverged = 0
        self._dt, self._age = 0.0, 0

    def _bound(self, function: Any, out: np.ndarray) -> Any:
        """A call that reads _in_y and _in_i and writes out."""
        buffer, call = function.expand().buffer()
        buffer.set_arg(0, memoryview(self._in_y))
        buffer.set_arg(1, memoryview(self._in_i))
        buffer.set_res(0, memoryview(out))
        self._kept = (*getattr(self, "_kept", ()), buffer)
        return call

    def _refresh(self, dt: float, y: np.ndarray, i: float) -> None:
        """Work out the Newton matrix and the slopes anew; they serve for some steps."""
        fy, fi, vy, vi = (np.array(a) for a in self._slopes(y, i))
        self._inverse = np.linalg.inv(self._one - dt * fy)
        self._slope_y = self._inverse @ (dt * fi.ravel()) * -self.scale
        self._slope_v = float(vy.ravel() @ self._slope_y + vi.ravel()[0] * -self.scale)
        self._dt, self._age = dt, 0

    def solve(
        self, dt: float, amps: float, guess: np.ndarray | None = None,
    ) -> tuple[np.ndarray, float, float, np.ndarray]:
        """State after dt at this current [A into the battery], voltage [V], and the derivatives of both."""
        y = self._newton(self.y, dt, -amps * self.scale, guess)
        if y is None:       # too far in one go: many short steps
            y, self._age = self.y, 999
            for _ in range(40):
                y = self._newton(y, dt / 40.0, -amps * self.scale, None)
                if y is None:
                    self.unconverged += 1
                    y = self.y
                    break
            self._dt = 0.0
        self._in_y[:], self._in_i[0] = y, -amps * self.scale
        self._volts()
        return y, float(self._out_v[0]), self._slope_v, self._slope_y

    def _newton(self, before: np.ndarray, dt: float, i: float, guess: np.ndarray | None) -> np.ndarray | None:
        y = before if guess is None else guess
        if dt != self._dt or self._age > 25:
            self._refresh(dt, before, i)
        self._age += 1
        last = np.inf
        self._in_i[0] = i
        for _ in range(30):
            self._in_y[:] = y
            self._rates()
            step = self._inverse @ (before + dt * self._out_f - y)
            size = float((np.abs(step) / (1.0 + np.abs(y))).max())
            if not size < 1e3:
                return None
            y = y + step
            if size < 1e-7:
                return y
            if size > 0.3 * last:
                self._refresh(dt, y, i)
            last = size
        return None


class PhysicsBattery:
    """prepare(), fits() and settle() as drivers.vehicle.lead has them, around a Core."""

    def __init__(self, core: Core, label_ah: float, capacity_ah: float, traits: dict[str, float]) -> None:
        self.core, self.label_ah, self.capacity_ah = core, label_ah, capacity_ah
        self._t = traits
        self.lead = traits["lead"] > 0.0
        self.drawn_ah = self.lost_ah = 0.0
        self.fault_factor, self.fault_v = 1.0, 0.0
        self._surface = self._slow = self._h = 0.0
        self._main = 0.0
        self.current_a = 0.0
        self.warm(25.0)
        self.voltage_v = 12.9 if self.lead else 13.5

    def age(self, capacity_frac: float, resistance_factor: float) -> None:
        """Nothing ages during these days."""

    def warm(self, temperature_c: float) -> None:
        t, cold = self._t, 25.0 - temperature_c
        self._series = t["series_ohm"] * exp(t["series_per_k"] * cold)
        self._tempco_v = -t["voltage_per_k"] * cold + t["offset_v"]
        self._gas_a = t["gas_a"] * exp(-0.06 * (cold - 5.0))
        self._self_a = t["self_a"] * 2.0 ** (-cold / 10.0)

    @property
    def ohmic_ohm(self) -> float:
        return self._series + 0.3 / self.capacity_ah

    def prepare(self, dt: float, charging: bool) -> None:
        t, q = self._t, self.capacity_ah
        self._dt, self._charging = dt, charging
        gone = self._self_a if self.lead or self.voltage_v > 10.0 else 0.0
        if not self.lead and self.voltage_v > 13.68:
            gone += 0.001 * self.label_ah       # balancing
        self._gone = gone
        self._y, v, r, self._dy = self.core.solve(dt, self._main - gone)
        self._at = self._main
        depth = self.drawn_ah / q
        if charging and self.lead:
            self._accept = t["accept"] / q * max(1.0 - depth, 0.0) / max(depth + 0.001, 2e-4)
        else:
            self._accept = 0.0
        spent = t["mass"] / q * max(depth, 0.0) / max(t["pole"] - depth, 0.004) if not charging else 0.0
        self._slow_r = t["slow"] / q * (-log(min(max(1.0 - depth, 0.02), 0.99)) if self.lead else 1.0)
        keep = exp(-dt / t["slow_s"])
        more_r = self._series + self._accept + spent + (1.0 - keep) * self._slow_r
        more_e = self._tempco_v + self._surface + keep * self._slow + self._h * t["hysteresis_v"] / 2.0
        e, r = v - r * self._main + more_e, r + more_r
        self._keep, self._line, self._more = keep, (e, r), (more_e, more_r)
        self._gas0 = self._gas_g = 0.0
        self.e_v, self.r_ohm = e, r
        v0 = self.voltage_v
        if self.lead and v0 > 12.9:
            gas = self._gas_a * exp(min(11.0 * (v0 / 6.0 - 2.23), 5.0))
            g = gas * 11.0 / 6.0
            self._gas0, self._gas_g = gas - g * v0, g
            self.r_ohm = 1.0 / (1.0 / r + g)
            self.e_v = (e / r - gas + g * v0) * self.r_ohm

    def fits(self, current_a: float) -> bool:
        """Whether the line was prepared for the way the plates go at this current."""
        return not self.lead or self._charging is (self.e_v + self.r_ohm * current_a >= self._line[0])

    def settle(self, current_a: float) -> None:
        t, dt, q = self._t, self._dt, self.capacity_ah
        v = self.e_v + self.r_ohm * current_a
        gas = max(self._gas0 + self._gas_g * v, 0.0)
        main = current_a - gas
        self.core.y, core_v, _, _ = self.core.solve(dt, main - self._gone,
            self._y + self._dy * (main - self._at) if abs(main - self._at) < 0.1 * q else self._y)
        v = core_v + self._more[0] + self._more[1] * main
        hours = dt / 3600.0
        self.drawn_ah -= (main - self._gone) * hours
        self.lost_ah += (self._gone + gas) * hours
        self._slow = self._keep * self._slow + (1.0 - self._keep) * self._slow_r * main
        over = main * self._accept if main > 0.0 else 0.0
        rate = dt / (9000.0 + dt)
        if current_a < 0.0:
            self._surface /= 1.0 - current_a * hours / (0.015 * q)
        self._surface += (t["surface"] * over - self._surface) * (rate if over < 1e-6 else 4.0 * rate)
        turn = min(abs(main) * hours / (0.05 * q), 1.0)
        self._h += turn * ((1.0 if main > 0.0 else -1.0) - self._h)
        self._main = main
        self.voltage_v, self.current_a = v, current_a


def _begin(battery: PhysicsBattery, soc_frac: float) -> PhysicsBattery:
    """Discharge to the start at the 10 h rate, then six hours of rest."""
    amps = battery.capacity_ah / 10.0
    for _ in range(int((1.0 - soc_frac) * 36000.0 / 60.0)):
        battery.prepare(60.0, False)
        battery.settle(-amps)
    for _ in range(360):
        battery.prepare(60.0, False)
        battery.settle(0.0)
    battery.lost_ah = 0.0
    return battery


def _scaled(core: Core, label_ah: float, capacity_ah: float, traits: dict[str, float], guess: float) -> PhysicsBattery:
    """A full battery that gives its capacity at the 20 h rate, 25 °C, down to 10.5 V, all that was added included."""
    start = core.y.copy()
    core.scale = guess / capacity_ah
    for _ in range(5):
        core.y, core._dt = start.copy(), 0.0
        battery = PhysicsBattery(core, label_ah, capacity_ah, traits)
        battery._self_a = 0.0
        while battery.voltage_v > 10.5 and battery.drawn_ah < 1.5 * capacity_ah:
            battery.prepare(120.0, False)
            battery.settle(-capacity_ah / 20.0)
        core.scale *= (battery.drawn_ah / capacity_ah) ** 1.4
    core.y, core._dt = start, 0.0
    return PhysicsBattery(core, label_ah, capacity_ah, traits)


def lead_acid(label_ah: float, capacity_ah: float, soc_frac: float, r: Random, worn: float = 1.0,
              acid: float | None = None) -> PhysicsBattery:
    """Six cells of the Sulzer2019 kind. worn multiplies resistance; acid is its concentration when full [mol/m3]."""
    parameters = pybamm.ParameterValues("Sulzer2019")
    parameters["Initial concentration in electrolyte [mol.m-3]"] = acid or r.uniform(5450.0, 5700.0)
    parameters["Lower voltage cut-off [V]"], parameters["Upper voltage cut-off [V]"] = 0.5, 3.5
    core = Core(pybamm.lead_acid.Full({"surface form": "differential"}), parameters,
                {"x_n": 6, "x_s": 4, "x_p": 6}, 6)
    traits = {
        "lead": 1.0, "offset_v": r.gauss(0.0, 0.03), "voltage_per_k": 0.0012,
        "series_ohm": 0.25 * (worn - 0.6) / label_ah,
        "series_per_k": 0.012, "gas_a": label_ah / 100.0 * r.uniform(0.008, 0.014) * worn**1.5,
        "self_a": label_ah * r.uniform(0.015, 0.03) * worn / 720.0, "accept": 6 * 0.42 * 0.888 * r.uniform(0.4, 0.9),
        "mass": 6 * 0.699 * 0.0464 * r.uniform(1.8, 3.0) * worn, "pole": 1.06, "surface": r.uniform(0.12, 0.22),
        "slow": r.uniform(0.5, 1.1) * worn**0.5, "slow_s": 5000.0, "hysteresis_v": 0.0}
    return _begin(_scaled(core, label_ah, capacity_ah, traits, 21.0), soc_frac)


def iron_phosphate(
    label_ah: float, capacity_ah: float, soc_frac: float, r: Random, worn: float = 1.0,
) -> PhysicsBattery:
    """Four cells of the Prada2013 kind. worn: cyclable lithium is missing, and resistance is higher by that factor."""
    parameters = pybamm.ParameterValues("Prada2013")
    parameters["Lower voltage cut-off [V]"], parameters["Upper voltage cut-off [V]"] = 1.5, 4.2
    name = "Initial concentration in negative electrode [mol.m-3]"
    most = parameters["Maximum concentration in negative electrode [mol.m-3]"]
    low, full = 0.0176 * most, 0.8100 * most
    missing = 1.0 - min(capacity_ah / label_ah, 1.0) if worn > 1.0 else 0.0
    parameters[name] = low + (full - low) * (1.0 - missing)
    parameters["Initial concentration in positive electrode [mol.m-3]"] = 0.0045 * parameters[
        "Maximum concentration in positive electrode [mol.m-3]"]
    core = Core(pybamm.lithium_ion.SPM(), parameters, {"x_n": 4, "x_s": 4, "x_p": 4, "r_n": 14, "r_p": 14}, 4)
    traits = {
        "lead": 0.0, "offset_v": r.gauss(0.0, 0.03), "voltage_per_k": 0.0,
        "series_ohm": 0.9 * r.uniform(0.6, 1.5) * worn / label_ah, "series_per_k": 0.018, "gas_a": 0.0,
        "self_a": label_ah * r.uniform(0.01, 0.025) / 720.0 + r.uniform(0.005, 0.025),
        "accept": 0.0, "mass": 0.05 * worn, "pole": 1.05, "surface": 0.0, "slow": r.uniform(0.3, 0.8), "slow_s": 3600.0,
        "hysteresis_v": 4 * r.uniform(0.010, 0.022)}
    return _begin(_scaled(core, label_ah, capacity_ah, traits, 2.2), soc_frac)
