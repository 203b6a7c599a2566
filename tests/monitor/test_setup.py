"""Commissioning end to end: from a blank board, by a person at a terminal and by scripts, to a configuration that runs."""
import signal
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import commands
from monitor.commissioning import answer_parsing, measuring, steps
from monitor.commissioning.answer_parsing import parse_label
from monitor.config import load
from monitor.logbook.reader import Reader
from tests.drivers.links import Server
from tests.monitor.board import ROOT, Board, Conversation, WithLines

LABELS = 'house = "agm 100"\nstarter = "flooded 70"\n'


def _arguments(board: Board, *more: str) -> list[str]:
    return ["-c", str(board.root / "van.toml"), "--sys", str(board.root / "sys"), "--dev", str(board.root / "dev"),
            "--seconds", "0.3", *more]


def _setup(board: Board, *arguments: str, stdin: str = "") -> tuple[int, str]:
    done = CliRunner().invoke(commands, ["setup", *arguments], input=stdin)
    return done.exit_code, done.output


def _answers(board: Board, text: str) -> tuple[int, str]:
    (board.root / "answers.toml").write_text((LABELS if "house =" not in text else LABELS.partition("\n")[2]) + text)
    return _setup(board, *_arguments(board, "--answers", str(board.root / "answers.toml")))


def _step(board: Board, name: str, *more: str) -> tuple[int, str]:
    seconds = () if name == "which" else ("--seconds", "0.3")
    return _setup(board, name, "-c", str(board.root / "van.toml"), *seconds, *more)


def _shows(board: Board) -> dict[str, float]:
    """What the daemon would now read, the shunt's correction included."""
    whole = load.load(board.root / "van.toml")
    values: dict[str, float] = {}
    for source in whole.sources:
        with closing(source.open()) as driver:
            values |= driver.read().values
    sensor = whole.vehicle.current_sensor
    values["house_current_a"] = (values["house_current_a"] - sensor.offset_a) * sensor.gain
    return values


@pytest.mark.slow
def test_a_blank_board_with_everything_wired_wrong_runs_right_after_fifteen_answers_at_most(tmp_path: Path) -> None:
    board = Board(tmp_path, turned=True, crossed=True, gain=1.03)
    talk = Conversation(_arguments(board), [
        ("HOUSE battery: its kind", None, "agn 100"),                 # a slip of the finger: one sentence, and asked again
        ("Not understood: 'agn 100' should be a kind", None, "agm 100"),
        ("STARTER battery", None, ""),
        ("HOUSE battery's voltage", None, ""),
        ("STARTER battery's voltage", None, "in_voltage0"),
        ("HOUSE battery's temperature", None, ""),
        ("Which battery is which", board.start_engine, ""),
        ("THIS BOARD fed", None, "elsewhere"),
        ("EVERYTHING off", board.everything_off, ""),
        ("HOUSE battery's posts", None, "12.62"),
        ("STARTER battery's posts", None, "12.71"),
        ("load of five", lambda: board.now(house_a=-8.16, house_v=12.5), ""),
        ("Amperes", None, "8.16"),
        ("with the load still on", None, "12.50"),
    ])
    assert talk.code == 0, talk.said
    assert len(talk.asked) == 14  # one of them twice
    assert "the only current that is measured here" in talk.said and "--modbus" in talk.said
    for words in ("exchanged now", "turned round now", "that is in order"):
        assert words in talk.said
    assert _shows(board) == pytest.approx(
        {"house_voltage_v": 12.5, "starter_voltage_v": 12.71, "house_current_a": -8.16, "house_temperature_c": 21.5}, abs=0.03)
    found = load.load(tmp_path / "van.toml").vehicle.current_sensor
    assert found.offset_a == pytest.approx(0.07, abs=0.01) and 0.004 < found.offset_sigma_a < 0.02
    assert found.gain == pytest.approx(1.03, abs=0.005) and 0.005 < found.gain_sigma_frac < 0.02
    checked = CliRunner().invoke(commands, ["check", "-c", str(tmp_path / "van.toml")])
    assert checked.exit_code == 0 and "all is well" in checked.output


