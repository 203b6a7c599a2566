"""Every fault of a configuration at once, with its place and its cure."""
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.config import load

GOOD = """
[house]
chemistry = "lfp"
rated_capacity_ah = 100
[starter]
chemistry = "flooded"
rated_capacity_ah = 70
"""


def _write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "van.toml"
    path.write_text(text)
    return path


def _faults(tmp_path: Path, text: str, **how) -> str:
    with pytest.raises(load.ConfigError) as caught:
        load.load(_write(tmp_path, text), **how)
    return str(caught.value)


def test_the_smallest_vehicle_gets_sensible_defaults(tmp_path: Path) -> None:
    vehicle = load.load(_write(tmp_path, GOOD), need_sources=False).vehicle
    assert vehicle.house.rated_hours == 20 and vehicle.house.reserve_soc_frac == 0.2
    assert vehicle.charging == "unknown" and vehicle.bedtime_hour is None


def test_lead_acid_keeps_half_in_reserve(tmp_path: Path) -> None:
    vehicle = load.load(_write(tmp_path, GOOD.replace("lfp", "agm")), need_sources=False).vehicle
    assert vehicle.house.reserve_soc_frac == 0.5


def test_all_faults_are_told_together_with_place_value_and_cure(tmp_path: Path) -> None:
    said = _faults(tmp_path, """
[house]
chemistry = "agn"
rated_capacity_ah = -5
rated_hour = 20
[vehicle]
bedtime = "25:00"
[[source]]
driver = "recordde"
""")
    for words in ("[starter]", "this table is missing", "chemistry = 'agn'", "'agm'", "rated_capacity_ah = -5",
                  "greater than 1", "did you mean rated_hours?", "bedtime = '25:00'", "recordde", "recorded"):
        assert words in said, words
    assert all(line.startswith(str(tmp_path)) for line in said.splitlines() if ".toml" in line)


def test_an_unknown_table_names_its_neighbour(tmp_path: Path) -> None:
    assert "did you mean vehicle?" in _faults(tmp_path, GOOD + "[vehicel]\nx = 1\n", need_sources=False)


def test_float_above_absorption_is_a_fault(tmp_path: Path) -> None:
    text = GOOD.replace("[starter]", "absorption_v = 13.5\nfloat_v = 14.4\n[starter]")
    assert "exchange them" in _faults(tmp_path, text, need_sources=False)


def test_a_dc_dc_charger_has_no_relay_that_follows_anything(tmp_path: Path) -> None:
    text = GOOD + '[vehicle]\ncharging = "dc_dc"\nisolator_follows = "engine"\n'
    assert "leave one of them out" in _faults(tmp_path, text, need_sources=False)


def test_broken_toml_names_the_line(tmp_path: Path) -> None:
    assert "line 3" in _faults(tmp_path, "[house]\nchemistry = 'agm'\nrated = = 3\n")


def test_no_sensor_is_a_fault_for_the_daemon_but_not_for_a_replay(tmp_path: Path) -> None:
    assert "no instrument is configured" in _faults(tmp_path, GOOD)
    load.load(_write(tmp_path, GOOD), need_sources=False)


def test_a_missing_file_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(load.ConfigError, match="there is no such file"):
        load.load(tmp_path / "none.toml")


def test_a_drivers_own_options_are_checked_before_anything_is_opened(tmp_path: Path) -> None:
    said = _faults(tmp_path, GOOD + '[[source]]\ndriver = "recorded"\nfile = "a.csv"\nspeed = 3\n')
    assert "[source] number 1" in said and "speed" in said


def test_the_database_lies_beside_the_configuration(tmp_path: Path) -> None:
    loaded = load.load(_write(tmp_path, GOOD), need_sources=False)
    assert loaded.log.database == tmp_path / "ampledger.db"


@given(st.text(max_size=200))
def test_any_text_is_either_a_configuration_or_a_list_of_faults(tmp_path_factory, text: str) -> None:
    path = tmp_path_factory.mktemp("any") / "x.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        load.load(path)
    except load.ConfigError as error:
        assert str(error)
