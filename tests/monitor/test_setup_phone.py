"""Set-up on a phone: the same questions by pages, the same configuration and answers file, nothing written before the end."""
import json
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from click.testing import CliRunner
from werkzeug.security import check_password_hash

from monitor import config
from monitor.cli import commands
from monitor.commissioning import shared_folder
from monitor.config.load import load
from tests.monitor.board import ROOT, Board

pytestmark = pytest.mark.slow


class Phone:
    """A browser without JavaScript: pages, forms, a cookie."""

    def __init__(self, port: int) -> None:
        self._root = f"http://127.0.0.1:{port}"
        self._open = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar())).open

    def get(self, path: str = "/") -> str:
        with self._open(self._root + path, timeout=10) as answer:
            return str(answer.read().decode())

    def send(self, path: str, page: str, **fields: str) -> str:
        token = re.search(r'name="token" value="([^"]+)"', page)
        assert token, page
        with self._open(self._root + path, urllib.parse.urlencode({"token": token[1], **fields}).encode(), timeout=10) as answer:
            return str(answer.read().decode())

    def state(self) -> dict:
        return dict(json.loads(self.get("/state")))


class SetUp:
    """`ampledger setup --phone` on a board, and a phone that has given the code."""

    def __init__(self, board: Board, *more: str) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.path = board.root / "van.toml"
        self.process = subprocess.Popen(
            [sys.executable, "-m", "monitor", "setup", "--phone", "--port", str(self.port), "-c", str(self.path), "--sys",
             str(board.root / "sys"),
             "--dev", str(board.root / "dev"), "--seconds", "0.5", *more], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
             text=True)
        self.said = ""
        assert self.process.stdout
        while "Ctrl-C" not in self.said:
            line = self.process.stdout.readline()
            assert line, self.said
            self.said += line
        self.code = re.search(r"Access code: (\S+)", self.said)[1]
        self.phone = Phone(self.port)
        for _ in range(100):
            try:
                self.phone.get("/code")
                break
            except urllib.error.URLError:
                time.sleep(0.1)

    def enter(self) -> None:
        self.phone.send("/code", self.phone.get("/code"), code=self.code)
        self.until(lambda state: state["number"] >= 1)

    def until(self, holds, timeout_s: float = 30.0) -> dict:
        end_s = time.monotonic() + timeout_s
        while time.monotonic() < end_s:
            if self.process.poll() is not None:
                raise AssertionError(self.process.stdout.read())
            try:
                state = self.phone.state()
            except urllib.error.URLError:
                raise AssertionError(self.process.communicate(timeout=10)[0]) from None
            if holds(state) and not state["busy"]:
                return state
            time.sleep(0.1)
        raise AssertionError(f"still {self.phone.get()}")

    def answer(self, heading: str, **fields: str) -> None:
        page = self.phone.get()
        assert heading in page, page
        number = self.phone.state()["number"]
        self.phone.send("/answer", page, number=str(number), **fields)
        self.until(lambda state: state["number"] > number)

    def end(self) -> None:
        self.process.terminate()
        self.process.wait(60)
        self.process.stdout.close()


@pytest.fixture
def board(tmp_path: Path) -> Board:
    return Board(tmp_path)


@pytest.fixture
def setup(board: Board) -> Iterator[SetUp]:
    made = SetUp(board)
    yield made
    made.end()


