"""What a shunt's zero costs while only counting: 50 mA on 100 Ah are 1.2 % a day (algebra; Movassagh et al., Energies 14 (2021) 4074).

The width that is shown has to grow by just that: less would be too sure, more would hide what is known.
"""
import pytest

from monitor.battery.label import Battery, CurrentSensor, Vehicle
from monitor.estimation import lithium_charge
from monitor.findings import Estimate
from tests.monitor.test_charge import LITHIUM, minute
from tests.monitor.test_lithium_charge import Cell

#: After a full charge, 18 h at 0.5 A with the voltmeter off: where the voltage leaves the rise to full would tell the charge anew.
HOURS, AMPS = 18, -0.5


def _half_width(offset_sigma_a: float) -> float:
    vehicle = Vehicle(Battery("house", "lfp", 100.0), LITHIUM.starter, current_sensor=CurrentSensor(offset_sigma_a=offset_sigma_a))
    cell, state = Cell(0.9), lithium_charge.begin(vehicle)
    for k in range((3 + HOURS) * 60):
        volts, amps = cell.step(15.0 if k < 180 else AMPS)
        state = lithium_charge.update(state, minute(k, amps, volts if k < 180 else None), vehicle)
    found = lithium_charge.findings(state, vehicle).charge_frac
    assert isinstance(found, Estimate) and found.low < cell.charge_frac < found.high
    return (found.high - found.low) / 2


def test_fifty_milliamperes_widen_the_charge_by_what_they_count() -> None:
    known, unknown = _half_width(0.001), _half_width(0.05)
    grown = (unknown**2 - known**2) ** 0.5 / 1.96
    assert grown == pytest.approx(0.05 * HOURS / 100.0, rel=0.1)
