"""What set-up on a phone leaves for root: taken over whole, or refused in a sentence with nothing written."""
import os
from pathlib import Path

import pytest

from monitor.cli import Refused
from monitor.commands.setup_finish import take_over
from monitor.config.faults import ConfigError
from monitor.config.load import load
from monitor.process.access_code import hash_code

LOG = Path("/var/lib/ampledger/ampledger.db")
SOUND = f"""[house]
chemistry = "agm"
rated_capacity_ah = 100
[starter]
chemistry = "flooded"
rated_capacity_ah = 70
[log]
database = "{LOG}"
[[source]]
driver = "hwmon"
chip = "ina226"
[source.measures]
house_voltage_v = "in1"
"""


@pytest.fixture
def left(tmp_path: Path) -> Path:
    folder = tmp_path / "result"
    folder.mkdir()
    (folder / "ampledger.toml").write_text(SOUND)
    (folder / "ampledger-answers.toml").write_text('house = "agm 100"\n')
    return folder


def test_the_configuration_the_answers_and_the_wish_to_open_the_pages_are_taken_over(left: Path, tmp_path: Path) -> None:
    (left / "code-hash").write_text(hash_code("1234-567-890"))
    path = tmp_path / "etc/ampledger.toml"
    take_over(left, path, LOG)
    made = load(path)
    assert made.vehicle.house.rated_capacity_ah == 100 and made.dashboard.open_to_network
    assert oct(path.stat().st_mode & 0o777) == "0o640" and "agm 100" in (path.parent / "ampledger-answers.toml").read_text()


def test_unasked_the_pages_stay_closed(left: Path, tmp_path: Path) -> None:
    take_over(left, tmp_path / "ampledger.toml", LOG)
    assert not load(tmp_path / "ampledger.toml").dashboard.open_to_network


@pytest.mark.parametrize(("text", "why"), [
    (SOUND + '[dashboard]\nkey_file = "/etc/shadow"\n', "dashboard"), (SOUND + '[alerts]\ncommand = ["/bin/sh"]\n', "alerts"),
    (SOUND.replace(str(LOG), "/etc/passwd"), "another log"), ("[house", "not TOML"), ("x" * 200_000, "no plain file")])
def test_what_set_up_does_not_write_is_refused(left: Path, tmp_path: Path, text: str, why: str) -> None:
    (left / "ampledger.toml").write_text(text)
    with pytest.raises(Refused, match=why):
        take_over(left, tmp_path / "ampledger.toml", LOG)
    assert not (tmp_path / "ampledger.toml").exists()


def test_an_unsound_configuration_is_refused(left: Path, tmp_path: Path) -> None:
    (left / "ampledger.toml").write_text(SOUND.replace('"agm"', '"tin"'))
    with pytest.raises(ConfigError):
        take_over(left, tmp_path / "ampledger.toml", LOG)
    assert not (tmp_path / "ampledger.toml").exists()


def test_links_and_pipes_are_not_followed_and_a_configuration_that_is_there_stays(left: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret.toml"
    secret.write_text(SOUND)
    (left / "ampledger.toml").unlink()
    (left / "ampledger.toml").symlink_to(secret)
    with pytest.raises(OSError, match="symbolic"):
        take_over(left, tmp_path / "ampledger.toml", LOG)
    (left / "ampledger.toml").unlink()
    os.mkfifo(left / "ampledger.toml")
    with pytest.raises(Refused, match="no plain file"):
        take_over(left, tmp_path / "ampledger.toml", LOG)
    (tmp_path / "ampledger.toml").write_text("# mine\n")
    with pytest.raises(Refused, match="is there already"):
        take_over(left, tmp_path / "ampledger.toml", LOG)
    assert (tmp_path / "ampledger.toml").read_text() == "# mine\n"


@pytest.mark.parametrize(("refused", "active", "words"), [
    ("", (), "are started"), ("Job for ampledger.service canceled.", ("ampledger", "ampledger-dashboard"), "are started"),
    ("Failed to connect to bus: no such file", ("ampledger",), "could not be started: Failed to connect to bus")])
def test_a_start_that_systemd_refuses_is_told_in_its_own_words(refused: str, active: tuple[str, ...], words: str, monkeypatch) -> None:
    from monitor.process import board_services, network

    def asked(*arguments: str) -> str:
        if arguments[0] == "is-active":
            return "" if set(arguments[2:]) <= set(active) else "inactive"
        return refused if arguments[0] == "restart" else ""

    monkeypatch.setattr(network, "ask_systemd", asked)
    monkeypatch.setattr(board_services, "SUPERSEDED_S", 0.0)
    assert words in board_services.start_services()
