"""Every command with bad input: wrong types, missing files, unreadable configurations, binary junk. One sentence, no trace, no pattern."""
import os
import random
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from monitor.cli import COMMANDS, commands
from tests import store_fixture

#: They run until stopped where their input is sound; they get unsound input only.
LASTING = {("run",), ("demo",), ("pages",), ("fleet", "serve"), ("fleet", "trial"), ("capacity-test",), ("setup",), ("after-install",)}
#: They hand over to the pages' program, so that they run as a process of their own.
IN_ANOTHERS_PLACE = {("report",), ("pages",), ("fleet", "serve")}
#: They change this machine, not a file that is named: nothing of it is tried here.
OF_THE_MACHINE = {("pages", "open"), ("pages", "close"), ("pages", "address"), ("after-install",), ("setup-finish",)}
JUNK = ("", "-1", "0", "1e999", "nan", "inf", "-inf", "999999999999999999999999", "abc", "ä€😀", "a=b", "../../etc/passwd", "{[(*^$?",
        "\x1b[2J", "2026-13-45", "9999-12-31", "0001-01-01", "x" * 3000, "lithium", "wet 100", "%s%n", "None", "12,5", "1_000")
PATTERN = re.compile(r"\^\[|\\d|\\w|\\S|\(\?:|\[a-z|\[\^|\]\{|\]\+\$")


