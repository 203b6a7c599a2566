"""A recording through the command line: what is written, and what is said of bad input."""
import csv
import gzip
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import commands

VEHICLE = '[house]\nchemistry = "agm"\nrated_capacity_ah = 60\n[starter]\nchemistry = "agm"\nrated_capacity_ah = 60\n'
HEADER = "t_s,house_v,house_a,starter_v,house_temp_c"


@pytest.fixture
def vehicle(tmp_path: Path) -> Path:
    path = tmp_path / "vehicle.toml"
    path.write_text(VEHICLE)
    return path


def _run(readings: Path, vehicle: Path, *more: str):
    return CliRunner().invoke(commands, ["replay", str(readings), "--vehicle", str(vehicle), *more])


def _hours(path: Path, hours: float, extra: str = "") -> Path:
    rows = [HEADER + (",more" if extra else "")]
    rows += [f"{k * 30},{12.6 - k * 1e-5:.4f},-2.0,12.7,20{extra}" for k in range(1, int(hours * 120))]
    text = "\n".join(rows) + "\n"
    if path.suffix == ".gz":
        with gzip.open(path, "wt") as file:
            file.write(text)
    else:
        path.write_text(text)
    return path


def test_three_sheets_are_written_with_the_promised_columns(tmp_path: Path, vehicle: Path) -> None:
    out = {name: tmp_path / f"{name}.csv" for name in ("estimates", "events", "forecasts")}
    done = _run(_hours(tmp_path / "r.csv.gz", 5), vehicle, *[x for n, p in out.items() for x in (f"--{n}", str(p))])
    assert done.exit_code == 0, done.output
    sheets = {name: path.read_text().splitlines() for name, path in out.items()}
    heads = {name: lines[0] for name, lines in sheets.items()}
    assert heads["estimates"] == ("t_s,soc,soc_low,soc_high,capacity_ah,capacity_low_ah,capacity_high_ah,"
                                            "house_resistance_ohm,isolator,engine,starter_soc")
    assert heads["events"] == "t_s,kind,battery,message"
    assert heads["forecasts"] == "t_issued_s,t_predicted_s,t_low_s,t_high_s,probability_before_sun"
    rows = list(csv.DictReader(sheets["estimates"]))
    assert [float(r["t_s"]) for r in rows] == [60.0 * k for k in range(1, 300)]
    known = [r for r in rows if r["soc"]]
    assert all(float(r["soc_low"]) <= float(r["soc"]) <= float(r["soc_high"]) for r in known)
    assert len({r["soc"] for r in known}) > 10, "the charge moves"
    assert len(list(csv.DictReader(sheets["forecasts"]))) in (5, 6)


def test_every_spaces_the_estimates(tmp_path: Path, vehicle: Path) -> None:
    _run(_hours(tmp_path / "r.csv", 5), vehicle, "--estimates", str(tmp_path / "e.csv"), "--every", "3600")
    assert len((tmp_path / "e.csv").read_text().splitlines()) in (6, 7)


def test_other_columns_are_passed_over(tmp_path: Path, vehicle: Path) -> None:
    assert _run(_hours(tmp_path / "r.csv", 1, ",x"), vehicle, "--estimates", str(tmp_path / "e.csv")).exit_code == 0


@pytest.mark.parametrize(("text", "words"), [
    ("", "header must name t_s"),
    ("a,b\n1,2\n", "header must name t_s"),
    (HEADER + "\n30,12.5,x,12.7,20\n", "line 2: not a row of numbers"),
    (HEADER + "\n30,12.5,1,12.7,20\n30,12.5,1,12.7,20\n", "line 3: t_s = 30 does not come after 30"),
    (HEADER + "\n30,12.5\n", "line 2"),
    (HEADER + "\n", "there is no row"),
])
def test_bad_readings_get_one_sentence_with_file_and_line(tmp_path: Path, vehicle: Path, text: str, words: str) -> None:
    (tmp_path / "r.csv").write_text(text)
    done = _run(tmp_path / "r.csv", vehicle, "--estimates", str(tmp_path / "e.csv"))
    assert done.exit_code == 1 and words in done.output and "Traceback" not in done.output