@pytest.mark.slow
def test_a_terminal_a_modbus_map_and_kernel_folders_together_run_after_fifteen_answers_at_most(tmp_path: Path) -> None:
    board, lines = Board(tmp_path), WithLines(Board(tmp_path / "apart"))
    (tmp_path / "dev/serial/by-id/usb-maker_adapter_1234-if00-port0").symlink_to(lines.link)
    server = Server(tmp_path)

    def world(house_v: float, house_a: float, starter_v: float) -> None:
        lines.show({"house_voltage_v": house_v, "house_current_a": house_a})
        server.show({"house_voltage_v": starter_v, "house_current_a": 0.0})

    world(12.65, -2.0, 12.8)
    try:
        talk = Conversation(_arguments(board, "--modbus", f"127.0.0.1:{server.port}"), [
            ("HOUSE battery: its kind", None, "lfp 100"), ("STARTER battery", None, "agm 60"),
            ("HOUSE battery's voltage", None, "lines on usb-maker_adapter_1234-if00-port0, 2 (field 2)"),
            ("HOUSE battery's current", None, "lines on usb-maker_adapter_1234-if00-port0, 1 (field 1)"),
            ("STARTER battery's voltage", None, "10 UINT16 0.01"),
            ("HOUSE battery's temperature", None, ""), ("solar current", None, "curr1"),
            ("Which battery is which", None, "skip"),
            ("THIS BOARD fed", None, "through 0.2, dc-dc, solar 2, shore"),
            ("EVERYTHING off", lambda: world(12.66, 0.11, 12.8), ""),
            ("HOUSE battery's posts", None, "12.70"), ("STARTER battery's posts", None, ""),
            ("load of five", lambda: world(12.5, -5.9, 12.8), ""), ("Amperes", None, "skip"), ("with the load still on", None, ""),
        ])
        assert talk.code == 0 and len(talk.asked) <= 15, talk.said
        whole = load.load(tmp_path / "van.toml")
        assert whole.vehicle.charging == "dc_dc" and whole.wiring.solar_charger_count == 2 and whole.wiring.shore_charger
        with subprocess.Popen([sys.executable, "-m", "monitor", "run", "-c", str(tmp_path / "van.toml")], cwd=ROOT,
                              stderr=subprocess.PIPE) as daemon:
            time.sleep(5.0)
            daemon.send_signal(signal.SIGINT)
            assert daemon.wait(20) == 0, daemon.stderr.read()
    finally:
        lines.close()
        server.close()
    samples = [sample for _, sample in Reader(tmp_path / "ampledger.db").rows()]
    assert samples
    last = samples[-1]
    assert last.house_voltage_v == pytest.approx(12.5 * 12.70 / 12.66, abs=0.01)
    assert last.house_current_a == pytest.approx(-5.9, abs=0.01)  # as measured; the zero is taken off by the charge filter
    assert last.starter_voltage_v == pytest.approx(12.8, abs=0.011)
    assert last.solar_current_a == pytest.approx(-2.33, abs=0.01) and last.house_temperature_c == 21.5


