"""The commands of a collector, the board's thread, and the settings of both: what they say, also to bad input."""
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from monitor.cli import commands
from monitor.config import load
from monitor.config.faults import ConfigError
from monitor.fleet.publish_thread import PublishThread, publish_thread
from monitor.fleet.publishing import NoConnection, Publisher
from monitor.fleet.settings import read_settings


@pytest.fixture
def collection(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'fleet.db'}"


def fleet(collection: str, *arguments: str) -> Result:
    return CliRunner().invoke(commands, ["fleet", *arguments, "--collection", collection])


def test_from_the_first_vehicle_to_its_battery(collection: str, published_log: Path) -> None:
    assert "No vehicle is enrolled yet" in fleet(collection, "list").stdout
    enrolled = fleet(collection, "enrol", "hilux-07")
    assert enrolled.exit_code == 0 and enrolled.stdout.startswith("amp-") and "[publish]" in enrolled.stderr
    assert "batches taken for hilux-07" in fleet(collection, "import", str(published_log), "hilux-07").stdout
    assert "nothing new for hilux-07" in fleet(collection, "import", str(published_log), "hilux-07").stdout
    assert "The house battery is at 31 %." in fleet(collection, "list").stdout
    kept = fleet(collection, "battery", "hilux-07", "--model", "AGM 100", "--fitted", "2026-03-01")
    assert kept.stdout == "hilux-07: AGM 100, delivery not known, fitted 2026-03-01\n"
    assert len(fleet(collection, "person", "ada", "--role", "acknowledge").stdout.strip()) == 10
    assert "Nothing more is taken from hilux-07" in fleet(collection, "revoke", "hilux-07").stdout
    refused = fleet(collection, "import", str(published_log), "hilux-07")
    assert refused.exit_code == 1 and "was taken back on" in refused.stderr
    assert fleet(collection, "key", "hilux-07").stdout.startswith("amp-")


@pytest.mark.parametrize(("arguments", "said"), [
    (("enrol", "a name/with strange things"), "cannot be a vehicle's name"),
    (("move", "ghost"), "no vehicle is enrolled yet"),
    (("battery", "ghost", "--fitted", "soon"), "'soon' is no day"),
    (("person", ""), "a person needs a name"),
    (("person", "ghost", "--remove"), "there is nobody called 'ghost'"),
    (("import", "/no/such/log.db", "ghost"), "no vehicle is enrolled yet")])
def test_bad_input_is_one_sentence(collection: str, arguments: tuple[str, ...], said: str) -> None:
    done = fleet(collection, *arguments)
    assert done.exit_code == 1 and said in done.stderr and done.stderr.count("\n") == 1, done.output


@pytest.mark.parametrize(("address", "said"), [
    ("oracle://x/y", "is no database for a fleet"), ("postgresql://nobody@127.0.0.1:1/x", "cannot be reached"),
    ("sqlite:////no/such/folder/fleet.db", "cannot be")])
def test_a_database_that_cannot_be_used_is_one_sentence(address: str, said: str) -> None:
    done = fleet(address, "list")
    assert done.exit_code == 1 and said in done.stderr and done.stderr.count("\n") == 1, done.output


def test_settings_with_mistakes_name_them(tmp_path: Path) -> None:
    file = tmp_path / "fleet.toml"
    file.write_text('database = "sqlite:///x"\n[site]\nidentity_header = "X-Who"\n')
    with pytest.raises(ConfigError, match="one address only"):
        read_settings(file)
    with pytest.raises(ConfigError, match="there is no such file"):
        read_settings(tmp_path / "none.toml")
    done = CliRunner().invoke(commands, ["fleet", "list", "--settings", str(file)])
    assert done.exit_code == 1 and "Traceback" not in done.output


BOARD = """
[house]
chemistry = "agm"
rated_capacity_ah = 100
[starter]
chemistry = "flooded"
rated_capacity_ah = 70
"""


@pytest.mark.parametrize(("lines", "said"), [
    ('url = "https://fleet.example"', "url and key_file belong together"), ('url = "fleet"\nkey_file = "k"', "url"),
    ("every_minutes = 1", "every_minutes")])
def test_a_board_that_is_set_up_wrong_says_so(tmp_path: Path, lines: str, said: str) -> None:
    with pytest.raises(ConfigError, match=said):
        _board(tmp_path, lines)


def test_a_board_without_its_key_says_where_it_looked(tmp_path: Path) -> None:
    config = _board(tmp_path, 'url = "https://fleet.example"\nkey_file = "fleet.key"')
    with pytest.raises(ValueError, match=r"fleet\.key: No such file"):
        publish_thread(config.publish, config.log.database)


def test_the_thread_tries_again_says_when_it_is_turned_away_and_ends_at_once(published_log: Path) -> None:
    answers: list[object] = [NoConnection("no network"), (401, {"word": "key", "sentence": "No vehicle has this key."})]

    class Scripted:
        """First no network, then a refusal, ever after nothing to send."""

        asked = 0

        def ask(self, place: str, data: bytes | None = None):
            self.asked += 1
            answer = answers.pop(0) if answers else (503, {})
            if isinstance(answer, Exception):
                raise answer
            return answer

    line = Scripted()
    thread = PublishThread(Publisher(published_log, line, "b", "0"), every_s=0.05, first_s=0.01, again_s=0.01)
    end = time.monotonic() + 20
    while not thread.condition().active and time.monotonic() < end:
        time.sleep(0.01)
    assert thread.condition().evidence == "No vehicle has this key." and line.asked >= 2
    began = time.monotonic()
    thread.close()
    assert time.monotonic() - began < 2 and not thread.alive()


def _board(folder: Path, lines: str):
    file = folder / "ampledger.toml"
    file.write_text(f"{BOARD}[publish]\n{lines}\n")
    return load.load(file, need_sources=False)
