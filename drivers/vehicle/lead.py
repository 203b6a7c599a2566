"""A lead-acid battery of six cells: acid, plates, slow diffusion, surface charge, gas, self-discharge.

For one step the battery is a straight line, V = e_v + r_ohm * I, with the step's own relaxation
and the fall of its electromotive force inside it (implicit, so that long steps stay stable).
I is positive into the battery.

* Rest voltage: acid (acid.py). The diffusion lag makes the plates see weaker acid under load, and
  takes capacity away at high rates.
* Plates: resistance grows with use and without bound as active mass runs out.
* Charging: what can be accepted falls with what is left to charge (Mas, J. A., "The charging
  process in lead-acid batteries", 1971, from memory: acceptance decays exponentially).
* Gas: Tafel line in decades, doubling per 11 K (Berndt, Maintenance-Free Batteries, 1997, from memory).
* Self-discharge doubles per 10 K (Berndt, as above).
"""
from math import exp

from drivers.vehicle.acid import curve_v
from drivers.vehicle.plan import BatteryPlan

CELLS = 6
_GRID = 240
_FROM, _TO = -0.10, 1.40            # depths of the reservoir that the table covers
_SCALE = _GRID / (_TO - _FROM)

#: full [V], span [V], ohm x Ah, loss of charge put in, self-discharge per 30 d at 25 °C, gas [A/100 Ah at 13.5 V]
_KINDS = {
    "flooded": (12.68, 0.94, 0.62, 0.035, 0.050, 0.028),
    "agm": (12.90, 1.14, 0.50, 0.020, 0.025, 0.014),
    "gel": (12.87, 1.10, 0.58, 0.020, 0.020, 0.011),
}
_FAST_S, _MID_S, _DIFFUSION_S = 75.0, 1300.0, 9000.0
_SURFACE_S, _DEEP_SURFACE_S = 2400.0, 34000.0


