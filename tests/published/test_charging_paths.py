"""What the engine puts back: the ampere-hour law, the algebra of two sources behind a cable, copper's resistance."""
from math import exp

import pytest

from monitor.planning import charging_paths as paths
from monitor.planning.charging_paths import EnginePath, Luck

KINDS = ("flooded", "agm", "gel")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("charge", [0.92, 0.95, 0.98])
def test_the_ampere_hour_law(kind: str, charge: float) -> None:
    """Woodbridge 1935, Vinal: towards the end no more amperes than ampere-hours are missing, up to 2.4 V a cell."""
    for volts in (13.6, 14.0, 14.4):
        assert paths.accepted_a(kind, 100.0, charge, volts) <= (1 - charge) * 100


def test_what_is_missing_dies_away() -> None:
    """Textbook: time constant one hour at the end of a charge, 10 Ah missing: 3.7, 1.35, 0.5 Ah after one, two, three hours."""
    sound = Luck(acceptance=1 / paths.ACCEPTANCE_H)
    missing, found = 10.0, []
    for minute in range(180):
        missing -= paths.accepted_a("agm", 100.0, 1 - missing / 100, 14.4, luck=sound) / 60
        if minute % 60 == 59:
            found.append(missing)
    assert found == pytest.approx([3.7, 1.35, 0.5], rel=0.25)     # and the battery's resistance, which the textbook leaves out


#: A boat electrician's measurement of one somewhat used AGM battery (Compass Marine, "How fast can an AGM battery be charged?", read as
#: quoted by others): 105 Ah rated, 95.7 Ah by a test at the 20 h rate, 25 °C, charged from half at 14.4 V by 0.4 and 0.2 of its
#: rating. Current -> charge at which it became the battery's own to limit, and hours until it had fallen to 0.5 A.
MEASURED_AH = 95.69
MEASURED = {42.0: (0.633, 5.3), 21.0: (0.774, 5.5)}
#: What one hour of the larger current put in, by a discharge back to half [Ah].
FIRST_HOUR_AH = 33.43


@pytest.mark.parametrize("current", MEASURED)
def test_a_measured_battery_takes_what_is_said(current: float) -> None:
    taken = paths.accepted_a("agm", MEASURED_AH, MEASURED[current][0], 14.4)
    assert taken == pytest.approx(current, rel=0.2)


@pytest.mark.parametrize("current", MEASURED)
def test_a_measured_charge_lasts_as_long(current: float) -> None:
    charge, minutes, first_hour = 0.495, 0, 0.0
    while (taken := min(current, paths.accepted_a("agm", MEASURED_AH, charge, 14.4))) > 0.005 * 105:
        charge += taken / 60 / MEASURED_AH
        minutes += 1
        first_hour = (charge - 0.495) * MEASURED_AH if minutes == 60 else first_hour
    assert minutes / 60 == pytest.approx(MEASURED[current][1], rel=0.2)
    if current == max(MEASURED):
        assert first_hour == pytest.approx(FIRST_HOUR_AH, rel=0.1)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("sigmas", [-2, 0, 2])
def test_cold_and_half_empty_it_takes_what_the_standard_asks(kind: str, sigmas: int) -> None:
    """IEC 60095-1 and EN 50342-1, charge acceptance (from memory): half discharged, at 0 °C and 14.4 V, twice the ten-hour current.

    The slow end of the range holds it, too: it is asked of every starter battery.
    """
    luck = Luck(acceptance=exp(sigmas * paths.ACCEPTANCE_SIGMA))
    assert paths.accepted_a(kind, 100.0, 0.5, 14.4, temperature_c=0.0, luck=luck) >= 20


@pytest.mark.parametrize("kind", [*KINDS, "lfp"])
def test_never_more_than_ohms_law_lets_through(kind: str) -> None:
    """14.2 V, 12 mΩ of cable and relay: a battery at 12.3 V with 8 mΩ would draw 95 A at once; no more than its own algebra here."""
    for charge in (0.1, 0.5, 0.8):
        through = (14.2 - paths.electromotive_v(kind, charge)) / 0.012
        assert 0 <= paths.accepted_a(kind, 100.0, charge, 14.2, 0.012) < through


def test_the_cable_is_copper() -> None:
    """IEC 60228: 16 mm² has 1.15 to 1.21 mΩ/m at 20 °C (class 2 and 5); out and back over 5 m, at 50 °C 11.8 % more."""
    found = paths.cable_ohm(EnginePath("relay", 5.0, 16.0))
    assert 2 * 5 * 0.00115 * 1.11 < found < 2 * 5 * 0.00121 * 1.13


@pytest.mark.parametrize("kind", KINDS)
def test_hours_of_driving_are_told_with_their_range(kind: str) -> None:
    """Practice: a plain relay takes longer than a charger that holds the absorption voltage; it says 5 to 9 h against 3 h or so, more than
    a battery needs that takes what the measured one above does."""
    relay = paths.driving_hours(EnginePath("relay", 5, 16), kind, 100.0)
    charger = paths.driving_hours(EnginePath("dcdc", rating_a=30), kind, 100.0)
    assert relay.low < relay.value < relay.high and charger.low <= charger.value < charger.high
    assert charger.value < relay.value
    assert 3.5 <= relay.value <= 9 and relay.high >= 5 and 2.5 <= charger.value <= 4
    assert charger.value >= 45 / 30 / 0.95                        # no charger gives more than its rating


def test_longer_thinner_colder_take_longer() -> None:
    usual = paths.driving_hours(EnginePath("relay", 5, 16), "agm", 100.0).value
    assert paths.driving_hours(EnginePath("relay", 10, 6), "agm", 100.0).value > usual
    assert paths.driving_hours(EnginePath("relay", 5, 16), "agm", 100.0, air_c=-10).value > usual
    assert paths.driving_hours(EnginePath("relay", 5, 16, managed=True), "agm", 100.0).value > 2 * usual


def test_lithium_is_not_charged_in_frost_and_half_its_capacity_an_hour_at_most() -> None:
    assert paths.accepted_a("lfp", 100.0, 0.5, 14.4, temperature_c=-3.0) == 0
    assert paths.accepted_a("lfp", 100.0, 0.2, 14.4) <= 50
    assert paths.driving_hours(EnginePath("dcdc", rating_a=30), "lfp", 100.0, air_c=-5) is None


def test_an_hour_takes_what_its_minutes_take() -> None:
    table = paths.taken_in([100.0 - k for k in range(101)], 100.0)
    assert table[50] == pytest.approx(50 * (1 - 2.718281828**-1), rel=0.05)
    assert table[100] == 0


def test_what_is_warned_of() -> None:
    assert any("engine control" in w for w in paths.warnings(EnginePath("relay", managed=True), "agm", 100))
    assert any("bare alternator" in w for w in paths.warnings(EnginePath("relay"), "lfp", 100))
    assert not paths.warnings(EnginePath("dcdc", rating_a=30), "lfp", 100)
    assert any("to spare" in w for w in paths.warnings(EnginePath("dcdc", rating_a=60), "lfp", 200))