def leaves(group: click.Group = commands, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Every command that does something, with the words that call it."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            if command.invoke_without_command:
                yield (*path, name), command
            yield from leaves(command, (*path, name))
        else:
            yield (*path, name), command


LEAVES = dict(leaves())
ROOT = Path(__file__).parent.parent.parent


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with sound and unsound files of each kind."""
    folder = tmp_path_factory.mktemp("junk")
    chance = random.Random(21)
    store_fixture.fill(folder / "sound.db", days=0.1, beat_s=60.0)
    sound = '[house]\nchemistry = "agm"\nrated_capacity_ah = 100\n[starter]\nchemistry = "flooded"\nrated_capacity_ah = 70\n'
    files: dict[str, bytes] = {
        "sound.toml": f'{sound}[log]\ndatabase = "sound.db"\n[[source]]\ndriver = "simulated"\n'.encode(),
        "empty.toml": b"", "binary.toml": chance.randbytes(5000), "latin.toml": b'name = "caf\xe9"\n', "text.toml": b"Dear reader,\n" * 50,
        "types.toml": b'house = 3\nstarter = [1, "a"]\nsource = "hwmon"\nlog = true\nalerts = 1979-05-27\n',
        "inside.toml": sound.replace('"agm"', "[1]").replace("100", '"many"').encode() + b'[vehicle]\nreserve_frac = -1e999\nbedtime = 7\n',
        "deep.toml": b"a = " + b"[" * 3000, "nul.toml": b"[house]\x00\n",
        "source.toml": (sound + '[[source]]\ndriver = "serial"\nport = "/nowhere"\npattern = "("\nmeasures = 5\n').encode(),
        "binary.db": chance.randbytes(9000), "empty.db": b"", "text.db": b"SQLite format 3\x00" + b"x" * 4000,
        "torn.db": (folder / "sound.db").read_bytes()[:20000], "binary.csv": chance.randbytes(3000), "empty.csv": b"",
        "headless.csv": b"1,2,3\n4,5,6\n", "wrong.csv": b"at_s,house_voltage_v\nnow,twelve\n,\n1,1e999\n"}
    for name, text in files.items():
        (folder / name).write_bytes(text)
    (folder / "folder.toml").mkdir()
    (folder / "folder.db").mkdir()
    (folder / "dangling.toml").symlink_to(folder / "nothing")
    return folder


def tried(words: tuple[str, ...], arguments: list[str], place: Path) -> None:
    """Runs a command; what it says must be fit for a person."""
    if words in IN_ANOTHERS_PLACE:
        _tried_apart(words, arguments)
        return
    done = CliRunner().invoke(commands, [*words, *arguments], input="\n" * 3)
    called = f"ampledger {' '.join([*words, *arguments])[:300]}"
    assert done.exception is None or isinstance(done.exception, SystemExit), (called, done.exception)
    assert "a mistake in ampledger itself" not in done.output and "Traceback" not in done.output, (called, done.output)
    assert not PATTERN.search(done.output), (called, done.output)
    assert done.exit_code in (0, 1, 2, 3), (called, done.exit_code)
    assert done.exit_code == 0 or done.output.strip(), called


def _tried_apart(words: tuple[str, ...], arguments: list[str]) -> None:
    done = subprocess.run([sys.executable, "-m", "monitor", *words, *(a.replace("\0", "") for a in arguments)], stdout=subprocess.PIPE,
                          stderr=subprocess.STDOUT, text=True, stdin=subprocess.DEVNULL, timeout=60, errors="replace",
                          env={**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])})
    assert done.returncode in (0, 1, 2, 3) and "Traceback" not in done.stdout, (words, arguments, done.stdout)
    assert "a mistake in ampledger itself" not in done.stdout and not PATTERN.search(done.stdout), (words, arguments, done.stdout)


def takes(command: click.Command, name: str) -> str | None:
    """The option by which a command is given one of the shared files."""
    return next((p.opts[0] for p in command.params if isinstance(p, click.Option) and p.name == name), None)


def filled(command: click.Command) -> list[str]:
    """Something for every argument and option that must be given."""
    found: list[str] = []
    for parameter in command.params:
        if isinstance(parameter, click.Option) and parameter.required:
            found += [parameter.opts[0], _sound(parameter)]
    for parameter in command.params:
        if isinstance(parameter, click.Argument) and parameter.required:
            found.append(_sound(parameter))
    return found


def _sound(parameter: click.Parameter) -> str:
    return parameter.type.choices[0] if isinstance(parameter.type, click.Choice) else "7"


@pytest.mark.parametrize("words", [w for w in LEAVES if w not in OF_THE_MACHINE], ids=" ".join)
def test_unsound_configurations_and_logs_are_refused_in_a_sentence(words: tuple[str, ...], place: Path, monkeypatch) -> None:
    monkeypatch.chdir(place)
    for name, ending in (("config_file", "toml"), ("database", "db")):
        option = takes(LEAVES[words], name)
        if option is None:
            continue
        for file in (*sorted(place.glob(f"*.{ending}")), place / f"missing.{ending}", place / "nowhere" / f"a.{ending}"):
            asks_on_a_phone = words == ("pages",) and not file.exists()  # it serves the set-up where nothing is configured
            if file.stem != "sound" and not asks_on_a_phone:
                tried(words, [*filled(LEAVES[words]), option, str(file)], place)


@pytest.mark.parametrize("words", [w for w in LEAVES if w not in LASTING | OF_THE_MACHINE], ids=" ".join)
def test_junk_for_every_option_is_refused_in_a_sentence(words: tuple[str, ...], place: Path, tmp_path: Path, monkeypatch) -> None:
    command = LEAVES[words]
    for file in ("sound.toml", "sound.db"):
        (tmp_path / file).write_bytes((place / file).read_bytes())
    monkeypatch.chdir(tmp_path)
    shared = [v for name, file in (("config_file", "sound.toml"), ("database", "sound.db"))
              if (option := takes(command, name)) for v in (option, str(tmp_path / file))]
    chance = random.Random("".join(words))
    for parameter in command.params:
        if parameter.name in ("config_file", "database", "help") or isinstance(parameter, click.Option) and parameter.is_flag:
            continue
        for junk in chance.sample(JUNK, 10):
            given = [parameter.opts[0], junk] if isinstance(parameter, click.Option) else ["--", junk]
            others = [] if isinstance(parameter, click.Argument) else filled(command)
            tried(words, [*shared, *others, *given], place)


@pytest.mark.parametrize("words", [w for w in LEAVES if w not in OF_THE_MACHINE], ids=" ".join)
def test_an_option_that_is_not_there_or_an_argument_too_many_is_named(words: tuple[str, ...], place: Path) -> None:
    tried(words, ["--no-such-thing"], place)
    done = CliRunner().invoke(commands, [*words, *["surplus"] * 9])
    assert done.exit_code in (1, 2) and "Traceback" not in done.output and not PATTERN.search(done.output), done.output


@pytest.mark.parametrize("file", ["binary.csv", "empty.csv", "headless.csv", "wrong.csv", "missing.csv", "folder.db", "sound.db",
                                  "latin.toml"])
def test_recordings_answers_and_systems_that_are_junk_are_refused(file: str, place: Path) -> None:
    path, sound = str(place / file), str(place / "sound.toml")
    for arguments in (("replay", path, "--vehicle", sound), ("replay", str(place / "wrong.csv"), "--vehicle", path),
                      ("circuit", "--file", path),
                      ("setup", "--answers", path, "-c", str(place / "made.toml")), ("restore", path, "--yes", "-c", sound),
                      ("backup", path, "-c", sound)):
        tried(arguments[:1], list(arguments[1:]), place)


def test_every_command_of_the_table_is_tried() -> None:
    assert {words[0] for words in LEAVES} == set(COMMANDS)
