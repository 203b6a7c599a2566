"""State of charge of the house battery: a filter for lead-acid, a mixture for lithium, chosen by what the label says."""
from monitor.battery.label import Vehicle
from monitor.estimation import charge, lithium_charge
from monitor.estimation.charge_state import ChargeState
from monitor.estimation.lithium_charge import LithiumState
from monitor.findings import ChargeFindings, Condition, JoinFindings
from monitor.sample import Minute

#: What either holds.
HouseState = ChargeState | LithiumState


def begin(vehicle: Vehicle) -> HouseState:
    """Nothing seen yet."""
    return charge.begin(vehicle) if vehicle.house.lead_acid else lithium_charge.begin(vehicle)


def update(state: HouseState, minute: Minute, vehicle: Vehicle, join: JoinFindings) -> HouseState:
    """The state after a minute, of whichever estimator holds it.

    Parameters
    ----------
    state : of the estimator that fits the label
    minute : what was read
    vehicle : as it is known today
    join : whether the two batteries are joined
    """
    if isinstance(state, LithiumState):
        return lithium_charge.update(state, minute, vehicle, join)
    return charge.update(state, minute, vehicle, join)


def findings(state: HouseState, vehicle: Vehicle, brief: bool = False) -> ChargeFindings:
    """What is known now.

    Parameters
    ----------
    state : of the estimator that fits the label
    vehicle : as it is known today
    brief : only what trackers ask that make no forecast. What is left, the stage of charging and the doubt of the type are not worked
        out then, and of the posterior nothing but how well the zero of the shunt is known
    """
    if isinstance(state, LithiumState):
        return lithium_charge.findings(state, vehicle, brief)
    return charge.findings(state, vehicle, brief)


def conditions(state: HouseState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """What may deserve an alert."""
    return lithium_charge.conditions(state, vehicle) if isinstance(state, LithiumState) else charge.conditions(state, vehicle)


def replace_battery(state: HouseState, vehicle: Vehicle) -> HouseState:
    """The state after the owner put in another battery: nothing is kept but the shunt and the habits. vehicle carries the new label,
    which may be of the other kind: then the shunt begins afresh too."""
    if isinstance(state, LithiumState):
        return begin(vehicle) if vehicle.house.lead_acid else lithium_charge.replace_battery(state, vehicle)
    return charge.replace_battery(state, vehicle) if vehicle.house.lead_acid else begin(vehicle)


def calibrate_zero(state: HouseState, sigma_a: float) -> HouseState:
    """The state after the shunt's zero was measured: what was learnt beyond it is forgotten.

    Parameters
    ----------
    state : before
    sigma_a : one sigma of it [A]
    """
    if isinstance(state, LithiumState):
        return lithium_charge.calibrate_zero(state, sigma_a)
    return charge.calibrate_zero(state, sigma_a)
