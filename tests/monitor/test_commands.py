"""The commands over a real log and a real configuration: what they print, write and return."""
import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from monitor.cli import COMMANDS, commands
from monitor.store import requests
from tests.store_fixture import fill

CONFIG = """
[house]
chemistry = "agm"
rated_capacity_ah = 60
[starter]
chemistry = "agm"
rated_capacity_ah = 70
"""
SIMULATED = '[[source]]\ndriver = "simulated"\n'


def _run(*words: object, **more: object) -> Result:
    return CliRunner().invoke(commands, [str(word) for word in words], **more)


def _config(folder: Path, more: str = SIMULATED) -> Path:
    path = folder / "ampledger.toml"
    path.write_text(CONFIG + more)
    return path


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a configuration and a log of half a day."""
    folder = tmp_path_factory.mktemp("filled")
    fill(folder / "ampledger.db", days=0.5)
    return _config(folder)


def test_every_command_has_help_worth_reading() -> None:
    for name in COMMANDS:
        said = _run(name, "--help")
        assert said.exit_code == 0 and len(said.output) > 200, name


def test_help_imports_neither_the_database_nor_the_validator() -> None:
    code = ("import sys\nfrom monitor.cli import commands\ncommands.main(['--help'], standalone_mode=False)\n"
            "heavy = {'sqlalchemy', 'pydantic', 'flask', 'rich', 'apscheduler', 'numpy', 'monitor.pipeline'} & set(sys.modules)\n"
            "assert not heavy, heavy")
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


@pytest.mark.parametrize("words", [["status"], ["export"], ["check"], ["alerts", "list"], ["backup", "x.db"], ["doctor"], ["run"]])
def test_without_a_configuration_each_command_says_so_in_a_sentence(tmp_path: Path, words: list[str]) -> None:
    done = _run(*words, "--config", tmp_path / "none.toml")
    assert done.exit_code == 1 and "there is no such file" in done.output and "Traceback" not in done.output


def test_the_environment_names_the_configuration(filled: Path) -> None:
    assert _run("status", env={"AMPLEDGER_CONFIG": str(filled)}).exit_code == 0


def test_status_says_it_in_sentences_and_that_it_is_simulated(filled: Path) -> None:
    said = _run("status", "--config", filled).output
    assert said.startswith("SIMULATED")
    for words in ("The house battery", "The starter battery", "Today the house battery received", "As of 2026-06-21"):
        assert words in said


def test_status_as_json_has_every_figure_with_its_interval(filled: Path) -> None:
    said = json.loads(_run("status", "--config", filled, "--json").output)
    charge = said["findings"]["charge"]["charge_frac"]
    assert charge["low"] <= charge["value"] <= charge["high"] and charge["basis"]
    assert said["simulated"] is True and said["at_utc"] == "2026-06-21T12:00:00+00:00"
    assert [alert["kind"] for alert in said["alerts"]]


def test_status_without_a_log_says_what_to_do(tmp_path: Path) -> None:
    done = _run("status", "--config", _config(tmp_path))
    assert done.exit_code == 1 and "there is no log yet; start `ampledger run`" in done.output


def test_check_reads_each_sensor_and_says_what_to_do(tmp_path: Path) -> None:
    good = _run("check", "--config", _config(tmp_path))
    assert good.exit_code == 0 and "all is well" in good.output and "SIMULATED" in good.output and "house_voltage_v" in good.output
    chip = tmp_path / "hwmon" / "hwmon0"
    chip.mkdir(parents=True)
    (chip / "name").write_text("ina226\n")
    (chip / "in1_input").write_text("126\n")  # a tenth of a volt: the divider's ratio was forgotten
    source = (f'[[source]]\ndriver = "hwmon"\nchip = "ina226"\nroot = "{chip.parent}"\n[source.measures]\n'
              'house_voltage_v = "in1"\nhouse_current_a = "curr1"\n')
    bad = _run("check", "--config", _config(tmp_path, source))
    assert bad.exit_code == 1
    for words in ("0.126 V", "WRONG", "no reading", "starter_voltage_v", "not configured"):
        assert words in bad.output, words
    (chip / "in1_input").write_text("9800\n")
    (chip / "curr1_input").write_text("-1200\n")
    odd = _run("check", "--config", _config(tmp_path, source))
    assert odd.exit_code == 0 and "LOOK" in odd.output and "1 worth a look" in odd.output


@pytest.mark.parametrize("millivolts", ["126", "2600"])
def test_a_voltage_behind_an_unknown_divider_is_no_fault(tmp_path: Path, millivolts: str) -> None:
    """Neither for `check` nor for `doctor`, whatever the channel shows: it is no battery's voltage yet."""
    chip = tmp_path / "hwmon" / "hwmon0"
    chip.mkdir(parents=True)
    for name, text in (("name", "ina226"), ("in1_input", millivolts)):
        (chip / name).write_text(f"{text}\n")
    config = _config(tmp_path, f'[[source]]\ndriver = "hwmon"\nchip = "ina226"\nroot = "{chip.parent}"\n[source.measures]\n'
                     'starter_voltage_v = "in1"\n[commissioning]\nstarter_divider = "unknown"\n')
    checked, looked = _run("check", "--config", config), _run("doctor", "--config", config)
    assert checked.exit_code == 0 and "at the channel" in checked.output
    line = next(line for line in looked.output.splitlines() if "starter_voltage_v" in line)
    assert line.startswith("LOOK") and "at the channel" in line and "its divider is not known yet" in looked.output


