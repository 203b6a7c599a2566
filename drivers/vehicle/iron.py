"""A lithium iron phosphate battery of four cells: two electrodes, hysteresis in layers, own electronics.

Stepped like lead.py: for one step V = e_v + r_ohm * I, I positive into the battery.

* Rest voltage: difference of two electrode fits. Graphite: Safari and Delacourt, J. Electrochem.
  Soc. 158 (2011) A562 (from memory). Iron phosphate: shape of Afshar 2017 (arXiv 1709.03970), raised by
  29 mV to the flat of Srinivasan and Newman, J. Electrochem. Soc. 151 (2004) A1517: 3.426 V at half
  (their fit, from memory). Four such cells rest at 13.21 V half full, where nine measured ones do at
  13.12 to 13.25 V; with Afshar's own flat they lay 85 mV below all of them.
  Ageing takes cyclable lithium, so graphite's steps stay where they are in Ah counted from empty.
* Hysteresis: several play operators side by side (Krasnosel'skii and Pokrovskii, Systems with
  Hysteresis, 1989), so small turns make small loops inside big ones.
"""
from math import exp, tanh

from drivers.vehicle.plan import BatteryPlan

CELLS = 4
_GRID = 400
_FROM, _TO = -0.06, 1.03            # states of charge that the table covers
_SCALE = _GRID / (_TO - _FROM)
_EMPTY_V = 10.4                     # rest voltage that counts as empty
_KNEE_FRAC = 0.07                   # depth in which the last cells' voltage bends down
_PLAYS = ((0.006, 0.25), (0.02, 0.30), (0.05, 0.25), (0.10, 0.20))   # (half width in charge, weight)
_FAST_S, _MID_S, _SLOW_S = 45.0, 900.0, 7200.0


def graphite_v(x: float) -> float:
    """Graphite against lithium [V] at filling x, 0 to 1."""
    return (0.6379 + 0.5416 * exp(-305.5309 * x) + 0.0440 * tanh(-(x - 0.1958) / 0.1088)
            - 0.1978 * tanh((x - 1.0571) / 0.0854) - 0.6875 * tanh((x + 0.0117) / 0.0529)
            - 0.0175 * tanh((x - 0.5692) / 0.0875))


def phosphate_v(y: float) -> float:
    """Iron phosphate against lithium [V] at filling y, 0 to 1."""
    return 3.4365 - 0.020269 * y + 0.5 * exp(-150.0 * y) - 0.9 * exp(-30.0 * (1.0 - y))


