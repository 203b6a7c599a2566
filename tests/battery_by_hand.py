"""A simulated battery that a test loads and charges by hand."""
from drivers.vehicle.iron import IronPhosphate
from drivers.vehicle.lead import LeadAcid


def step(battery: LeadAcid | IronPhosphate, step_s: float, wanted_a: float, held_v: float) -> tuple[float, float]:
    """Volts and amperes of one step in which so much current is wanted: a charger gives no more than its voltage lets through.

    battery: moved on; step_s: how far [s]; wanted_a: positive into it [A]; held_v: by the charger [V].
    """
    battery.prepare(step_s, wanted_a > 0.0)
    amps = _let_through(battery, wanted_a, held_v)
    if not battery.fits(amps):
        battery.prepare(step_s, False)
        amps = _let_through(battery, wanted_a, held_v)
    battery.settle(amps)
    return battery.voltage_v, amps


def _let_through(battery: LeadAcid | IronPhosphate, wanted_a: float, held_v: float) -> float:
    return wanted_a if wanted_a <= 0.0 else min(wanted_a, max((held_v - battery.e_v) / battery.r_ohm, 0.0))
