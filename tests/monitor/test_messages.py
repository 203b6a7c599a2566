"""What a person is told when something is missing, forbidden, mistyped, or our own mistake: one sentence and a way on."""
import os
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor import documents
from monitor.cli import commands
from tests.hand_clock import NOBODY, HandClock
from tests.vehicle_by_hand import daemon, live

VEHICLE = ('[house]\nchemistry = "agm"\nrated_capacity_ah = 100\n[starter]\nchemistry = "agm"\nrated_capacity_ah = 60\n'
           '[[source]]\ndriver = "hwmon"\nchip = "x"\nmeasures = { house_voltage_v = "in1" }\n')


def _run(*arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(commands, list(arguments))
    return done.exit_code, done.output


def test_without_a_configuration_the_command_that_makes_one_is_named(tmp_path: Path) -> None:
    for name in ("run", "check", "status", "doctor"):
        code, said = _run(name, "-c", str(tmp_path / "none.toml"))
        assert code == 1 and "`ampledger setup`" in said, (name, said)


@pytest.mark.parametrize("text", [
    VEHICLE + '[dashboard]\naddress = "my board"\n', VEHICLE + '[vehicle]\nbedtime = "late"\n', VEHICLE + '[clock]\ngpsd = "here"\n'])
def test_no_pattern_reaches_a_person(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.toml").write_text(text)
    code, said = _run("check", "-c", str(tmp_path / "a.toml"))
    assert code == 1 and "does not look as it should" in said and "it is " in said
    assert not set(r"^\$") & set(said), said


def test_a_chemistry_by_another_word_is_asked_back_in_the_configuration_too(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(VEHICLE.replace('"agm"', '"lithium"', 1))
    assert "did you mean lfp" in _run("check", "-c", str(tmp_path / "a.toml"))[1]


def test_a_mistake_of_our_own_is_one_sentence_unless_the_trace_is_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.config.load.load", lambda *a, **k: 1 / 0)
    for name in ("AMPLEDGER_TRACE", "JOURNAL_STREAM"):
        monkeypatch.delenv(name, raising=False)
    code, said = _run("check", "-c", str(tmp_path / "a.toml"))
    assert code == 1 and "a mistake in ampledger itself: ZeroDivisionError" in said and "Traceback" not in said
    monkeypatch.setenv("AMPLEDGER_TRACE", "1")
    assert isinstance(CliRunner().invoke(commands, ["check", "-c", str(tmp_path / "a.toml")]).exception, ZeroDivisionError)


def test_a_configuration_that_may_not_be_read_says_how(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: Path, *arguments: object, **options: object) -> str:
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "read_text", refuse)
    code, said = _run("check", "-c", str(tmp_path / "a.toml"))
    assert code == 1 and "sudo" in said


def test_every_document_that_a_message_names_is_there(tmp_path: Path) -> None:
    listed = _run("docs")[1]
    for name in ("install", "wiring", "commissioning", "drivers", "configuration", "alerts"):
        assert name in listed and _run("docs", name)[1].startswith("# ")
        assert _run("docs", f"docs/{name}.md")[0] == 0
    assert str(documents.folder()) in listed
    assert _run("docs", "poetry")[0] == 1


@pytest.mark.parametrize(("said", "meant"), [("lithium", "lfp"), ("LiFePO4", "lfp"), ("wet", "flooded"), ("lead", "flooded"),
                                             ("sealed", "agm")])
def test_a_chemistry_by_another_word_is_asked_back_by_commands_too(said: str, meant: str, tmp_path: Path) -> None:
    code, answer = _run("battery", "replaced", "house", "--chemistry", said, "-d", str(tmp_path / "a.db"))
    assert code == 2 and f"do you mean {meant} (" in answer and not list(tmp_path.iterdir())
    code, answer = _run("circuit", "--current", "5", "--length", "2", "--battery", f"{said},100")
    assert code == 2 and f"do you mean {meant} (" in answer


def test_a_board_that_does_not_know_the_time_is_not_told_that_its_log_stands_still(tmp_path: Path) -> None:
    """Its log is dated by what it was told last, half a year ago, and grows all the same."""
    life = daemon(tmp_path / "ampledger.db", clock=HandClock(trust=NOBODY))
    live(life, 200)
    assert life.daemon.close()
    code, said = _run("status", "--database", str(tmp_path / "ampledger.db"))
    assert code == 0 and "the clock is not trusted" in said and "stopped growing" not in said, said
    for file in tmp_path.glob("ampledger.db*"):
        os.utime(file, (0, time.time() - 7200))
    assert "stopped growing" in _run("status", "--database", str(tmp_path / "ampledger.db"))[1]
