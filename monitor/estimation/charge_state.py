"""What the lead-acid charge tracker carries from minute to minute."""
from monitor.estimation.charge_count import Count
from monitor.estimation.charge_suspicion import Suspicion
from monitor.estimation.kalman import Belief
from monitor.estimation.resistance_growth import Growth
from monitor.estimation.step_resistance import Resistance
from monitor.findings import Event
from monitor.replacing import dataclass


@dataclass(frozen=True, slots=True)
class VoltageWindow:
    """Voltage of the usable minutes of the present quarter of an hour, freed of what the load does to it."""

    start_s: float = 0.0
    minutes: int = 0
    seconds: float = 0.0
    rest_v: float = 0.0
    drop_v: float = 0.0
    gap: bool = False              # a silence of ten minutes or more lies in it
    under_s: float = 0.0           # of minutes in which current flowed in, and their voltage less some of what that adds
    under_vs: float = 0.0
    first: bool = False            # the first since the start


@dataclass(frozen=True, slots=True)
class ChargeState:
    """Everything the charge tracker carries from minute to minute."""

    belief: Belief
    resistance: Resistance
    count: Count = Count()
    window: VoltageWindow = VoltageWindow()
    anchor: str = ""
    fulls: int = 0                 # full charges seen so far
    anchor_at_s: float | None = None
    knee_at_s: float = 0.0         # when the present spell at empty began
    session_sigma: float = 1.0     # of the best anchor in this spell at full, 1: none
    session_h: float = 0.0         # since its first
    before_session: Belief | None = None   # as if this spell had given no anchor, counted on
    surprise: float = 1.0          # running mean of squared sigmas
    growth: Growth = Growth()
    growth_at_s: float = 0.0
    most_ah: float = 0.0           # surely drawn from full without finding it empty, fading slowly
    suspicion: Suspicion = Suspicion()
    news: tuple[Event, ...] = ()
