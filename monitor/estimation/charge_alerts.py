"""What the charge tracker sees that a person should settle: shunt, battery or type are not what was said."""
from math import exp

from monitor.battery.label import Vehicle
from monitor.estimation import charge_report
from monitor.estimation.charge_held import ChargeState
from monitor.estimation.charge_suspicion import Suspicion
from monitor.findings import Condition


def conditions(held: ChargeState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """All three, active or not."""
    return suspicions(held.suspicion, charge_report.chemistry_doubt(held, vehicle))


def suspicions(suspect: Suspicion, doubt: str) -> tuple[Condition, ...]:
    """All three, active or not; doubt: why the configured type looks wrong, or ""."""
    ratio = exp(suspect.log_ratio_sum / suspect.steps_since) if suspect.steps_since else 1.0
    return (
        Condition(
            "shunt_reversed", "house", suspect.reversed, "high",
            f"In {suspect.backwards:.0f} more load steps than not, voltage fell while current was said to rise."
            if suspect.reversed else "",
            "The shunt counts charge as discharge and the other way round; no figure of the house battery can be trusted.",
            "Swap the two sense wires of the shunt, or the sign in the configuration.",
            "It clears after some load steps that look right.", figures=(("steps_count", suspect.backwards),)),
        Condition(
            "battery_swapped", "house", suspect.swapped, "medium",
            f"Since the last interruption its resistance is {ratio:.1f} times what it was, and its voltage does not fit "
            "the charge it should hold." if suspect.swapped else "",
            "It may be another battery. What was learnt of the old one does not hold for it.",
            "If it was changed, say so: ampledger battery replaced. If not, look for a loose or corroded terminal.",
            "It clears when the owner says that it was replaced.", figures=(("resistance_ratio", ratio),)),
        Condition(
            "battery_type_doubtful", "house", bool(doubt), "low",
            f"The house battery {doubt}." if doubt else "",
            "With the wrong type, charge and capacity are off by more than their intervals say.",
            "Read the label again and correct the chemistry in the configuration.",
            "It clears when the type fits what the battery does.", on_delay_s=3600.0),
    )