class IronPhosphate:
    """One battery, stepped by prepare() and settle(). drawn_ah counts down from full."""

    def __init__(self, plan: BatteryPlan) -> None:
        self._plan = plan
        self.label_ah = plan.label_ah
        self._ohm_25 = 1.0 / plan.label_ah
        self._loss = 0.003 if plan.loss_frac is None else plan.loss_frac
        self._monthly = 0.02 if plan.self_discharge_per_month is None else plan.self_discharge_per_month
        self.fault_factor, self.fault_v = 1.0, 0.0
        self._fast = self._mid = self._slow = 0.0
        self._plays = [0.0, 0.0, 0.0, 0.0]
        self._dt = 0.0
        self.lost_ah = 0.0
        self.current_a = 0.0
        self.drawn_ah = 0.0
        self._table_for = 0.0
        self.age(plan.true_capacity_frac, 1.0)
        self.drawn_ah = (1.0 - plan.soc_frac) * self.capacity_ah
        self.warm(25.0)
        self.voltage_v = self.rest_v()

    def age(self, capacity_frac: float, resistance_factor: float) -> None:
        """Set the present capacity (over the label, 20 h rate) and resistance (over its own first)."""
        self.capacity_ah = capacity_frac * self._plan.label_ah
        self._grown = self._plan.resistance_factor * resistance_factor
        if abs(capacity_frac - self._table_for) > 1e-3:
            self._table_for = capacity_frac
            self._table = self._curve(min(capacity_frac, 1.03))

    def _curve(self, filling: float) -> list[float]:
        plan = self._plan
        empty = self._empty_filling()
        span = (plan.graphite_full - empty) * filling
        table = []
        for k in range(_GRID + 2):
            z = _FROM + k / _SCALE
            x = empty + span * z
            y = 0.0042 + (1.0 - z) * 0.80
            v = CELLS * (phosphate_v(y if y > -0.001 else -0.001) - graphite_v(x)) - plan.knee_v * exp(-z / _KNEE_FRAC)
            if v < 2.0:
                v = 2.0
            table.append(v)
        mid = table[int((0.5 - _FROM) * _SCALE)]
        # bent about the middle of the plateau: the span factor spreads or squeezes its steps
        return [v + plan.full_offset_v + (plan.span_factor - 1.0) * max(min(v - mid, 0.4), -0.4)
                + plan.bend * z * (1.0 - z)
                for v, z in ((v, _FROM + k / _SCALE) for k, v in enumerate(table))]

    def _empty_filling(self) -> float:
        """Lithium that graphite still holds when the rest voltage has come down to empty."""
        low, high, empty_v = 0.0005, 0.2, _EMPTY_V + self._plan.knee_v
        for _ in range(40):
            x = (low + high) / 2
            low, high = (x, high) if CELLS * (phosphate_v(0.8042) - graphite_v(x)) < empty_v else (low, x)
        return (low + high) / 2

    def warm(self, temperature_c: float) -> None:
        """Set everything that follows temperature [°C]."""
        cold = 25.0 - temperature_c
        plan = self._plan
        self._r0 = self._ohm_25 * self._grown * self.fault_factor * exp(0.018 * cold)
        self._r_fast = 0.25 * self._r0 * plan.slow_factor
        self._r_mid = 0.30 * self._r0 * plan.slow_factor
        self._r_slow = 0.25 * self._r0 * plan.slow_factor
        self._selfdis_a = self._monthly / 720.0 * self.capacity_ah * 2.0 ** (-cold / 10.0) + plan.own_use_a

    @property
    def ohmic_ohm(self) -> float:
        """Resistance to a sudden current at this temperature [ohm]."""
        return self._r0

    def rest_v(self) -> float:
        """Voltage that it would come to with no current and all relaxed, hysteresis as it stands [V]."""
        at = (1.0 - self.drawn_ah / self.capacity_ah - _FROM) * _SCALE
        k = int(min(max(at, 0.0), _GRID - 1.0))
        table = self._table
        loop = sum(w * s for (_, w), s in zip(_PLAYS, self._plays, strict=True))
        return table[k] + (table[k + 1] - table[k]) * (at - k) + loop * self._plan.hysteresis_v / 2 - self.fault_v

    def prepare(self, dt: float, charging: bool) -> None:  # noqa: ARG002 - called as lead.py's, where the direction matters
        """Work out the straight line for a step of dt seconds. It is the same in both directions."""
        if dt != self._dt:
            self._dt = dt
            self._keep_fast, self._keep_mid, self._keep_slow = exp(-dt / _FAST_S), exp(-dt / _MID_S), exp(-dt / _SLOW_S)
            self._hours = dt / 3600.0
        z = 1.0 - self.drawn_ah / self.capacity_ah
        at = (z - _FROM) * _SCALE
        k = int(at)
        if k < 0:
            k = 0
        elif k > _GRID:
            k = _GRID
        low = self._table[k]
        slope = self._table[k + 1] - low
        p = self._plays
        e = (low + slope * (at - k) - self.fault_v
             + (0.25 * p[0] + 0.30 * p[1] + 0.25 * p[2] + 0.20 * p[3]) * self._plan.hysteresis_v * 0.5)
        fast, mid, slow = self._keep_fast, self._keep_mid, self._keep_slow
        self.e_v = e + fast * self._fast + mid * self._mid + slow * self._slow
        self.r_ohm = (self._r0 * (1.0 + 0.5 * (1.0 - z) ** 4) + (1.0 - fast) * self._r_fast
                      + (1.0 - mid) * self._r_mid + (1.0 - slow) * self._r_slow
                      + slope * _SCALE / self.capacity_ah * self._hours)

    def fits(self, current_a: float) -> bool:  # noqa: ARG002 - called as lead.py's
        """Always: its line is the same in both directions."""
        return True

    def settle(self, current_a: float) -> None:
        """Take the step that prepare() prepared, with this current [A, into the battery]."""
        v = self.e_v + self.r_ohm * current_a
        hours = self._hours
        gone = side = self._selfdis_a if v > 10.0 else 0.0    # an empty battery switches itself off
        stored = current_a
        if current_a > 0.0:
            stored = current_a * (1.0 - self._loss)
            side += current_a - stored
        if v > 13.68:                       # cells above 3.42 V bleed through their balancing resistors
            side += 0.001 * self.label_ah
            gone += 0.001 * self.label_ah
        change = (stored - gone) * hours
        self.drawn_ah -= change
        self.lost_ah += side * hours
        turn = change / self.capacity_ah
        plays = self._plays
        a, b, c, d = plays
        a += turn / 0.006
        b += turn / 0.02
        c += turn / 0.05
        d += turn / 0.10
        plays[0] = a if -1.0 < a < 1.0 else (1.0 if a > 0.0 else -1.0)
        plays[1] = b if -1.0 < b < 1.0 else (1.0 if b > 0.0 else -1.0)
        plays[2] = c if -1.0 < c < 1.0 else (1.0 if c > 0.0 else -1.0)
        plays[3] = d if -1.0 < d < 1.0 else (1.0 if d > 0.0 else -1.0)
        keep = self._keep_fast
        self._fast = keep * self._fast + (1.0 - keep) * self._r_fast * current_a
        keep = self._keep_mid
        self._mid = keep * self._mid + (1.0 - keep) * self._r_mid * current_a
        keep = self._keep_slow
        self._slow = keep * self._slow + (1.0 - keep) * self._r_slow * current_a
        self.voltage_v = v
        self.current_a = current_a
