"""Since when hot, last full, last balanced or equalised: out of hours put together by hand."""
import pytest

from monitor.battery.label import Battery
from monitor.reporting.care import CareHour, list_care

HOUR_S = 3600.0
NOW_S = 100 * HOUR_S


def hours(**of: tuple[float | None, float | None]) -> list[CareHour]:
    """Hundred quiet hours, 13.0 V and 20 °C; h40=(14.2, 50.0) sets one of them."""
    given = {int(name[1:]): pair for name, pair in of.items()}
    return [CareHour(i * HOUR_S, (i + 1) * HOUR_S, *given.get(i, (13.0, 20.0))) for i in range(100)]


def rows(chemistry: str, found: list[CareHour], full_s: float | None = None, **label) -> dict[str, tuple[str, str]]:
    battery = Battery("house", chemistry, 100.0, **label)
    return {name: (value, note) for name, value, note in list_care(battery, found, full_s, NOW_S, lambda s: f"hour {s / HOUR_S:.0f}")}


def test_a_quiet_log_says_that_nothing_of_it_is_in_it() -> None:
    found = rows("lfp", hours())
    assert found["Last full"][0] == found["Cells last balanced"][0] == "not in this log" and found["Too hot"][0] == "never in this log"


def test_the_latest_full_charge_is_said_with_its_age() -> None:
    assert rows("agm", hours(), 52 * HOUR_S)["Last full"] == ("hour 52", "2 days ago")


def test_heat_that_goes_on_is_said_since_when_a_short_break_does_not_end_it() -> None:
    found = rows("agm", hours(h10=(13.0, 60.0), h95=(13.0, 47.0), h97=(13.0, 52.0), h98=(13.0, 50.0), h99=(13.0, 48.0)))
    value, note = found["Hot since"]
    assert value == "hour 95" and "hottest hour 52 °C" in note


def test_heat_that_is_over_is_said_with_its_length() -> None:
    value, note = rows("agm", hours(h40=(13.0, 50.0), h41=(13.0, 51.0)))["Last too hot"]
    assert value == "hour 40" and note.startswith("for 2 h") and "51 °C" in note


def test_without_a_thermometer_heat_is_not_known() -> None:
    assert rows("agm", [CareHour(0.0, HOUR_S, 13.0, None)])["Too hot"][0] == "not known"


@pytest.mark.parametrize(("chemistry", "label", "volts", "seen"), [
    ("lfp", "Cells last balanced", 14.1, True), ("lfp", "Cells last balanced", 13.8, False),
    ("flooded", "Last equalised", 15.2, True), ("flooded", "Last equalised", 14.7, False)])
def test_balancing_and_equalising_are_known_by_an_hour_at_their_voltage(chemistry: str, label: str, volts: float, seen: bool) -> None:
    assert rows(chemistry, hours(h70=(volts, 20.0)), 70.5 * HOUR_S)[label][0] == ("hour 71" if seen else "not in this log")


def test_a_charger_s_voltage_on_an_open_protection_balances_nothing() -> None:
    """The cells were held off from it: there was no full charge, or the last one is days ago."""
    held_off = hours(h97=(14.4, -1.0), h98=(14.4, -1.0))
    assert rows("lfp", held_off)["Cells last balanced"][0] == "not in this log"
    assert rows("lfp", hours(h20=(14.2, 20.0), h97=(14.4, -1.0)), 20.5 * HOUR_S)["Cells last balanced"][0] == "hour 21"


def test_an_owner_s_equalising_voltage_counts() -> None:
    assert rows("flooded", hours(h70=(14.5, 20.0)), equalise_v=14.6)["Last equalised"][0] == "hour 71"


def test_what_is_never_equalised_has_no_such_row() -> None:
    assert set(rows("gel", hours())) == {"Last full", "Too hot"}
