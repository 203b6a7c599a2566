"""What the charge tracker sees that a person should settle: shunt, battery or type are not what was said."""
from monitor.battery.label import Vehicle
from monitor.estimation import charge_report
from monitor.estimation.charge_state import ChargeState
from monitor.estimation.charge_suspicion import Suspicion
from monitor.estimation.swap_evidence import SwapEvidence
from monitor.findings import Condition
from monitor.parameters import table

P = table("estimation", "charge_alerts")
ALIKE_LOW, ALIKE_HIGH = P.numbers("alike_ratio")
ALIKE_V, TYPE_DELAY_S = P.number("alike_v"), P.number("type_delay_s")


def conditions(state: ChargeState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """All three, active or not."""
    return suspicions(state.suspicion, charge_report.chemistry_doubt(state, vehicle))


def suspicions(suspect: Suspicion, doubt: str) -> tuple[Condition, ...]:
    """All three, active or not; doubt: why the configured type looks wrong, or ""."""
    return (
        Condition(
            "shunt_reversed", "house", suspect.reversed, "high",
            "The shunt counts the wrong way round." if suspect.reversed else "",
            "Charge counts as discharge and the other way round; no figure of the house battery can be trusted.",
            "Swap the two sense wires of the shunt, or the sign in the configuration.",
            "It clears after some load steps that look right.", figures=(("steps_count", suspect.backwards),),
            evidence=f"In {suspect.backwards:.0f} more load steps than not, voltage fell while current was said to rise."),
        _swap_condition(suspect.swap),
        Condition(
            "battery_type_doubtful", "house", bool(doubt), "low",
            "House battery may not be of the configured type." if doubt else "",
            "With the wrong type, charge and capacity are off by more than their intervals say.",
            "Read the label again and correct the chemistry in the configuration.",
            "It clears when the type fits what the battery does.",
            on_delay_s=TYPE_DELAY_S, evidence=f"The house battery {doubt}." if doubt else ""),
    )


def _swap_condition(swap: SwapEvidence) -> Condition:
    found = []
    if swap.found_ratio is not None and not ALIKE_LOW < swap.found_ratio < ALIKE_HIGH:
        found.append(f"its resistance is {swap.found_ratio:.1f} times what it was")
    if swap.found_jump_v is not None and abs(swap.found_jump_v) > ALIKE_V:
        found.append(f"its voltage stands {abs(swap.found_jump_v):.2f} V {'higher' if swap.found_jump_v > 0 else 'lower'} than before")
    evidence = f"Since the last interruption {' and '.join(found) or 'nothing fits together'}."
    return Condition(
        "battery_swapped", "house", swap.found, "medium", "House battery behaves like another battery." if swap.found else "",
        "It may be another battery. What was learnt of the old one does not hold for it.",
        "If it was changed, say so: ampledger battery replaced. If not, look for a loose or corroded terminal.",
        "It clears when the owner says that it was replaced.", figures=(("resistance_ratio", swap.found_ratio or 1.0),),
        evidence=evidence)