def test_a_blank_board_is_set_up_from_a_phone(board: Board, setup: SetUp) -> None:
    setup.enter()
    setup.answer("House battery", kind="agm", capacity_ah="100 wrong")
    assert "should be a kind" in setup.phone.get()
    setup.answer("House battery", kind="agm", capacity_ah="100")
    setup.answer("Starter battery", kind="flooded", capacity_ah="70")
    assert "ina226" in setup.phone.get()
    setup.answer("House voltage", text="1")
    assert "the only current that is measured here" in setup.phone.get()
    setup.answer("Starter voltage", text="1")
    setup.answer("House battery temperature", text="1")
    setup.answer("Which battery is which?", text="skip")
    setup.answer("How is this board fed?", text="elsewhere")
    board.now(house_a=0.0)
    setup.until(lambda state: ["House current", "0.070 A"] in state["live"])
    setup.answer("Zero of the shunt", text="")
    setup.answer("House voltage by a multimeter", text="skip")
    setup.answer("Starter voltage by a multimeter", text="12.71")
    board.now(house_a=-8.0)
    setup.answer("Which way the current counts", text="")
    setup.answer("Current by a meter", text="")
    setup.answer("Voltage under load", text="skip")
    assert not setup.path.exists() and "offset_a = 0.07" in setup.phone.get()
    setup.answer("Write it?", text="write open")
    assert "The configuration is written." in setup.phone.get()
    assert setup.process.wait(60) == 0
    made = load(setup.path)
    assert made.vehicle.current_sensor.offset_a == pytest.approx(0.07, abs=0.005)
    assert made.dashboard.open_to_network and check_password_hash(made.dashboard.code_hash or "", setup.code)
    # the answers, given again from the file, make the same instruments
    again = setup.path.with_name("again.toml")
    board.now(house_a=0.0)
    answers = setup.path.with_name("van-answers.toml")
    answers.write_text(answers.read_text().replace("load_on = true", "load_on = false"))
    done = CliRunner().invoke(commands, ["setup", "-c", str(again), "--answers", str(answers), "--sys", str(board.root / "sys"),
                                         "--dev", str(board.root / "dev"), "--seconds", "0.5"])
    assert done.exit_code == 0, done.output
    assert [s.options.measures for s in load(again).sources][:1] == [s.options.measures for s in made.sources][:1]
    assert config


def test_nothing_is_shown_or_taken_without_the_code_and_nothing_is_left_behind(setup: SetUp) -> None:
    with pytest.raises(urllib.error.HTTPError) as refused:
        setup.phone.get("/")
    page = refused.value.read().decode()
    assert refused.value.code == 401 and "access code" in page and "House" not in page
    with pytest.raises(urllib.error.HTTPError, match="403"):
        setup.phone.send("/code", page, code="0000-000-000")
    with pytest.raises(urllib.error.HTTPError, match="401"):
        setup.phone.send("/answer", page, number="1", text="agm 100")
    setup.process.send_signal(signal.SIGINT)
    assert setup.process.wait(60) == 1 and "nothing was written" in setup.process.stdout.read()
    assert sorted(p.name for p in setup.path.parent.iterdir()) == ["dev", "sys"]


def test_starting_over_forgets_every_answer(setup: SetUp) -> None:
    setup.enter()
    setup.answer("House battery", kind="gel", capacity_ah="80")
    setup.answer("Starter battery", text="start over")
    assert "House battery" in setup.phone.get()


def test_nobody_answers_and_it_ends_by_itself(board: Board) -> None:
    setup = SetUp(board, "--patience", "2")
    assert setup.process.wait(60) == 1
    setup.end()
    assert not setup.path.exists()


def test_answers_in_the_shared_folder_are_not_trusted(tmp_path: Path) -> None:
    folder = tmp_path / "shared"
    (folder / "answers").mkdir(parents=True)
    secret = tmp_path / "secret.json"
    secret.write_text('{"number": 3, "text": "stolen"}')
    (folder / "answers/a.json").symlink_to(secret)
    (folder / "answers/b.json").write_text("[1, 2")
    (folder / "answers/c.json").write_text('{"number": 3, "text": 5}')
    (folder / "answers/d.json").mkdir()
    shared_folder.leave_answer(folder, 2, "of an earlier question")
    assert shared_folder.take_answer(folder, 3) is None and secret.exists()
    shared_folder.leave_answer(folder, 3, "x" * 5000)
    assert shared_folder.take_answer(folder, 3) == "x" * 200
