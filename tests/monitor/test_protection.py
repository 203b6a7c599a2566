"""A lithium battery that cuts itself off is told from a full one, an empty one and a lost sensor; a sound one never is."""
from collections.abc import Iterator
from dataclasses import replace

import pytest

from drivers.vehicle import Ordered, Plan, VehicleSim
from drivers.vehicle.protection import Protection as Switches
from drivers.vehicle.protection import ProtectionPlan
from drivers.vehicle.scenarios import lithium_valley, lithium_winter
from monitor import pipeline
from monitor.alerts import rules
from monitor.battery.label import Battery, Vehicle
from monitor.battery.limits import told_within_s
from monitor.config.load import load
from monitor.detection.house import protection
from monitor.findings import Estimate
from monitor.process.replay import samples
from monitor.sample import Minute, Sample
from monitor.sampling.gather import minutes
from monitor.store.saving import from_text, to_text
from tests.benchmarks.ensemble import journey, owner, vehicles
from tests.reference import RECORDINGS, vehicle_toml

DAY_S, HOUR_S = 86400.0, 3600.0
LFP = Vehicle(Battery("house", "lfp", 100.0), Battery("starter", "flooded", 70.0))
VALLEY = replace(lithium_valley(4), house=replace(lithium_valley(4).house, soc_frac=0.4))


def _minutes(rows: list[tuple[float | None, float, float | None]]) -> Iterator[Minute]:
    """Single readings a minute: volts, amperes, battery temperature."""
    return minutes(Sample(60.0 * k, volts, amps, 12.7, warm_c) for k, (volts, amps, warm_c) in enumerate(rows, 1))


def _seen(rows: list[tuple[float | None, float, float | None]], vehicle: Vehicle = LFP) -> list[tuple[float, str, tuple[str, ...]]]:
    """(second, path, causes) of every change."""
    held, seen, before = protection.begin(), [], ""
    for minute in _minutes(rows):
        held = protection.update(held, minute, vehicle)
        found = protection.findings(held, vehicle)
        if found.path != before:
            seen.append((minute.end_s, found.path, found.causes))
            before = found.path
    assert from_text(protection.Protection, to_text(held)) == held
    return seen


CHARGING = [(13.45 + 0.001 * k, 18.0, 12.0) for k in range(20)]


def test_a_charge_that_ends_at_once_under_the_chargers_voltage_is_no_full_battery() -> None:
    (opened, closed) = _seen([*CHARGING, *[(14.2, 0.0, 12.0)] * 30, *[(13.4, 12.0, 14.0)] * 5])
    assert opened[1] == "charge" and opened[0] - 20 * 60.0 <= 300.0
    assert closed[1] == ""


def test_a_load_that_takes_what_the_sun_gives_is_no_refusal_and_a_controller_that_is_left_alone_is() -> None:
    """6 A of sun, measured apart: a fridge takes all of it; or the battery refuses it, and the controller gives its loads 0.4 A."""
    def path(sun_after_a: float) -> str:
        held = protection.begin()
        shown = (Sample(60.0 * (k + 1), 13.455 - (0.008 if k >= 20 else 0.0), 0.05 if k >= 20 else 6.1, 12.7, 22.0,
                        solar_current_a=sun_after_a if k >= 20 else 6.1) for k in range(30))
        for minute in minutes(shown):
            held = protection.update(held, minute, LFP)
        return held.path

    assert path(6.12) == "" and path(0.4) == "charge"


@pytest.mark.parametrize(("rows", "cause"), [
    ([(13.4, 18.0, -1.0)] * 20, "cold"),
    ([(13.4, 18.0, 58.0)] * 20, "heat"),
    ([(13.6, 70.0, 20.0)] * 20, "too much current"),
    ([(14.1, 18.0, 20.0)] * 20, "one cell is fuller"),
])
def test_the_cause_is_read_off_what_was_before(rows: list[tuple[float, float, float]], cause: str) -> None:
    ((_, _, causes),) = _seen([*rows, *[(14.3, 0.0, rows[0][2])] * 10])
    assert causes[0].startswith(cause)


def test_a_charger_that_finds_the_path_open_already_is_seen_too() -> None:
    ((_, path, causes),) = _seen([*[(13.1, -0.1, -3.0)] * 20, *[(14.2, 0.0, -3.0)] * 10])
    assert path == "charge" and causes[0].startswith("cold")


@pytest.mark.parametrize("rows", [
    [*CHARGING, *[(13.25 - 0.002 * k, 0.0, 12.0) for k in range(20)]],              # the sun or the engine is gone
    [(14.2, 20.0 * 0.8**k, 12.0) for k in range(40)],                               # full: less and less
    [*[(14.2, 6.0, 12.0)] * 20, *[(13.5, 0.0, 12.0)] * 20],                         # absorption is over, float
    [*CHARGING, *[(13.30, -12.0, 12.0)] * 20],                                      # a load takes it all
    [*[(13.4 + 0.05 * k, 9.0, 12.0) for k in range(8)], *[(13.69, 0.1, 12.0)] * 9],  # a load takes it all while the voltage climbs
    [*[(13.1, -0.1, 12.0)] * 10, *[(13.2 + 0.05 * k, 4.0, 12.0) for k in range(10)]],
], ids=["charger gone", "tail", "float", "load", "load on a climb", "charge begins"])
def test_whatever_else_ends_a_charge_is_none(rows: list[tuple[float, float, float]]) -> None:
    assert _seen(rows) == []


