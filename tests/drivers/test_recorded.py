"""Recordings as people have them: blanks, other columns, gzip, and files that are wrong."""
import gzip
from pathlib import Path

import pytest

from drivers.errors import CannotOpen, ReadFailed
from drivers.recorded import RecordedDriver, RecordedOptions, columns

HEADER = "t_s,house_v,house_a,starter_v,house_temp_c\n"


def _file(tmp_path: Path, text: str, name: str = "log.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(gzip.compress(text.encode()) if name.endswith(".gz") else text.encode())
    return path


@pytest.mark.parametrize("name", ["log.csv", "log.csv.gz"])
def test_rows_come_as_numbers_and_blanks_as_missing(tmp_path: Path, name: str) -> None:
    path = _file(tmp_path, HEADER + "0,12.65,-1.5,12.8,21.0\n1,,0,,\r\n\n2.5,1e1,+2,12.7,-3\n", name)
    assert list(columns(path)) == [(0, 12.65, -1.5, 12.8, 21.0), (1, None, 0, None, None), (2.5, 10, 2, 12.7, -3)]


def test_columns_may_stand_in_any_order_among_others_or_be_absent(tmp_path: Path) -> None:
    path = _file(tmp_path, "note,house_a,t_s,house_v\nhello,-2,7,12.5\n,,8,12.4\n")
    assert list(columns(path)) == [(7, 12.5, -2, None, None), (8, 12.4, None, None, None)]


@pytest.mark.parametrize("absurd", ["nan", "inf", "-inf", "NaN"])
def test_what_is_no_measurement_is_missing(tmp_path: Path, absurd: str) -> None:
    path = _file(tmp_path, HEADER + f"0,{absurd},1,12,20\n1,12,{absurd},12,\n")
    assert list(columns(path)) == [(0, None, 1, 12, 20), (1, 12, None, 12, None)]


@pytest.mark.parametrize(("rows", "words"), [
    ("0,12,1,12,20\n1,12,x,12,20\n", "line 3: not a row of numbers: 1,12,x,12,20"),
    ("0,12,1,12,20\n1,12\n", "line 3: not a row of numbers: 1,12"),
    ("0,12,1,12,20\n0,12,1,12,20\n", "line 3: t_s = 0 does not come after 0"),
    ("5,12,1,12,20\n4,12,1,12,20\n", "line 3: t_s = 4 does not come after 5"),
    ("nan,12,1,12,20\n", "line 2: t_s = nan"), ("inf,12,1,12,20\n", "line 2: t_s = inf"), (",12,1,12,20\n", "line 2: not a row"),
])
def test_a_wrong_row_is_named_by_file_line_and_value(tmp_path: Path, rows: str, words: str) -> None:
    path = _file(tmp_path, HEADER + rows)
    with pytest.raises(ReadFailed) as caught:
        list(columns(path))
    assert str(path) in str(caught.value) and words in str(caught.value)


@pytest.mark.parametrize(("text", "words"), [
    ("", "seen: nothing"), ("time,volts\n", "the header must name t_s"), ("t_s,volts\n", "at least one of house_v")])
def test_a_file_of_another_kind_says_what_the_header_must_name(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(CannotOpen, match=words):
        list(columns(_file(tmp_path, text)))


def test_a_file_that_is_not_what_its_name_says_is_one_clear_error(tmp_path: Path) -> None:
    plain = tmp_path / "log.csv.gz"
    plain.write_text(HEADER + "0,12,1,12,20\n")
    with pytest.raises(ReadFailed, match="log.csv.gz.*[Nn]ot a gzip"):
        list(columns(plain))
    cut = _file(tmp_path, HEADER + "".join(f"{k},12,1,12,20\n" for k in range(5000)), "cut.csv.gz")
    cut.write_bytes(cut.read_bytes()[:-40])
    with pytest.raises(ReadFailed, match="cut.csv.gz, after line"):
        list(columns(cut))
    binary = tmp_path / "b.csv"
    binary.write_bytes(HEADER.encode() + b"0,\xff\xfe,1,1,1\n")
    with pytest.raises(ReadFailed, match="b.csv"):
        list(columns(binary))


def test_a_missing_file_says_so(tmp_path: Path) -> None:
    with pytest.raises(CannotOpen, match="nothing.csv"):
        list(columns(tmp_path / "nothing.csv"))
    with pytest.raises(CannotOpen, match="there is no such recording"):
        RecordedDriver(RecordedOptions(file=tmp_path / "nothing.csv"))


def test_the_driver_gives_a_row_a_reading_with_its_own_time_and_then_ends(tmp_path: Path) -> None:
    driver = RecordedDriver(RecordedOptions(file=_file(tmp_path, HEADER + "3,12.65,-1.5,,21.0\n")))
    reading = driver.read()
    assert (reading.at_s, reading.values) == (3.0, {"house_voltage_v": 12.65, "house_current_a": -1.5, "house_temperature_c": 21.0})
    for _ in range(2):
        with pytest.raises(ReadFailed, match="the recording has ended"):
            driver.read()
    driver.close()
