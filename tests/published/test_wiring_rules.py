"""Rules of law, manuals and arithmetic that the wiring guide, the starting help and the circuit sheet must keep."""
import re

import pytest

from monitor.battery.limits import limits_of
from monitor.circuits import conductor, fuse, source, ventilation
from monitor.circuits.circuit import Circuit, Refused
from monitor.circuits.design import design
from monitor.circuits.tables import FUSE_CLASSES, SIZES
from monitor.guides.text import read_guide

METRIC = {size.area_mm2: size for size in SIZES["metric"]}
WIRING, STARTING = (re.sub(r"[*`]|\s+(?=\s)", "", read_guide(name)) for name in ("wiring", "starting-help"))
AGM = source.battery_supply("house", "agm", 100)

#: IEC 60364-5-52, PVC 70 °C, method B2, three loaded cores: air -> amperes of 4 6 10 16 25 35 50 70 mm2 (reprint).
B2_WARM = {40: (23, 30, 40, 54, 70, 86, 103, 130), 50: (19, 24, 33, 44, 57, 70, 84, 106), 55: (16, 21, 28, 38, 49, 60, 72, 91)}


@pytest.mark.parametrize("area_mm2", (4, 6, 10, 16, 25, 35, 50, 70))
@pytest.mark.parametrize("ambient_c", B2_WARM)
def test_conduit_in_warm_air_stays_within_the_international_table(ambient_c: int, area_mm2: int) -> None:
    printed = B2_WARM[ambient_c][(4, 6, 10, 16, 25, 35, 50, 70).index(area_mm2)]
    assert conductor.ampacity_a(METRIC[area_mm2], 70, ambient_c, loaded_count=3, laid="conduit") <= printed


@pytest.mark.parametrize(("load_a", "gauge", "engine_bay", "law_a"), [
    (80, "4 AWG", False, 240), (60, "4 AWG", True, 204), (40, "6 AWG", True, 153)])
def test_the_fuse_is_never_above_what_the_law_allows(load_a: float, gauge: str, engine_bay: bool, law_a: float) -> None:
    """33 CFR 183.455(c) and 46 CFR 183.380(d): the next larger standard size, at most 150 % of the conductor of table 5, class 105 °C."""
    place = "engine bay" if engine_bay else "cabin"
    found = design(Circuit("x", load_a, 0.5, conductor=gauge, insulation_c=105, place=place, ambient_c=50 if engine_bay else 30,
                           loaded_count=1), AGM)
    assert load_a <= found.run.fuse.rating_a <= law_a / 1.5


@pytest.mark.parametrize(("chemistry", "capacity_ah", "count"), [("agm", 130, 4), ("flooded", 100, 6), ("lfp", 300, 2), ("gel", 260, 2)])
def test_large_banks_get_at_least_20_ka_or_are_refused(chemistry: str, capacity_ah: float, count: int) -> None:
    """ABYC E-11 as quoted: above 500 Ah, where a bank can push more than 10 kA, 20 kA at 125 V direct current or more."""
    bank = source.battery_supply("bank", chemistry, capacity_ah, count=count)
    assert count * capacity_ah > 500 and bank.short_circuit_a > 10_000
    try:
        found = design(Circuit("x", 40, 1, insulation_c=105), bank)
    except Refused as refused:
        assert "fuse each of the batteries in parallel by itself" in str(refused)
    else:
        assert found.run.fuse.breaking_a >= 20_000
        assert any("besides this fuse one at each of them" in note for note in found.notes)


#: ISO 8820-3 and -5:2015, scope (read): class -> greatest rating [A] and what it breaks [A].
ROAD_VEHICLE = {"blade fuse": (100, 1000), "large blade fuse": (100, 1000), "bolted strip fuse": (500, 2000)}


@pytest.mark.parametrize("name", ROAD_VEHICLE)
def test_road_vehicle_fuses_break_what_their_standard_has_in_its_scope(name: str) -> None:
    kind = next(k for k in FUSE_CLASSES if k.name == name)
    most_a, breaking_a = ROAD_VEHICLE[name]
    assert kind.breaking_a == breaking_a and max(kind.ratings_a) <= most_a
    if name == "bolted strip fuse":
        assert (min(kind.ratings_a), max(kind.ratings_a)) == (30, 500)


@pytest.mark.parametrize(("ratio", "low_s", "high_s"), [
    (1.1, 360_000, None), (1.35, 0.75, 600), (2.0, 0.15, 5), (3.5, 0.04, 0.5), (6.0, 0.02, 0.1)])
