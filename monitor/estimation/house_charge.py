"""State of charge of the house battery: a filter for lead-acid, a mixture for lithium, chosen by what the label says."""
from monitor.battery.label import Vehicle
from monitor.estimation import charge, lithium_charge
from monitor.estimation.charge_held import ChargeState
from monitor.estimation.lithium_charge import LithiumState
from monitor.findings import ChargeFindings, Condition, JoinFindings
from monitor.sample import Minute

#: What either holds.
HouseState = ChargeState | LithiumState


def begin(vehicle: Vehicle) -> HouseState:
    """Nothing seen yet."""
    return charge.begin(vehicle) if vehicle.house.lead_acid else lithium_charge.begin(vehicle)


def update(held: HouseState, minute: Minute, vehicle: Vehicle, join: JoinFindings) -> HouseState:
    """One minute further.

    Parameters
    ----------
    held : of the estimator that fits the label
    minute : what was read
    vehicle : as it is known today
    join : whether the two batteries are joined
    """
    if isinstance(held, LithiumState):
        return lithium_charge.update(held, minute, vehicle, join)
    return charge.update(held, minute, vehicle, join)


def findings(held: HouseState, vehicle: Vehicle, brief: bool = False) -> ChargeFindings:
    """What is known now.

    Parameters
    ----------
    held : of the estimator that fits the label
    vehicle : as it is known today
    brief : only what trackers ask that make no forecast. What is left, the stage of charging and the doubt of the type are not worked
        out then, and of the posterior nothing but how well the zero of the shunt is known
    """
    if isinstance(held, LithiumState):
        return lithium_charge.findings(held, vehicle, brief)
    return charge.findings(held, vehicle, brief)


def conditions(held: HouseState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """What may deserve an alert."""
    return lithium_charge.conditions(held, vehicle) if isinstance(held, LithiumState) else charge.conditions(held, vehicle)


def replaced(held: HouseState, vehicle: Vehicle) -> HouseState:
    """The state after the owner put in another battery: nothing is kept but the shunt and the habits. vehicle carries the new label,
    which may be of the other kind: then the shunt begins afresh too."""
    if isinstance(held, LithiumState):
        return begin(vehicle) if vehicle.house.lead_acid else lithium_charge.replaced(held, vehicle)
    return charge.replaced(held, vehicle) if vehicle.house.lead_acid else begin(vehicle)


def calibrated_zero(held: HouseState, sigma_a: float) -> HouseState:
    """The state after the shunt's zero was measured: what was learnt beyond it is forgotten.

    Parameters
    ----------
    held : before
    sigma_a : one sigma of it [A]
    """
    if isinstance(held, LithiumState):
        return lithium_charge.calibrated_zero(held, sigma_a)
    return charge.calibrated_zero(held, sigma_a)