@pytest.mark.parametrize("gone_v", [0.4, None], ids=["measured", "refused as impossible"])
def test_a_voltage_that_is_gone_with_the_current_is_a_cut_off(gone_v: float | None) -> None:
    seen = _seen([*[(13.1, -8.0, 20.0)] * 20, *[(gone_v, 0.0, 20.0)] * 20, *[(13.2, -1.0, 20.0)] * 5])
    assert [path for _, path, _ in seen] == ["discharge", ""]
    assert seen[0][0] - 20 * 60.0 <= told_within_s()["protection_tripped"]


def test_a_voltage_lead_that_came_off_is_none_the_current_goes_on() -> None:
    assert _seen([*[(13.1, -8.0, 20.0)] * 20, *[(None, -8.0, 20.0)] * 20]) == []
    assert _seen([*[(13.1, -8.0, 20.0)] * 20, *[(0.2, -8.0, 20.0)] * 20]) == []


def test_lead_acid_has_no_such_switches() -> None:
    agm = replace(LFP, house=Battery("house", "agm", 100.0))
    assert _seen([*CHARGING, *[(14.2, 0.0, 12.0)] * 30], agm) == []


def _lived(plan: Plan, days: float) -> tuple[list[tuple[float, str]], list[tuple[float, str]], list[tuple[float, float, float, float]],
                                             float]:
    """(second, kind) of alerts as they are raised; of events; (second, truth, low, high) of charge; last second of life."""
    vehicle, sim = owner(plan), VehicleSim(plan)
    truth: dict[float, float] = {}

    def seen() -> Iterator[Sample]:
        while sim.at_s < days * DAY_S - 1.0:
            sim.step(60.0)
            truth[sim.at_s] = sim.state.house_soc_frac
            yield Sample(sim.at_s, hour=sim.at_s / HOUR_S % 24.0, **sim.reading().values)

    held, alerts, kinds, events, charges = pipeline.begin(vehicle), rules.begin(), [], [], []
    for minute in minutes(seen()):
        held, found = pipeline.step(held, minute, vehicle, pipeline.ALL)
        alerts = rules.update(alerts, found.conditions, found.at_s)
        kinds += [(c.at_s, c.alert.kind) for c in alerts.news if c.what == "raised"]
        events += [(e.at_s, e.kind) for e in found.news]
        if isinstance(found.charge.charge_frac, Estimate):
            e = found.charge.charge_frac
            charges.append((found.at_s, truth[minute.end_s], e.low, e.high))
    return kinds, events, charges, sim.at_s


@pytest.mark.slow
def test_the_charge_estimate_does_not_take_a_refused_charge_for_a_full_one() -> None:
    """In the cold of the winter scenario the charger stands at 14.2 V for hours every day, and the battery takes nothing."""
    kinds, events, charges, _ = _lived(lithium_winter(13), 3.0)
    first_s = next(at_s for at_s, kind in kinds if kind == "protection_tripped")
    assert first_s / HOUR_S == pytest.approx(8.03, abs=told_within_s()["protection_tripped"] / HOUR_S)
    assert "full_charge" not in {kind for _, kind in events}, "it never was full"
    assert "shunt_bypassed" not in {kind for _, kind in kinds}
    late = [(truth, low, high) for at_s, truth, low, high in charges if at_s > 2 * DAY_S]
    assert all(low - 0.02 <= truth <= high + 0.02 for truth, low, high in late)


@pytest.mark.slow
def test_a_cut_off_under_load_is_neither_empty_nor_a_divider() -> None:
    plan = replace(VALLEY, faults=(Ordered("discharge_path_open", 1.05 * DAY_S, 1.25 * DAY_S),))
    kinds, events, _, _ = _lived(plan, 1.5)
    at_s = next(at for at, kind in kinds if kind == "protection_tripped")
    assert at_s - 1.05 * DAY_S <= told_within_s()["protection_tripped"]
    assert not {"house_under_voltage", "house_deep_discharge", "house_divider_wrong", "house_low"} & {kind for _, kind in kinds}
    assert "empty_seen" not in {kind for _, kind in events}


@pytest.mark.slow
@pytest.mark.parametrize("case", ["lithium", "lithium worn"])
def test_sound_lithium_vehicles_never_trip(case: str) -> None:
    for plan in vehicles(case, 6, seed=71):
        vehicle, held = owner(plan), protection.begin()
        for minute in minutes(sample for sample, _ in journey(plan, 60.0)):
            held = protection.update(held, minute, vehicle)
            assert not held.path, (plan.name, minute.end_s / DAY_S)


def test_the_recorded_lithium_drive_never_trips(tmp_path) -> None:
    (tmp_path / "van.toml").write_text(vehicle_toml(RECORDINGS / "lfp-camp"))
    vehicle = load(tmp_path / "van.toml", need_sources=False).vehicle
    held = protection.begin()
    for minute in minutes(samples(RECORDINGS / "lfp-camp" / "readings.csv.gz", None, 100.0)):
        held = protection.update(held, minute, vehicle)
        assert not held.path


@pytest.mark.parametrize(("inner_v", "current_a", "temperature_c", "charge_open", "discharge_open"), [
    (13.3, 10.0, -1.0, True, False), (13.3, 10.0, 5.0, False, False), (15.1, 10.0, 20.0, True, False),
    (9.8, -5.0, 20.0, False, True), (13.2, -150.0, 20.0, False, True), (13.3, 150.0, 20.0, True, False)])
def test_the_simulated_switches_open_where_they_should(
    inner_v: float, current_a: float, temperature_c: float, charge_open: bool, discharge_open: bool,
) -> None:
    switches = Switches(ProtectionPlan(), 100.0)
    switches.step(inner_v, current_a, temperature_c, current_a)
    assert (switches.charge_open, switches.discharge_open) == (charge_open, discharge_open)