def test_a_simulated_source_beside_a_real_one_is_refused(tmp_path: Path) -> None:
    source = SIMULATED + '[[source]]\ndriver = "hwmon"\nchip = "x"\n[source.measures]\nhouse_voltage_v = "in1"\n'
    done = _run("check", "--config", _config(tmp_path, source))
    assert done.exit_code == 1 and "mix invented readings with measured ones" in done.output


def test_export_of_every_reading_is_whole_and_can_be_replayed(filled: Path, tmp_path: Path) -> None:
    done = _run("export", "--config", filled, "--every", "raw", "-o", tmp_path / "raw.csv")
    assert done.exit_code == 0, done.output
    rows = list(csv.DictReader((tmp_path / "raw.csv").read_text().splitlines()))
    assert len(rows) == 0.5 * 86400 / 20
    assert rows[0]["utc"] == "2026-06-21T00:00:20.000Z" and rows[-1]["utc"] == "2026-06-21T12:00:00.000Z"
    _run("export", "--config", filled, "--every", "recording", "-o", tmp_path / "r.csv")
    replayed = _run("replay", tmp_path / "r.csv", "--vehicle", filled, "--estimates", tmp_path / "e.csv")
    assert replayed.exit_code == 0, replayed.output
    assert len((tmp_path / "e.csv").read_text().splitlines()) > 600


@pytest.mark.parametrize(("every", "rows"), [("minutes", 720), ("quarters", 48), ("hours", 12)])
def test_export_of_roll_ups_has_a_row_for_each_span(filled: Path, every: str, rows: int) -> None:
    lines = _run("export", "--config", filled, "--every", every).output.splitlines()
    assert len(lines) == rows + 1
    assert lines[0].startswith("utc_start,utc_end,house_voltage_v")


def test_export_of_a_span_takes_only_that(filled: Path) -> None:
    lines = _run("export", "--config", filled, "--from", "2026-06-21T06:00+00:00", "--to", "2026-06-21T07:00+00:00").output.splitlines()
    assert len(lines) in (61, 62)
    refused = _run("export", "--config", filled, "--from", "yesterday")
    assert refused.exit_code == 1 and "is not a time; write it as" in refused.output


def test_export_tells_of_a_damaged_hour_and_writes_all_the_rest(tmp_path: Path) -> None:
    import sqlite3

    from monitor.store.chunks import pack

    database = fill(tmp_path / "ampledger.db", days=0.2)
    with sqlite3.connect(database) as log:
        rows = log.execute("select * from samples order by at_ms limit 180").fetchall()
        at, end, count, crc, body = pack(rows)
        log.execute("insert into chunks values (?, ?, ?, ?, ?)", (at, end, count, crc ^ 1, body))
        log.execute("delete from samples where at_ms <= ?", (end,))
    log.close()
    done = _run("export", "--config", _config(tmp_path), "--every", "raw", "-o", tmp_path / "raw.csv")
    assert done.exit_code == 1 and "are damaged" in done.output
    assert len((tmp_path / "raw.csv").read_text().splitlines()) == 1 + 0.2 * 86400 / 20 - 180


