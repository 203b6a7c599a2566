"""What runs and stops have shown of the isolator of this vehicle."""

from monitor.findings import NEVER_S
from monitor.replacing import dataclass


@dataclass(frozen=True, slots=True)
class JoinRecord:
    """What runs and stops have shown."""

    run_charging_s: float = 0.0      # this run: charging well
    run_open_s: float = 0.0          # of it, plainly open
    run_fed_s: float = 0.0           # of it, with the house fed by a charger of its own
    run_closed: bool = False         # this run: closed for a good part
    run_counted: bool = False
    runs_missed: int = 0             # runs in a row without closing
    missed_s: float = 0.0            # the longest of them, plainly open
    closed_runs: int = 0             # runs in which it closed
    opened: int = 0                  # stops after which it opened
    lets_go: int = 0                 # of them, promptly and at a voltage at which a voltage-sensing relay holds
    stop_s: float | None = None
    was_closed_at_stop: bool = False
    joined_s: float = 0.0            # joined since the stop, with no charger to excuse it
    lowest_v: float | None = None    # while joined since the stop
    released_v: tuple[float, ...] = ()  # the lowest at which it was still joined, at each of the last stops
    low_s: float = 0.0               # joined at a voltage at which this relay should have let go
    one_way_s: float = 0.0           # open while the house charged well
    openings: tuple[float, ...] = ()
    house_joins: int = 0             # times it closed from the house side
    plainly_open_s: float = NEVER_S     # when it was last plainly open at rest
    stuck: bool = False              # stuck closed, until plainly open again
    follows: int = 0                 # times the current followed the voltage across: a plain path
    holds: int = 0                   # times it did not: a charger that sets its own current
    joined_at_rest: bool = False     # seen joined by its steps with the engine off: no DC-DC charger
    uphill: bool = False             # this run: current flowed from the lower voltage to the higher
    from_v: float | None = None      # what the next such comparison begins with: voltage across, current
    from_a: float = 0.0
    from_starter_v: float = 0.0
    closed_run_s: float = 0.0
    starter_v: float | None = None
    house_v: float | None = None
    house_a: float | None = None