def test_a_cut_off_gzip_file_is_told(tmp_path: Path, vehicle: Path) -> None:
    whole = _hours(tmp_path / "w.csv.gz", 5).read_bytes()
    (tmp_path / "cut.csv.gz").write_bytes(whole[: len(whole) // 2])
    done = _run(tmp_path / "cut.csv.gz", vehicle, "--estimates", str(tmp_path / "e.csv"))
    assert done.exit_code == 1 and "cut.csv.gz" in done.output


def test_a_wrong_start_or_missing_file_is_told(tmp_path: Path, vehicle: Path) -> None:
    assert "is not a time" in _run(_hours(tmp_path / "r.csv", 1), vehicle, "--start", "noon").output
    assert "No such file" in _run(tmp_path / "none.csv", vehicle, "--estimates", str(tmp_path / "e.csv")).output


def test_a_column_that_falls_blank_is_a_lost_sensor(tmp_path: Path, vehicle: Path) -> None:
    rows = [HEADER] + [f"{k * 30},12.6,-2.0,{'' if k > 200 else 12.7},20" for k in range(1, 400)]
    (tmp_path / "r.csv").write_text("\n".join(rows) + "\n")
    assert _run(tmp_path / "r.csv", vehicle, "--events", str(tmp_path / "e.csv")).exit_code == 0
    lost = [r for r in csv.DictReader((tmp_path / "e.csv").read_text().splitlines()) if r["kind"] == "sensor_lost"]
    assert [r["battery"] for r in lost] == ["starter"]
    assert 6300 <= float(lost[0]["t_s"]) <= 6420


@pytest.mark.parametrize(("row", "words"), [
    (lambda k: f"{k * 30},{12600 - k},-2.0,12.7,20",
     "house_v is 12569.5, which no 12 V vehicle shows (3 to 20); it looks like millivolts: divide by 1000"),
    (lambda k: f"{k * 30},12.6,-2.0,{1270 - k / 100},20",
     "starter_v is 1269.7, which no 12 V vehicle shows (3 to 20); it looks like hundredths of a volt"),
    (lambda k: f"{k * 30},12.6,-45000,12.7,20",
     "house_a is -45000, which no 12 V vehicle shows (-1500 to 1500); it looks like milliamperes: divide by 1000 (-45)"),
    (lambda k: f"{k * 30},{12.6 - k * 1e-5:.4f},-800,12.7,20",
     "of a battery of 60 Ah (at t_s = 450); if it is in milliamperes, divide it by 1000"),
    (lambda k: f"{k * 30},{12.6 - k * 1e-5:.4f},-60,12.7,20", "within 3 h of a battery of 60 Ah"),
    (lambda k: f"{k * 30},12.6,-2.0,12.7,293.1", "it looks like kelvin: subtract 273.15"),
    (lambda k: f"{k * 1000},12.6,-2.0,12.7,20", "t_s goes on by 1000 s from row to row"),
])
def test_columns_in_another_unit_are_refused_with_the_likely_one(tmp_path: Path, vehicle: Path, row, words: str) -> None:
    (tmp_path / "r.csv").write_text("\n".join([HEADER, *(row(k) for k in range(1, 400))]) + "\n")
    done = _run(tmp_path / "r.csv", vehicle, "--estimates", str(tmp_path / "e.csv"))
    assert done.exit_code == 1 and words in done.output and done.output.count("\n") == 1, done.output


def test_single_wild_values_are_left_out_as_the_daemon_leaves_them_out(tmp_path: Path, vehicle: Path) -> None:
    """A tenth of the readings is nonsense; nothing that is concluded leaves what the other nine show."""
    rows = [f"{k * 30},{99999 if k % 10 == 3 else 12.6},{1e7 if k % 10 == 5 else -2.0},12.7,{400 if k % 10 == 7 else 20}"
            for k in range(1, 1200)]
    (tmp_path / "r.csv").write_text("\n".join([HEADER, *rows]) + "\n")
    done = _run(tmp_path / "r.csv", vehicle)
    assert done.exit_code == 0, done.output
    assert "In all" in done.output and "16.0 Ah" in done.output, done.output  # 2 A over the eighth tenths that are known (8.0 h of 10.0)


@pytest.mark.parametrize("junk", [bytes(range(256)) * 40, b"t_s,house_v\n30,12.5\n\x00\x00\x00\n", b"SQLite format 3\x00" + bytes(4000),
                                  HEADER.encode() + b"\n30,12.5,1,12.7,20\n\xff\xfe\x80\n"])
@pytest.mark.parametrize("name", ["junk.csv", "junk.csv.gz"])
def test_what_is_no_recording_gets_one_sentence(tmp_path: Path, vehicle: Path, junk: bytes, name: str) -> None:
    (tmp_path / name).write_bytes(junk)
    done = _run(tmp_path / name, vehicle)
    assert done.exit_code == 1 and name in done.output and "Traceback" not in done.output and done.output.count("\n") == 1, done.output


def test_judging_costs_no_valid_reading(tmp_path: Path, vehicle: Path) -> None:
    """A shunt that is 0.1 A off for a month, and a battery that is emptied and filled each day, are no wrong unit."""
    from monitor.sampling.recording_judge import judge

    rows = [(k * 60.0, 12.5, -0.1 + (45.0 if k // 60 % 4 < 2 else -45.0), 12.7, 20.0) for k in range(30 * 1440)]
    assert list(judge(rows, "r.csv", 60.0)) == rows