def test_backup_and_restore_go_there_and_back(tmp_path: Path) -> None:
    fill(tmp_path / "ampledger.db", days=0.1)
    config = _config(tmp_path)
    made = _run("backup", "--same-card", tmp_path / "copy.db", "--config", config)
    assert made.exit_code == 0 and "read back and whole" in made.output
    (tmp_path / "ampledger.db").write_bytes(b"spoilt")
    back = _run("restore", tmp_path / "copy.db", "--config", config, "--yes")
    assert back.exit_code == 0, back.output
    assert _run("status", "--config", config).exit_code == 0
    assert _run("restore", config, "--config", config, "--yes").exit_code == 1, "a configuration is no copy of a log"


def test_alerts_are_listed_and_requests_are_left_for_the_daemon(filled: Path) -> None:
    listed = _run("alerts", "list", "--config", filled).output
    assert "house low" in listed and "Check first:" in listed
    number = next(line.split()[0] for line in listed.splitlines() if "house low" in line)
    for asked in (("alerts", "acknowledge", number), ("alerts", "shelve", number, "--hours", 4),
                  ("battery", "replaced", "house", "--capacity", 80), ("calibrate", "zero")):
        kept = _run(*asked, "--config", filled)
        assert kept.exit_code == 3 and "the daemon is not running. Your wish is kept" in kept.output
    asked = requests.take(filled.parent / "requests")
    assert [request.kind for request in asked] == ["acknowledge", "shelve", "battery_replaced", "calibrate_zero"]
    assert asked[1].values == {"alert": int(number), "for_s": 14400.0}


def test_acknowledging_what_is_not_there_is_refused(filled: Path) -> None:
    done = _run("alerts", "acknowledge", 999, "--config", filled)
    assert done.exit_code == 1 and "no open alert number 999" in done.output


def test_alerts_test_tries_each_way_and_says_which_failed(tmp_path: Path) -> None:
    script = tmp_path / "tell.py"
    script.write_text(f"import sys; open({str(tmp_path / 'told')!r}, 'w').write(sys.stdin.read())")
    good = _run("alerts", "test", "--config", _config(tmp_path, f'[alerts]\ncommand = ["{sys.executable}", "{script}"]\n'))
    assert good.exit_code == 0 and "command: sent" in good.output
    assert json.loads((tmp_path / "told").read_text())["kind"] == "test"
    bad = _run("alerts", "test", "--config", _config(tmp_path, '[alerts]\ncommand = ["/nowhere/tell"]\n'))
    assert bad.exit_code == 1 and "command: NOT sent" in bad.output


def test_doctor_names_what_is_wrong(tmp_path: Path) -> None:
    config = _config(tmp_path)
    sick = _run("doctor", "--config", config)
    assert sick.exit_code == 1 and "there is no log yet" in sick.output
    fill(tmp_path / "ampledger.db", days=0.1)
    well = _run("doctor", "--config", config)
    assert "whole" in well.output and "no nightly copy is configured" in well.output and "house_voltage_v" in well.output


def test_a_code_is_hashed_as_the_pages_want_it(tmp_path: Path) -> None:
    from werkzeug.security import check_password_hash

    from dashboard.__main__ import hash_in

    done = _run("code", input="three odd words\nthree odd words\n")
    assert done.exit_code == 0
    config = _config(tmp_path, "\n".join(done.output.splitlines()[-2:]) + "\n")
    assert check_password_hash(hash_in(config), "three odd words")
    assert "three odd" not in config.read_text()
    assert _run("code", input="short\nshort\n").exit_code == 1


def test_an_unknown_command_or_option_says_so() -> None:
    assert "No such command" in _run("chekc").output
    assert "No such option" in _run("check", "--frobnicate").output


@pytest.mark.slow
def test_pages_serves_as_the_configuration_wants_it(filled: Path) -> None:
    """A code in the configuration locks the pages; the port is the configured one."""
    import socket
    import time
    import urllib.error
    import urllib.request

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    hashed = _run("code", input="three odd words\nthree odd words\n").output.splitlines()[-1]
    config = filled.parent / "pages.toml"
    config.write_text(filled.read_text() + f'[dashboard]\naddress = "127.0.0.1:{port}"\ncode_to_read = true\n{hashed}\n')
    pages = subprocess.Popen([sys.executable, "-m", "monitor", "pages", "--config", str(config)], stderr=subprocess.DEVNULL)
    try:
        for _ in range(200):
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5)
                raise AssertionError("it answered without the code")
            except urllib.error.HTTPError as error:
                assert error.code == 401
                return
            except urllib.error.URLError:
                time.sleep(0.05)
        raise AssertionError("no answer")
    finally:
        pages.terminate()
        pages.wait(10)
