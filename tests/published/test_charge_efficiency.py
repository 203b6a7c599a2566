"""How much of what goes into a lead-acid battery stays: published shape, gassing and self-discharge."""
from random import Random

import pytest

from monitor.battery import charge_loss, lead_acid
from monitor.battery.label import Battery, Vehicle
from monitor.estimation import charge_filter, house_charge, predict, state
from monitor.estimation.lithium_charge import LithiumState
from monitor.forecast import night
from monitor.planning import model
from monitor.planning.load_profile import Slot
from monitor.usage.history import DAY_SLOTS
from tests.posteriors import of_normal

SUNNY = night.Days(((1.0, 1.0, (0.0,) * DAY_SLOTS),), ((1.0, (10.0,) * DAY_SLOTS),), 0.0, 0.0)


@pytest.mark.parametrize("name", ["flooded", "agm", "gel"])
def test_little_is_lost_below_gassing(name: str) -> None:
    """Stevens and Corey, 25th IEEE PVSC 1996 (shape, looked up): above 95 % at low charge, steeply less near full, where it gasses."""
    kind = lead_acid.KINDS[name]
    assert 0.95 <= 1.0 - charge_loss.FRAC[name] < 1.0
    near_full = lead_acid.gassing_a(100.0, 14.4, 25.0, kind.gassing_scale) / 2.0     # of a current of C/50
    early = lead_acid.gassing_a(100.0, 13.2, 25.0, kind.gassing_scale) / 10.0        # of C/10 at a low voltage
    assert near_full > 0.05 > 10 * early


@pytest.mark.parametrize(("volts", "amps"), [(2.30, 0.043), (2.35, 0.075), (2.40, 0.130)])
def test_gassing_rises_with_voltage(volts: float, amps: float) -> None:
    """20 mA per 100 Ah at 2.23 V a cell, 11 per volt (Schiffer et al. 2007, coefficient from memory; computed)."""
    assert lead_acid.gassing_a(100.0, 6 * volts, 20.0) == pytest.approx(amps, rel=0.02)


def test_gassing_rises_with_temperature() -> None:
    """0.06 per kelvin (parameters of Schiffer 2007 in public model source): 1.82 times in 10 K."""
    ratio = lead_acid.gassing_a(100.0, 13.8, 35.0) / lead_acid.gassing_a(100.0, 13.8, 25.0)
    assert ratio == pytest.approx(1.82, abs=0.01)


def test_a_voltage_that_no_charger_gives_does_not_boil_the_battery_in_the_count() -> None:
    """A regulator that lets 20 V through, or a channel on another battery: the law ends at 2.78 V a cell, 16.7 V in all."""
    at_v = {volts: lead_acid.gassing_a(100.0, volts, 20.0) for volts in (16.0, 16.5, 17.0, 20.0)}
    assert at_v[16.5] > 2 * at_v[16.0] and at_v[17.0] == at_v[20.0]


def test_forecast_what_if_and_charge_lose_the_same() -> None:
    """A day of charging at 10 A into an empty battery, below gassing: what stays in it is one number in every room."""
    for name, stays in (("flooded", 0.96), ("agm", 0.97), ("gel", 0.97), ("lfp", 0.996)):
        life = [Slot(h / 4, 0.0, 10.0) for h in range(8)]
        held = model.simulate(life, model.Setup("", name, 1000.0), 0.1, keep_slots=True).charge_frac[-1] * 1000.0
        assert held - 100.0 == pytest.approx(20.0 * stays, abs=0.03)     # and a little self-discharge
        path = night.draw_scenarios(night.Start(
            slot=0, first_frac=1.0, posterior=of_normal(0.1, 0.0, 1000.0, 0.0), reserve_frac=0.1, below=True, lead_acid=name != "lfp",
            kept_frac=1.0 - charge_loss.FRAC[name], by_day=True), SUNNY, 1, Random(1))[0]
        assert path.track_ah[4] == pytest.approx(20.0 * stays)
        assert _lost_on_the_way_in(name) == pytest.approx(1.0 - stays)


@pytest.mark.parametrize("name", ["flooded", "agm", "gel"])
def test_losses_below_gassing_lie_in_the_published_range(name: str) -> None:
    """Handbooks (from memory): 85 to 95 % lead-acid overall; up to 98 % of a best-case valve-regulated cell (looked up)."""
    loss = _lost_on_the_way_in(name)
    assert 0.02 <= loss <= 0.15


def test_lithium_loses_hardly_anything() -> None:
    """Handbooks (from memory): at least 99 %; 1 to 3 % a month by itself (reference encyclopaedia, looked up)."""
    assert _lost_on_the_way_in("lfp") <= 0.01
    assert 0.01 <= predict.SELF_DISCHARGE * 720 <= 0.03


def _lost_on_the_way_in(name: str) -> float:
    """What the estimator that serves this kind believes at first."""
    begun = house_charge.begin(Vehicle(Battery("house", name, 100.0), Battery("starter", "flooded", 60.0)))
    if isinstance(begun, LithiumState):
        return begun.estimate.mixture[0].mean[state.LOSS]
    return begun.belief.mean[charge_filter.LOSS]