def test_ctrl_c_in_the_middle_leaves_nothing_behind_and_an_old_configuration_alone(tmp_path: Path) -> None:
    board = Board(tmp_path)
    (tmp_path / "van.toml").write_text("# mine\n")
    process = subprocess.Popen([sys.executable, "-m", "monitor", "setup", *_arguments(board)], cwd=ROOT, stdin=subprocess.PIPE,
                               stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    process.stdin.write(b"agm 100\nflooded 70\n1\n")
    process.stdin.flush()
    seen = b""
    while b"STARTER battery's voltage" not in seen:
        data = process.stdout.read1(65536)
        assert data, seen
        seen += data
    process.send_signal(signal.SIGINT)
    rest = process.communicate(timeout=10)[0]
    for pipe in (process.stdin, process.stdout):
        pipe.close()
    assert process.returncode == 1 and b"nothing was written" in rest and b"Traceback" not in rest
    assert (tmp_path / "van.toml").read_text() == "# mine\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["dev", "sys", "van.toml"]


def test_answers_from_a_file_write_the_same_without_a_question(tmp_path: Path) -> None:
    board = Board(tmp_path)
    code, said = _answers(board, 'starter_voltage_v = "in_voltage0"\nstarter_meter_v = "5:1"\n')
    assert code == 0, said
    assert _shows(board)["starter_voltage_v"] == pytest.approx(12.71, abs=0.01)
    text = (tmp_path / "van.toml").read_text()
    assert "[shunt]" in text and "# positive into the battery" in text and "was not tried" in said


def test_a_configuration_that_is_there_is_kept_beside_and_its_other_tables_go_on(tmp_path: Path) -> None:
    board = Board(tmp_path)
    old = ('[house]\nchemistry = "agm"\nrated_capacity_ah = 50\nfloat_v = 13.7\n[starter]\nchemistry = "agm"\nrated_capacity_ah = 40\n'
           '[log]\ndatabase = "elsewhere.db"   # on the stick\n[alerts]\napprise = ["json://192.0.2.7/a"]\n[alerts.mqtt]\nhost = '
           '"127.0.0.1"\n')
    (tmp_path / "van.toml").write_text(old)
    code, said = _answers(board, 'starter_meter_v = 12.71\n')
    assert code == 0 and "is there already" in said and "kept as van.toml.old-1" in said
    assert (tmp_path / "van.toml.old-1").read_text() == old
    whole = load.load(tmp_path / "van.toml")
    assert whole.vehicle.house.rated_capacity_ah == 100 and whole.vehicle.house.float_v == 13.7
    assert whole.log.database == tmp_path / "elsewhere.db"
    assert whole.alerts.mqtt.host == "127.0.0.1" and "# on the stick" in (tmp_path / "van.toml").read_text()


@pytest.mark.parametrize(("text", "words"), [
    ('hause = "agm 100"\n', "did you mean house?"),
    ('starter_meter_v = 126\n', "126 V is not what a 12 V battery shows at its posts"),
    ('house = "lithium 100"\n', 'Then write "lfp 100"'),
    ('house_voltage_v = "in7"\n', "'in7' is none of them; type a number from 0 to"),
    ('modbus = "127.0.0.1:1"\n', "127.0.0.1:1: no connection"),
    ('modbus = "a b"\n', "is no address"),
    ('all_off = true\nstarter_meter_v = 12.7\nload_on = true\n', "changed by only"),
    ('starter_meter_v = "1:5"\n', "is no ratio of a divider"),
])
def test_a_bad_answer_in_a_file_is_one_sentence_with_its_key(tmp_path: Path, text: str, words: str) -> None:
    board = Board(tmp_path)
    board.now(house_a=0.0)
    code, said = _answers(board, text)
    assert code == 1 and words in said and "Traceback" not in said
    assert not (tmp_path / "van.toml").exists()


def test_a_divider_that_is_not_known_is_left_for_later_and_nothing_else_is_lost(tmp_path: Path) -> None:
    board = Board(tmp_path)
    code, said = _answers(board, "")
    assert code == 0 and "starter battery's voltage is not shown or judged for now" in said and "page Instruments" in said
    assert load.load(board.root / "van.toml").unknown_dividers == {"starter_voltage_v"}
    checked = CliRunner().invoke(commands, ["check", "-c", str(board.root / "van.toml")])
    code, said = checked.exit_code, " ".join(checked.output.split())
    assert code == 0 and "not known yet" in said, "the pin's volts are no fault"
    assert _step(board, "divider", "--battery", "starter", "--meter-v", "12.71")[0] == 0
    assert load.load(board.root / "van.toml").unknown_dividers == frozenset()
    assert _shows(board)["starter_voltage_v"] == pytest.approx(12.71, abs=0.02)


@pytest.mark.parametrize(("said", "meant"), [("lithium", "lfp"), ("LiFePO4", "lfp"), ("wet", "flooded"), ("lead acid", "flooded"),
                                             ("lead-acid", "flooded"), ("sealed", "agm"), ("VRLA", "agm")])
def test_what_people_call_a_battery_is_understood_and_asked_back(said: str, meant: str) -> None:
    with pytest.raises(steps.MeansThat) as back:
        parse_label(f"{said} 95 Ah")
    assert back.value.instead == f"{meant} 95" and parse_label(back.value.instead) == (meant, 95.0)


@pytest.mark.parametrize(("said", "kind", "capacity_ah"), [
    ("AGM100", "agm", 100), ("100 Ah agm", "agm", 100), ("agm 12V 95,5Ah", "agm", 95.5), ("flooded 70Ah (C20)", "flooded", 70),
    ("GEL 12.0 V / 80 Ah 20h", "gel", 80)])
def test_a_label_is_understood_as_it_is_printed(said: str, kind: str, capacity_ah: float) -> None:
    assert answer_parsing.parse_label(said) == (kind, capacity_ah)


@pytest.mark.parametrize(("said", "why"), [
    ("agm ", "says no ampere-hours"), ("lithium", "says no ampere-hours"), ("100", "says no kind"),
    ("nmc 100", "is a kind that is not known"), ("lto 60 ah", "is a kind that is not known"),
    ("agm 100 100", "should be a kind"), ("deep cycle 100", "should be a kind")])
def test_a_label_that_says_too_little_or_another_kind_gets_a_sentence(said: str, why: str) -> None:
    with pytest.raises(steps.NotClear, match=why) as refused:
        answer_parsing.parse_label(said)
    assert not isinstance(refused.value, steps.MeansThat)


@pytest.mark.parametrize(("said", "supply", "current_a"), [
    ("through", "through_shunt", 0.25), ("past 0,3 A", "past_shunt", 0.3), ("through 3 W", "through_shunt", 0.25),
    ("elsewhere", "elsewhere", 0)])
def test_how_the_board_is_fed_may_be_said_in_watts(said: str, supply: str, current_a: float) -> None:
    found = answer_parsing.parse_board_and_fitted(said)[0]
    assert (found.supply, found.current_a) == (supply, pytest.approx(current_a))


@pytest.mark.parametrize("said", ["through x", "through -1", "through 0.25 relay", "past nan", "through 0.25 0.3x"])
def test_a_supply_that_is_not_understood_is_not_guessed(said: str) -> None:
    with pytest.raises(steps.NotClear):
        answer_parsing.parse_board_and_fitted(said)


def test_an_i2c_bus_is_asked_only_on_request_and_one_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    board = Board(tmp_path)
    (tmp_path / "answers.toml").write_text(LABELS + "starter_meter_v = 12.7\n")
    code, said = _setup(board, *_arguments(board, "--answers", str(tmp_path / "answers.toml"), "--i2c", "250"))
    assert code == 1 and "/dev/i2c-250" in said and "Traceback" not in said
    assert "I2C" not in _answers(board, "starter_meter_v = 12.7\n")[1].replace("1-wire or I2C switched on", "")


def test_an_old_configuration_that_is_not_sound_is_told_and_kept(tmp_path: Path) -> None:
    board = Board(tmp_path)
    (tmp_path / "van.toml").write_text("[house]\nchemistry = 3\n")
    code, said = _answers(board, "starter_meter_v = 12.7\n")
    assert code == 0 and "not sound" in said and (tmp_path / "van.toml.old-1").read_text() == "[house]\nchemistry = 3\n"


def test_a_folder_that_may_not_be_written_is_one_sentence(tmp_path: Path) -> None:
    board = Board(tmp_path)
    (tmp_path / "file").write_text("")
    (tmp_path / "answers.toml").write_text(LABELS + "starter_meter_v = 12.7\n")
    arguments = _arguments(board, "--answers", str(tmp_path / "answers.toml"))
    arguments[1] = str(tmp_path / "file" / "van.toml")
    code, said = _setup(board, *arguments)
    assert code == 1 and "file" in said and "Traceback" not in said


def test_a_nonsense_answer_is_told_and_the_question_put_again(tmp_path: Path) -> None:
    board = Board(tmp_path)
    replies = ["agm", "agm 100 200", "wat 100", "agm 100000", "lead 100", "agm 100", "", "9", "", "", "0", "perhaps", "skip",
               "soup", "elsewhere", "skip", "x",
               "12.62", "", "volts", "5:1", "skip"]
    code, said = _setup(board, *_arguments(board), stdin="\n".join(replies) + "\n")
    assert code == 0, said
    assert said.count("Not understood: ") == 10
    assert "Do you mean flooded" in said
    assert "the channel shows 2.54 V, so a divider is in front of it" in said


@pytest.fixture
def ready(tmp_path: Path) -> Board:
    """A board whose configuration has been written, nothing measured yet, the divider's ratio wrong, and the leads as told."""
    board = Board(tmp_path)
    code, said = _answers(board, 'starter_voltage_v = "in_voltage0"\nstarter_meter_v = "4:1"\n')
    assert code == 0, said
    return board


def test_single_steps_put_everything_right_without_a_question(ready: Board) -> None:
    ready.turned, ready.gain = True, 1.05
    ready.now(house_a=0.0)
    assert "zero now" in _step(ready, "zero")[1]
    assert "give or take" in _step(ready, "divider", "--battery", "starter", "--meter-v", "12,71")[1]
    ready.now(house_a=-9.0)
    assert "turned round" in _step(ready, "direction")[1]
    assert "counts the right way" in _step(ready, "direction")[1]
    assert "gain 1.05" in _step(ready, "gain", "--meter-a", "-9.00", "--meter-limit", "1")[1]
    assert "in order" in _step(ready, "cable-drop", "--meter-v", "12.62")[1]
    assert _shows(ready) == pytest.approx(
        {"house_voltage_v": 12.62, "starter_voltage_v": 12.71, "house_current_a": -9.0, "house_temperature_c": 21.5}, abs=0.03)
    assert (ready.root / "van.toml.old-6").exists()


def test_a_lead_that_is_shared_with_a_load_is_told(ready: Board) -> None:
    ready.lead_ohm, ready.offset_a = 0.01, 0.0
    ready.now(house_a=-10.0)
    code, said = _step(ready, "cable-drop", "--meter-v", "12.62")
    assert code == 0 and "10.0 mΩ" in said and "straight to the posts" in said
    assert load.load(ready.root / "van.toml")


@pytest.mark.slow
def test_swapped_batteries_are_found_from_a_start(ready: Board) -> None:
    ready.crossed = True
    ready.now()
    ready.start_engine()
    code, said = _step(ready, "which", "--wait", "20")
    assert code == 0 and "are exchanged now" in said, said
    ready.engine.join()
    assert _shows(ready)["house_voltage_v"] == pytest.approx(12.62 * 4 / 5, abs=0.02)  # its divider came along
    assert _shows(ready)["starter_voltage_v"] == pytest.approx(12.71, abs=0.02)


@pytest.mark.parametrize(("state", "name", "more", "words"), [
    ({"house_a": -5.0}, "zero", (), "something was on"),
    ({"house_a": 0.1}, "direction", (), "switch on a load"),
    ({"house_a": -0.3}, "gain", ("--meter-a", "0.3"), "too little to compare"),
    ({"house_a": -5.0}, "gain", ("--meter-a", "five"), "'five' is not a number"),
    ({}, "divider", ("--battery", "house", "--meter-v", "1.26"), "not what a 12 V battery shows"),
    ({"house_a": 0.0}, "cable-drop", ("--meter-v", "12.6"), "too little to see a drop"),
    ({}, "which", ("--wait", "2"), "no start of the engine"),
])
def test_a_step_that_is_not_clear_says_why_and_changes_nothing(ready: Board, state, name, more, words) -> None:
    before = (ready.root / "van.toml").read_text()
    ready.now(**state)
    code, said = _step(ready, name, *more)
    assert code == 1 and words in said and "Nothing was changed" in said
    assert (ready.root / "van.toml").read_text() == before


def test_an_instrument_that_is_gone_is_one_sentence(ready: Board) -> None:
    (ready.hwmon / "name").write_text("other\n")
    code, said = _step(ready, "zero")
    assert code == 1 and "no chip called 'ina226'" in said and "Traceback" not in said


def test_measuring_a_quantity_that_nothing_gives_is_refused(ready: Board) -> None:
    from monitor.commissioning import document
    from monitor.commissioning.steps import NotClear

    with pytest.raises(NotClear, match="nothing measures solar_current_a"):
        measuring.watch(document.read(ready.root / "van.toml"), ready.root / "van.toml", 0.3, ("solar_current_a",))