def test_a_blade_fuse_by_every_cell_of_its_standards_table(ratio: float, low_s: float, high_s: float | None) -> None:
    """ISO 8820-3, types C and F (from memory). The longest times are what a cable must outlast; it carries 110 % for 100 hours."""
    blade = next(k for k in FUSE_CLASSES if k.name == "blade fuse")
    if high_s is None:
        assert blade.carries_ratio == ratio
    elif ratio == 1.35:
        assert blade.blows_ratio == ratio and high_s <= 3600
    else:
        assert dict(blade.fast)[ratio] == high_s > low_s


def test_every_figure_of_a_fuse_has_its_mark() -> None:
    from monitor.circuits.tables import FUSES

    for row in FUSES["class"]:
        assert row["basis"].keys() == {"ratings_a", "breaking_a", "carries_ratio", "blows_ratio", "fast"}, row["name"]
        assert set(row["basis"].values()) <= {"read", "reprint", "from memory"}


def test_general_fuses_of_north_american_rating_blow_within_the_hour_at_135_per_cent() -> None:
    """UL 248-14 (reprint): a 30 A fuse may carry 40 A for an hour; the conductor is chosen so that it may, too."""
    class_t = next(k for k in FUSE_CLASSES if k.name == "class T fuse")
    assert class_t.blows_ratio == 1.35
    may_a = 40.0
    assert 1.35 * fuse.greatest_rating_a(class_t, may_a) <= 1.45 * may_a


@pytest.mark.parametrize("kind", ["control", "sense"])
def test_control_and_measuring_wires_are_fused_too(kind: str) -> None:
    """46 CFR 183.380(c)."""
    assert 1 <= design(Circuit("x", 0.3 if kind == "control" else 0.1, 4, kind=kind), AGM).run.fuse.rating_a <= 3


def test_no_single_wire_is_thinner_than_16_gauge_without_a_word() -> None:
    """33 CFR 183.425(d)-(f): single conductors 16 AWG (1.31 mm2) at least, 18 in a sheath."""
    for current_a in (0.3, 1, 2, 4):
        found = design(Circuit("x", current_a, 1, drop_pct=10), AGM)
        assert (found.run.area_mm2 < 1.3) is any("16 AWG" in note for note in found.notes)


@pytest.mark.parametrize(("words", "figure"), [
    ("178 mm (7 in)", 7 * 25.4), ("1016 mm (40 in)", 40 * 25.4),     # 33 CFR 183.455(b)
    ("at least every 610 mm", 24 * 25.4),                            # 46 CFR 183.340(b)(4)
    ("does not move 25 mm", 25.4),                                   # 33 CFR 183.420(a)
])
def test_lengths_of_the_law_in_millimetres(words: str, figure: float) -> None:
    assert words in WIRING
    assert float(re.search(r"(\d+) mm", words)[1]) == pytest.approx(figure, abs=0.5)


@pytest.mark.parametrize("words", [
    "no clamp that holds by a spring alone on a battery post",                   # 33 CFR 183.420(g)
    "twice its weight in any direction; its posts are covered",                  # 33 CFR 183.420(a)-(b)
    "more nicked strands than FAA AC 43.13-1B allows (none broken in 24 to 14 AWG)",     # table 11-13
    "79 to 101 V for up to 400 ms (ISO 16750-2 test A)", "35 V where the alternator has a central clamp (test B)",
    "rated at 23 °C and 6000 turns a minute (SAE J56, ISO 8854)", "hydrogen burns from 4 % in air",
    "gas stays in and around the battery for hours after charging",              # US Army TM 5-3895-359-14&P
    "One opening low, one high, to the outside",
])
def test_what_law_standards_and_manuals_say_stands_in_the_guide(words: str) -> None:
    assert words in WIRING


@pytest.mark.parametrize("words", [
    "The charge it gave is in the starter battery now", "one red lead between the two positive posts is all it takes",
    "frozen, cracked, leaking, swollen or hot", "Wait 5 to 15 minutes with the lead on", "3 to 5 minutes of rest", "After two tries",
    "then bare metal of the flat vehicle's engine", "the vehicles do not touch", "up to half an hour for a battery that is quite empty",
    "local codes and a licensed electrician have the last word",
])
def test_starting_help_keeps_the_order_and_the_pauses_of_the_manuals(words: str) -> None:
    """Public safety texts; US Army TM 5-5420-202-10, slave starting: 30 minutes of charging, 3 to 5 between two tries, 15 s at most."""
    assert words in STARTING
    tries_s = [int(number) for number in re.findall(r"(?:at most|for) (\d+) seconds", STARTING)]
    assert tries_s and max(tries_s) <= 15