class LeadAcid:
    """One battery, stepped by prepare() and settle(). drawn_ah counts down from full."""

    def __init__(self, plan: BatteryPlan) -> None:
        full_v, span_v, ohm_ah, loss, monthly, gas_a = _KINDS[plan.chemistry]
        self._plan = plan
        self.label_ah = plan.label_ah
        full_v += plan.full_offset_v
        span_v *= plan.span_factor
        depths = [_FROM + k / _SCALE for k in range(_GRID + 2)]
        self._table = [
            CELLS * v + plan.bend * span_v * x * (1.0 - x)
            for x, v in zip(depths, curve_v(full_v / CELLS, (full_v - span_v) / CELLS, depths), strict=True)]
        self._ohm_25 = ohm_ah / plan.label_ah
        self._loss = loss if plan.loss_frac is None else plan.loss_frac
        self._monthly = monthly if plan.self_discharge_per_month is None else plan.self_discharge_per_month
        self._gas_13_5 = gas_a * plan.label_ah / 100.0 * plan.gassing_factor
        self.fault_factor = 1.0
        self.fault_v = 0.0
        self.gas_factor, self.gas_a = 1.0, 0.0  # of a fault; gas now [A]
        self._fast = self._mid = self._lag_a = self._surface = self._deep_surface = 0.0
        self._dt = 0.0
        self.lost_ah = 0.0                      # gas, self-discharge and charging loss, since the start
        self.voltage_v = full_v
        self.current_a = 0.0
        self.drawn_ah = 0.0
        self.age(plan.true_capacity_frac, 1.0)
        self.drawn_ah = (1.0 - plan.soc_frac) * self.capacity_ah
        self.warm(25.0)
        self.voltage_v = self.rest_v()

    # -- what changes slowly -------------------------------------------------------------------

    def age(self, capacity_frac: float, resistance_factor: float) -> None:
        """Set the present capacity (over the label, 20 h rate) and resistance (over its own first)."""
        plan = self._plan
        self.capacity_ah = capacity_frac * plan.label_ah
        self._grown = plan.resistance_factor * resistance_factor
        whole = max(1.0, capacity_frac) * plan.label_ah
        self._lag_h = 0.32 * plan.slow_factor
        # depth 1 of the rest-voltage curve is the 20 h capacity, the present one or that of the new battery
        self.reservoir_ah = self.capacity_ah if plan.limited_by == "reservoir" else whole
        # the plates end a little beyond, by what the 20 h rate leaves behind in them at 10.5 V
        self._plates_25_ah = self.capacity_ah * (1.0 + self._lag_h / 20.0) * 1.003

    def warm(self, temperature_c: float) -> None:
        """Set everything that follows temperature [°C]."""
        cold = 25.0 - temperature_c
        plan = self._plan
        self._r0 = self._ohm_25 * self._grown * self.fault_factor * exp(0.013 * cold)
        self._r_fast = 0.5 * self._r0 * plan.slow_factor
        self._r_mid = 0.7 * self._r0 * plan.slow_factor
        self._tempco_v = -plan.voltage_per_k * cold - self.fault_v
        self._selfdis_a = self._monthly / 720.0 * self.capacity_ah * 2.0 ** (-cold / 10.0) + plan.own_use_a
        self._gas_a = self._gas_13_5 * 2.0 ** (-(cold - 5.0) / 11.0) * self.gas_factor
        # 0.6 % of capacity per kelvin at slow rates (IEC 60896-21, from memory), less what diffusion already takes
        self._plates_ah = self._plates_25_ah * (1.0 - 0.005 * min(max(cold, -15.0), 60.0))
        self._hours_lag = self._lag_h * exp(0.02 * max(cold, -15.0))
        self._accept = 1.4 * plan.acceptance_h * self.fault_factor * exp(0.025 * max(cold, -15.0))

    @property
    def ohmic_ohm(self) -> float:
        """Resistance to a sudden current at this temperature [ohm]."""
        return self._r0

    def rest_v(self) -> float:
        """Voltage that it would come to with no current and all relaxed [V]."""
        at = (self.drawn_ah / self.reservoir_ah - _FROM) * _SCALE
        k = int(min(max(at, 0.0), _GRID - 1.0))
        table = self._table
        return table[k] + (table[k + 1] - table[k]) * (at - k) + self._tempco_v

    # -- one step --------------------------------------------------------------------------------

    def prepare(self, dt: float, charging: bool) -> None:
        """Work out the straight line for a step of dt seconds."""
        if dt != self._dt:
            self._dt = dt
            self._keep_fast, self._keep_mid = exp(-dt / _FAST_S), exp(-dt / _MID_S)
            self._keep_lag = exp(-dt / _DIFFUSION_S)
            self._gain_s1 = dt / (_SURFACE_S + dt)
            self._gain_s2 = dt / (_DEEP_SURFACE_S + dt)
            self._hours = dt / 3600.0
        drawn = self.drawn_ah
        seen = drawn - self._hours_lag * self._lag_a
        at = (seen / self.reservoir_ah - _FROM) * _SCALE
        k = int(at)
        if k < 0:
            k = 0
        elif k > _GRID:
            k = _GRID
        low = self._table[k]
        slope = self._table[k + 1] - low
        e = low + slope * (at - k) + self._tempco_v
        rise = -slope * _SCALE / self.reservoir_ah * self._hours     # V per ampere put in during the step
        used = seen / self._plates_ah
        if charging:
            left = drawn / self.capacity_ah
            full = 1.0 - left
            r = self._r0 * (1.0 + 0.3 * left)
            if full > 0.0:
                r += self._accept * full * full / (self.capacity_ah * left if left > 1e-6 else 1e-6)
            e += self._surface + self._deep_surface
        else:
            u2 = used * used
            room = 1.0 - used
            spent = 1.0 + 0.25 * u2 + 0.12 * u2 * u2 / room if room > 0.003 else 41.0 + 8000.0 * (0.003 - room)
            r = self._r0 * spent
            e += self._surface + self._deep_surface
        fast, mid = self._keep_fast, self._keep_mid
        e += fast * self._fast + mid * self._mid
        r += (1.0 - fast) * self._r_fast + (1.0 - mid) * self._r_mid + rise
        self._inner_e, self._charging = e, charging
        v0 = self.voltage_v
        if v0 > 12.9:
            # gas beside the main reaction, its exponential replaced by the tangent at the last voltage
            gas = self._gas_a * exp((v0 - 13.5) * 1.9) if v0 < 16.5 else self._gas_a * 298.0
            g = 1.9 * gas
            total = 1.0 / r + g
            self._gas0, self._gas_g = gas - g * v0, g
            self.r_ohm = 1.0 / total
            self.e_v = (e / r - gas + g * v0) / total
        else:
            self._gas_g = 0.0
            self.e_v, self.r_ohm = e, r

    def fits(self, current_a: float) -> bool:
        """Whether the line was prepared for the way the plates go at this current [A].

        Gas takes its part first, so a battery that is fed less than its gas discharges.
        """
        return self._charging is (self.e_v + self.r_ohm * current_a >= self._inner_e)

    def settle(self, current_a: float) -> None:
        """Take the step that prepare() prepared, with this current [A, into the battery]."""
        v = self.e_v + self.r_ohm * current_a
        gas = 0.0
        if self._gas_g:
            gas = self._gas0 + self._gas_g * v
            if gas < 0.0:
                gas = 0.0
        main = current_a - gas
        hours = self._hours
        side = gas + self._selfdis_a
        stored = main
        if main > 0.0:
            stored = main * (1.0 - self._loss)
            side += main - stored
        self.drawn_ah += (self._selfdis_a - stored) * hours
        self.lost_ah += side * hours
        keep = self._keep_fast
        self._fast = keep * self._fast + (1.0 - keep) * self._r_fast * main
        keep = self._keep_mid
        self._mid = keep * self._mid + (1.0 - keep) * self._r_mid * main
        keep = self._keep_lag
        self._lag_a = keep * self._lag_a + (1.0 - keep) * main
        s1, s2 = self._surface, self._deep_surface
        if v > 13.3:
            over = (v - 13.2) * self._plan.surface_factor
            self._surface = s1 + (0.30 * over - s1) * self._gain_s1
            self._deep_surface = s2 + (0.14 * over - s2) * self._gain_s1 * 0.5
        elif s1 > 1e-4 or s2 > 1e-4:
            strip = 1.0
            if current_a < 0.0:
                strip = 1.0 / (1.0 - current_a * hours / (0.012 * self.label_ah))
            self._surface = s1 * (1.0 - self._gain_s1) * strip
            self._deep_surface = s2 * (1.0 - self._gain_s2) * strip
        self.gas_a = gas
        self.voltage_v = v
        self.current_a = current_a
