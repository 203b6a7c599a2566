"""Whether the count closes from one full charge to the next: what is left over and no loss explains goes past the shunt."""
from monitor.battery import charge_loss
from monitor.battery.label import Battery, CurrentSensor
from monitor.findings import ChargeFindings
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.sample import Minute

P = table("detection/wiring", "closing")
APART_S, KEPT, LEAST, LEAST_S = P.number("apart_s"), P.count("kept"), P.count("least"), P.number("least_s")
OWN_A, SIGMAS = P.by_chemistry("own_a"), P.number("sigmas")
LONGEST_GAP_S = P.number("longest_gap_s")


@dataclass(frozen=True, slots=True)
class Between:
    """From the beginning of one full charge to the beginning of the next: seconds, net charge counted in, and all that went in."""

    seconds: float
    net_ah: float
    in_ah: float


@dataclass(frozen=True, slots=True)
class Closing:
    """What was counted since the last full charge began, and between the ones before."""

    seconds: float = -1.0           # below 0: no full charge yet, or the current was not measured for too long
    net_ah: float = 0.0
    in_ah: float = 0.0
    away_s: float = 1e9             # since it was last seen full
    past: tuple[Between, ...] = ()


def update(state: Closing, minute: Minute, sensor: CurrentSensor, charge: ChargeFindings) -> Closing:
    """The state with the charge that a minute counted; where the battery is full again, what is left over since it was full before.

    state: what was kept after the minute before; minute: what was measured; sensor: correction of the shunt; charge: what is known
    of the charge.
    """
    full = charge.anchor == "full" and charge.anchor_age_s is not None and charge.anchor_age_s <= minute.duration_s
    seconds, net_ah, in_ah, past = state.seconds, state.net_ah, state.in_ah, state.past
    if seconds >= 0.0:
        hours = minute.covered_s / 3600.0
        seconds = seconds + minute.duration_s if minute.gap_s < LONGEST_GAP_S else -1.0
        net_ah += (minute.charge_in_ah - minute.charge_out_ah - sensor.offset_a * hours) * sensor.gain
        in_ah += minute.charge_in_ah
    if full and state.away_s > APART_S:
        if seconds > 0.0:
            past = (*past, Between(seconds, net_ah, in_ah))[-KEPT:]
        seconds, net_ah, in_ah = 0.0, 0.0, 0.0
    return Closing(seconds, net_ah, in_ah, 0.0 if full else state.away_s + minute.duration_s, past)


def unseen_a(state: Closing, sensor: CurrentSensor, battery: Battery) -> float:
    """Current that flows past the shunt all the time [A], beyond every loss and the doubt of the zero; 0: none that is sure.

    state: what the count between full charges left over so far; sensor: correction of the shunt and how well its zero is known;
    battery: its label.
    """
    seconds = sum(b.seconds for b in state.past)
    if len(state.past) < LEAST or seconds < LEAST_S:
        return 0.0
    hours, kind = seconds / 3600.0, battery.chemistry
    left_a = sum(b.net_ah for b in state.past) / hours
    most_frac = charge_loss.FRAC[kind] + SIGMAS * charge_loss.SIGMA_FRAC[kind]
    lost_a = most_frac * sum(b.in_ah for b in state.past) / hours + OWN_A[battery.lead_acid] * battery.rated_capacity_ah / 100.0
    return left_a if left_a - lost_a - SIGMAS * sensor.offset_sigma_a > 0.0 else 0.0