@pytest.mark.parametrize(("words", "value", "worked"), [
    ("0.25 A past the shunt are 6 Ah a day", 6.0, 0.25 * 24),
    ("0.25 A in 5 mΩ of a shared lead are 1.25 mV, which a 0.1 mΩ shunt shows as 12.5 A", 12.5, 0.25 * 5e-3 / 0.1e-3),
    ("One cable lug of 20 µΩ inside the pair adds 20 %", 20.0, 100 * 20e-6 / (50e-3 / 500)),
    ("10 µV of offset on 0.1 mΩ are 0.1 A, 2.4 Ah a day", 2.4, 24 * 10e-6 / 0.1e-3),
    ("0.22 mm² without a fuse carries 148 A into a short and burns in 0.03 s", 0.029, (115 * 0.22 / 148) ** 2),
    ("reaches 1 % after 44 minutes", 44.0, 60 * 0.01 * 200 / (6 * 0.456)),
    ("right within 0.3 % of the ripple", 0.3, 100 / (3.14159 * 100 * 1)),
    ("with 10 Hz bring 100 Hz down to a tenth", 10.0, (1 + (100 / 10) ** 2) ** 0.5),
    ("Out and back side by side carry 78 %", 78.0, 100 * 114 / 146),
    ("three such pairs together 55 %", 55.0, 100 * 0.70 * 114 / 146),
    ("ten 37 %", 37.0, 100 * (0.50 - 0.05 / 3) * 114 / 146),
])
def test_figures_of_the_guide_worked_by_hand(words: str, value: float, worked: float) -> None:
    assert words in WIRING
    assert value == pytest.approx(worked, rel=0.06)


@pytest.mark.parametrize(("capacity_ah", "least_a", "most_a"), [(80, 3.5, 5.5), (100, 4.0, 6.0)])
def test_charge_after_a_deep_discharge_is_as_slow_as_the_manuals_have_it(capacity_ah: float, least_a: float, most_a: float) -> None:
    """US Army TM 5-4210-230-14&P-1: 4 A for 9 plates a cell, 5 A for 11 (TM 5-3820-256-24-4); sealed of 80 to 125 min 5 A."""
    for chemistry in ("flooded", "agm", "gel"):
        assert least_a <= limits_of(chemistry).recovery_rate_per_h * capacity_ah <= most_a


@pytest.mark.parametrize(("gas_a_per_100_ah", "flow"), [(2.0, 0.60), (1.0, 0.30)])
def test_the_traction_form_is_the_same_formula(gas_a_per_100_ah: float, flow: float) -> None:
    """EN 50272-3 / 62485-3, table 1 (reprint): 0.05 n I C / 100, vented 2 A and sealed 1 A for 100 Ah at 2.4 V a cell."""
    assert ventilation.calculate_ventilation(100, 10 * gas_a_per_100_ah).flow_m3_per_h == pytest.approx(flow)


def test_the_design_limit_is_a_quarter_of_what_can_explode() -> None:
    """1 % by fire codes and IEEE 1635; 4 % and 4.1 % (OSHA) are the lower explosive limit."""
    limit = ventilation.VENTILATION["flow"]
    assert limit["design_limit_pct"] == 1.0 and 4.0 <= limit["lower_explosive_limit_pct"] <= 4.1


def test_a_switch_with_two_batteries_closes_on_what_algebra_says() -> None:
    """14.2 V against 12.3 V over 12 and 8 milliohm: 95 A; ours counts with the worse pair of voltages over the same resistance."""
    from monitor.circuits.design import join_inrush_a
    from monitor.circuits.tables import BATTERIES

    battery = source.battery_supply("b", "flooded", short_circuit_a=12.7 / 4e-3)
    rush = join_inrush_a(battery, battery, 2 * (12e-3 - BATTERIES["join"]["contact_ohm"]))
    assert rush * (14.2 - 12.3) / (BATTERIES["join"]["high_v"] - BATTERIES["join"]["low_v"]) == pytest.approx(95, rel=0.02)
    assert rush > 95
