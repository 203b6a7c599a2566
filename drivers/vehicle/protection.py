"""The switches inside a lithium battery: its own electronics open the charge or the discharge path, and close them again.

Limits are those of the trade (from memory): no charge below 0 °C, a cell at 3.75 V, 2.5 V or below, too much current.
The fullest cell stands above the mean by cell_spread_v near the top, and the emptiest below it near the bottom.
"""
from dataclasses import dataclass

CELLS = 4


@dataclass(frozen=True, slots=True)
class ProtectionPlan:
    """What the electronics of one battery allow; volts are of a single cell."""

    cold_c: float = 0.0
    warm_again_k: float = 4.0
    hot_c: float = 60.0
    cell_high_v: float = 3.75
    cell_high_again_v: float = 3.38
    cell_low_v: float = 2.50
    charge_per_h: float = 1.0           # of the label's capacity
    discharge_per_h: float = 1.0
    cell_spread_v: float = 0.0


class Protection:
    """Both switches of one battery."""

    def __init__(self, plan: ProtectionPlan, label_ah: float) -> None:
        self._plan, self._label_ah = plan, label_ah
        self.charge_open = self.discharge_open = False
        self._charge_cause = ""

    def step(self, inner_v: float, current_a: float, temperature_c: float, wanted_a: float) -> None:
        """Decide for the next step.

        inner_v : of the four cells together, whatever stands at the posts [V]
        current_a : that flowed [A, into the battery]; wanted_a : what would flow with both paths closed
        temperature_c : of the cells [°C]
        """
        p = self._plan
        cell_v, near_top = inner_v / CELLS, inner_v > CELLS * 3.38
        high_v = cell_v + (p.cell_spread_v if near_top else 0.0)
        if self.charge_open:
            again = {"cold": temperature_c > p.cold_c + p.warm_again_k, "hot": temperature_c < p.hot_c - p.warm_again_k,
                     "cell": cell_v < p.cell_high_again_v, "current": wanted_a < 0.0}[self._charge_cause]
            self.charge_open = not again
        elif current_a > 0.0:
            causes = (("cold", temperature_c < p.cold_c), ("hot", temperature_c > p.hot_c), ("cell", high_v > p.cell_high_v),
                      ("current", current_a > p.charge_per_h * self._label_ah))
            cause = next((name for name, true in causes if true), "")
            self.charge_open, self._charge_cause = bool(cause), cause
        if self.discharge_open:
            self.discharge_open = wanted_a <= 0.0       # a charger wakes it
        elif current_a < 0.0:
            low_v = cell_v - (p.cell_spread_v if inner_v < CELLS * 3.1 else 0.0)
            self.discharge_open = low_v < p.cell_low_v or -current_a > p.discharge_per_h * self._label_ah
