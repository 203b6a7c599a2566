"""Trade practice of charging, regulation, cranking, drop and fuses, on what a vehicle's readings lead to."""
import pytest

from monitor import pipeline
from monitor.battery.label import Battery, Vehicle
from monitor.battery.limits import alternator_over_voltage_v, limits_of, over_voltage_v
from monitor.circuits import design, fuse, source
from monitor.circuits.circuit import Circuit, Refused
from monitor.detection.starter import crank
from monitor.guides.text import read_guide
from monitor.sample import Sample
from monitor.sampling.gather import minutes

STARTER = Battery("starter", "flooded", 70.0)


def lived(vehicle: Vehicle, readings):
    """Findings after each minute of (house volts, house amperes, starter volts, °C), ten seconds apart."""
    held, found = pipeline.begin(vehicle), []
    samples = (Sample(10.0 * (k + 1), v, a, s, c, hour=(8.0 + k / 360.0) % 24) for k, (v, a, s, c) in enumerate(readings))
    for minute in minutes(samples):
        held, now = pipeline.step(held, minute, vehicle)
        found.append(now)
    return found


@pytest.mark.parametrize("cell_v", [3.50, 3.60])
def test_lithium_is_full_where_the_current_tapers_at_the_upper_voltage(cell_v: float) -> None:
    """Usual practice (from memory): 3.45 to 3.60 V a cell with the current down to a twentieth of the capacity is 100 %."""
    vehicle = Vehicle(Battery("house", "lfp", 100.0), STARTER)
    rising = [(13.2 + 0.2 * k / 720, 20.0, 12.7, 22.0) for k in range(720)]
    steep = [(13.4 + (4 * cell_v - 13.4) * k / 120, 20.0, 12.7, 22.0) for k in range(120)]
    taper = [(4 * cell_v, 20.0 - 15.5 * min(k / 180, 1.0), 12.7, 22.0) for k in range(400)]
    found = lived(vehicle, rising + steep + taper)
    assert found[-1].charge.charge_frac.value == pytest.approx(1.0, abs=0.03) and found[-1].charge.anchor == "full"
    assert any(e.kind == "full_charge" for f in found for e in f.news)
    # on the plateau, at a fifth of its capacity and 3.35 V a cell, it is not
    assert not any(e.kind == "full_charge" for f in found[:119] for e in f.news)


@pytest.mark.parametrize("chemistry", ["flooded", "agm", "gel"])
def test_in_the_cold_a_charger_may_go_as_much_higher_as_practice_has_it(chemistry: str) -> None:
    """IEEE 1187 and 1188 practice (from memory): 3 to 5 mV a kelvin and cell from 25 °C, 18 to 30 mV a kelvin for 12 V."""
    house = Battery("house", chemistry, 100.0)
    at_25, at_10 = over_voltage_v(house, 25.0), over_voltage_v(house, 10.0)
    assert 15 * 0.018 <= at_10 - at_25 <= 15 * 0.030
    # 14.4 V at 25 °C is 14.67 to 14.85 V at 10 °C: no alert of too high a voltage there
    found = lived(Vehicle(house, STARTER), [(14.85, 5.0, 12.7, 10.0)] * 720)
    assert not any(c.active for c in found[-1].conditions if c.kind == "house_over_voltage")
    assert any(c.kind == "house_over_voltage" for c in found[-1].conditions)


@pytest.mark.parametrize("volts", [13.8, 14.1, 14.4, 14.8])
def test_an_alternator_in_its_usual_range_is_seen_and_is_no_fault(volts: float) -> None:
    """Practice (from memory): regulated to 13.8 to 14.4 V, to 14.8 V in the cold."""
    vehicle = Vehicle(Battery("house", "agm", 100.0), STARTER)
    start = [(12.6, -1.0, 12.65, 5.0)] * 360 + [(12.6, -1.0, 10.4, 5.0)] + [(12.6, -1.0, volts, 5.0)] * 360
    found = lived(vehicle, start)
    assert found[50].join.engine == "off" and found[-1].join.engine == "running"
    assert not any(c.active for c in found[-1].conditions if "over_voltage" in c.kind)


def test_no_limit_is_reached_within_the_range_of_an_alternator_under_engine_control() -> None:
    """Practice (from memory): 12.2 to 15.0 V. What is told as too high in a flooded battery begins at its end."""
    assert limits_of("flooded").over_voltage_v >= 15.0
    for chemistry in ("flooded", "agm", "gel"):
        assert alternator_over_voltage_v(Battery("starter", chemistry, 70.0), 25.0) > 15.0
        assert alternator_over_voltage_v(Battery("starter", chemistry, 70.0), 45.0) > 15.0


@pytest.mark.parametrize(("lowest_v", "grade"), [(10.4, {"healthy"}), (10.9, {"healthy"}), (9.3, {"borderline", "weak"}), (8.3, {"weak"})])
def test_starts_are_graded_as_practice_has_it(lowest_v: float, grade: set[str]) -> None:
    """At 21 °C at least 9.6 V while cranking, 10 to 11 V usual; below 8.5 V it is about to fail (service practice, from memory)."""
    trace = [(0.02 * k, 12.6) for k in range(100)]
    trace += [(2.0 + 0.02 * k, lowest_v if k < 6 else lowest_v + 0.5) for k in range(45)]
    trace += [(2.9 + 0.02 * k, min(12.6 + 0.05 * k, 14.2)) for k in range(150)]
    assert crank.judge(tuple(trace), 21.0).verdict in grade


def test_a_critical_circuit_may_drop_3_per_cent_and_another_10_out_and_back() -> None:
    """ABYC E-11 (two reprints): 3 % critical, 10 % other, over the length out AND back; ISO 13297 has 10 % (from memory)."""
    battery = source.battery_supply("house", "agm", capacity_ah=100.0)
    tight = design.design(Circuit("radio", 3.0, 15.0), battery).run
    loose = design.design(Circuit("lamp", 3.0, 15.0, drop_pct=10.0), battery).run
    # copper at 20 °C, 0.01724 ohm mm2/m (IEC 60028), 30 m of it at 3 A: 4.31 mm2 for 0.36 V, 1.29 mm2 for 1.2 V
    assert tight.area_mm2 == 6.0 and tight.drop_pct <= 3.0
    assert 1.29 < loose.area_mm2 <= 2.5 and 3.0 < loose.drop_pct <= 10.0
    with pytest.raises(Refused, match="between 0.1 and 10"):
        design.design(Circuit("lamp", 10.0, 5.0, drop_pct=12.0), battery)


def test_a_fuse_sits_within_7_inches_of_its_source_and_40_where_the_cable_is_sheathed() -> None:
    """33 CFR 183.455 (read); the trade's 72 in (ABYC E-11, from memory) is longer than the law's 40 and is not offered."""
    fuse.check_place(7 * 0.0254, sheathed=False)
    fuse.check_place(40 * 0.0254, sheathed=True)
    for distance_m, sheathed in ((7 * 0.0254 + 0.005, False), (40 * 0.0254 + 0.005, True), (72 * 0.0254, True)):
        with pytest.raises(ValueError, match="1016 mm"):
            fuse.check_place(distance_m, sheathed)
    guide, notes = read_guide("wiring"), design.design(Circuit("radio", 10.0, 5.0)).notes
    assert "178 mm (7 in)" in guide and "1016 mm (40 in)" in guide and "178 mm" in notes[0] and "1016 mm" in notes[0]
