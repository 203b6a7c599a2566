"""Alerts on their way out: real programs, a real broker, a real web server; slow and broken ones too."""
import json
import resource
import shutil
import socket
import subprocess
import sys
import threading
import time
from contextlib import suppress
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from monitor.alerts import rules
from monitor.alerts.channels import Command, Journal, NotDelivered, Services, StateTopic, Topic
from monitor.alerts.delivery import KEPT, Deliverer
from monitor.alerts.spool import Spool, Waiting
from monitor.config.tables import MqttTable
from monitor.findings import Condition


def _change(kind: str = "house_low", priority: str = "high") -> rules.AlertChange:
    condition = Condition(kind, "house", True, priority, "41 % left.", "Below the reserve.", "The fridge.", "It is charged.",
                          figures=(("charge_frac", 0.41),))
    return rules.update(rules.begin(), (condition,), 100.0).news[0]


def _script(tmp_path: Path, body: str) -> tuple[str, ...]:
    path = tmp_path / "script.py"
    path.write_text(body)
    return (sys.executable, str(path))


def _until(true, seconds: float = 5.0) -> None:
    end = time.monotonic() + seconds
    while not true() and time.monotonic() < end:
        time.sleep(0.02)
    assert true()


def test_a_command_gets_the_alert_as_json(tmp_path: Path) -> None:
    out = tmp_path / "out.json"
    Command(_script(tmp_path, f"import sys; open({str(out)!r}, 'w').write(sys.stdin.read())")).send(_change(), 10)
    said = json.loads(out.read_text())
    assert said["kind"] == "house_low" and said["figures"] == {"charge_frac": 0.41} and said["what"] == "raised"


@pytest.mark.parametrize(("body", "words"), [
    ("import time; time.sleep(30)", "did not finish within"),
    ("import sys; print('no such number', file=sys.stderr); sys.exit(3)", "ended with 3: no such number")])
def test_a_command_that_hangs_or_fails_is_told(tmp_path: Path, body: str, words: str) -> None:
    with pytest.raises(NotDelivered, match=words):
        Command(_script(tmp_path, body)).send(_change(), 0.6)


def test_a_missing_program_is_told() -> None:
    with pytest.raises(NotDelivered, match="No such file"):
        Command(("/nowhere/program",)).send(_change(), 1)


def test_offering_never_waits_for_a_slow_channel(tmp_path: Path) -> None:
    deliverer = Deliverer([Command(_script(tmp_path, "import time; time.sleep(1)"))], timeout_s=5)
    started = time.monotonic()
    for _ in range(50):
        deliverer.offer(_change())
    assert time.monotonic() - started < 0.2
    deliverer.close(0.1)


def test_what_was_not_delivered_is_kept_shown_and_tried_again(tmp_path: Path) -> None:
    gate, out = tmp_path / "gate", tmp_path / "out"
    body = (f"import sys, pathlib\nif not pathlib.Path({str(gate)!r}).exists(): sys.exit('line is down')\n"
            f"open({str(out)!r}, 'a').write('x')")
    deliverer = Deliverer([Command(_script(tmp_path, body))], pauses_s=(0.1,))
    deliverer.offer(_change())
    _until(lambda: bool(deliverer.waiting()))
    assert "line is down" in deliverer.waiting()[0].why
    gate.touch()
    _until(out.exists)
    _until(lambda: not deliverer.waiting())
    time.sleep(0.3)
    assert out.read_text() == "x", "once, not twice"
    deliverer.close()


def test_a_slow_channel_does_not_delay_another(tmp_path: Path) -> None:
    out = tmp_path / "out"
    slow = Command(_script(tmp_path, "import time; time.sleep(4)"), name="slow")
    (tmp_path / "quick.py").write_text(f"open({str(out)!r}, 'w')")
    quick = Command((sys.executable, str(tmp_path / "quick.py")), name="quick")
    deliverer = Deliverer([slow, quick], timeout_s=1)
    deliverer.offer(_change())
    started = time.monotonic()
    _until(out.exists)
    assert time.monotonic() - started < 1.0
    deliverer.close()


def test_what_waits_survives_a_restart_of_the_daemon(tmp_path: Path) -> None:
    gate, out = tmp_path / "gate", tmp_path / "out"
    way = Command(_script(tmp_path, f"import sys, pathlib\nif not pathlib.Path({str(gate)!r}).exists(): sys.exit('no network')\n"
                                    f"open({str(out)!r}, 'a').write('x')"))
    spool = Spool(tmp_path / "undelivered.json")
    first = Deliverer([way], pauses_s=(60.0,), spool=spool)
    first.offer(_change())
    _until(lambda: bool(first.waiting()))
    first.close(0.1)
    assert "no network" in spool.read()[0].why
    gate.touch()
    second = Deliverer([way], spool=spool)
    _until(out.exists)
    _until(lambda: not spool.path.exists())
    second.close()


def test_a_damaged_spool_is_nothing_waiting_and_says_so(tmp_path: Path) -> None:
    (tmp_path / "undelivered.json").write_text('{"_":"Sheet","ite')
    spool = Spool(tmp_path / "undelivered.json")
    assert spool.read() == () and spool.damaged
    deliverer = Deliverer([Journal()], spool=spool)
    _until(lambda: not spool.path.exists())
    deliverer.close()
    assert spool.read() == () and not spool.damaged


def test_no_flipped_bit_changes_what_waits(tmp_path: Path) -> None:
    spool = Spool(tmp_path / "undelivered.json")
    waiting = (Waiting(_change(), "command", 1, 0.0, 0.0, "no network"),)
    spool.write(waiting)
    whole = spool.path.read_bytes()
    assert spool.read() == waiting
    for place in range(len(whole) * 8):
        body = bytearray(whole)
        body[place // 8] ^= 1 << place % 8
        spool.path.write_bytes(body)
        assert spool.read() in ((), waiting) and (spool.damaged or spool.read() == waiting), f"bit {place}"


def test_what_waited_and_cannot_be_read_is_made_up_for_by_the_alerts_that_hold(tmp_path: Path) -> None:
    out = tmp_path / "out"
    (tmp_path / "undelivered.json").write_text("00000000\n{}")
    deliverer = Deliverer([Command(_script(tmp_path, f"open({str(out)!r}, 'a').write('x')"))], spool=Spool(tmp_path / "undelivered.json"))
    held = _change().alert
    deliverer.offer_again((held, replace(held, id=held.id + 1, state="normal")))
    _until(out.exists)
    deliverer.close()
    assert out.read_text() == "x"


def test_messages_stuck_for_ten_minutes_become_an_alert_themselves(tmp_path: Path) -> None:
    clock = [0.0]
    deliverer = Deliverer([Command(_script(tmp_path, "raise SystemExit('no network')"))], pauses_s=(3600.0,), now=lambda: clock[0])
    deliverer.offer(_change())
    _until(lambda: bool(deliverer.waiting()))
    assert not deliverer.condition().active
    clock[0] = 601.0
    assert deliverer.condition().active and "no network" in deliverer.condition().evidence
    deliverer.close(0.1)


def test_after_a_day_it_is_given_up_but_still_shown(tmp_path: Path) -> None:
    deliverer = Deliverer([Command(_script(tmp_path, "raise SystemExit('no network')"))], pauses_s=(2e5,))
    deliverer.offer(_change())
    _until(lambda: bool(deliverer.waiting()))
    assert deliverer.waiting()[0].given_up
    deliverer.close(0.1)


def test_a_broken_channel_does_not_stop_the_others(tmp_path: Path) -> None:
    class Broken:
        name = "broken"

        def send(self, change, timeout_s):
            raise ZeroDivisionError

    out = tmp_path / "out"
    deliverer = Deliverer([Broken(), Command(_script(tmp_path, f"open({str(out)!r}, 'w')"))])
    deliverer.offer(_change())
    _until(out.exists)
    assert deliverer.alive()
    deliverer.close()


def test_the_journal_says_it_in_one_line(caplog: pytest.LogCaptureFixture) -> None:
    Journal().send(_change(), 1)
    assert "41 % left. Below the reserve. Check first: The fridge. It is charged." in caplog.text


def test_a_change_not_to_be_announced_goes_to_the_journal_only(tmp_path: Path, caplog) -> None:
    from dataclasses import replace
    out = tmp_path / "out"
    deliverer = Deliverer([Journal(), Command(_script(tmp_path, f"open({str(out)!r}, 'w')"))])
    with caplog.at_level("INFO"):
        deliverer.offer(replace(_change(), announce=False))
        _until(lambda: "41 % left." in caplog.text)
    deliverer.close()
    assert not out.exists()


def test_services_reach_a_web_server(tmp_path: Path) -> None:
    got: list[dict] = []

    class Sink(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            got.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Sink)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        Services((f"json://127.0.0.1:{server.server_port}/",)).send(_change(), 5)
        assert got[0]["title"] == "41 % left." and "Below the reserve." in got[0]["message"]
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
    with pytest.raises(NotDelivered):
        Services((f"json://127.0.0.1:{server.server_port}/",)).send(_change(), 5)


def test_an_address_the_library_does_not_know_is_told_without_repeating_it() -> None:
    with pytest.raises(ValueError, match="address number 1") as caught:
        Services(("nosuchthing://secret@x",))
    assert "secret" not in str(caught.value)


@pytest.mark.skipif(shutil.which("mosquitto") is None, reason="needs a broker: apt-get install mosquitto")
def test_a_topic_keeps_the_latest_state_and_leaves_a_last_will(tmp_path: Path) -> None:
    import paho.mqtt.client as mqtt

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    (tmp_path / "m.conf").write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\nuser root\n")
    broker = subprocess.Popen([shutil.which("mosquitto"), "-c", str(tmp_path / "m.conf")], stderr=subprocess.DEVNULL)
    try:
        topic = Topic(MqttTable(host="127.0.0.1", port=port, topic="van/alerts"))

        def sent() -> bool:
            try:
                topic.send(_change(), 2)
                return True
            except NotDelivered:
                return False

        _until(sent, 8)
        got: dict[str, str] = {}
        reader = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        reader.on_message = lambda c, u, m: got.__setitem__(m.topic, m.payload.decode())
        reader.connect("127.0.0.1", port)
        reader.subscribe("van/alerts/#")
        reader.loop_start()
        _until(lambda: len(got) == 2)
        assert got["van/alerts/alive"] == "1"
        assert json.loads(got["van/alerts/house/house_low"])["priority"] == "high"
        StateTopic(topic).hand({"version": 1}, 2)
        late: dict[str, tuple[str, bool]] = {}
        late_reader = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)       # comes later and is told all the same
        late_reader.on_message = lambda c, u, m: late.__setitem__(m.topic, (m.payload.decode(), m.retain))
        late_reader.connect("127.0.0.1", port)
        late_reader.subscribe("van/alerts/state")
        late_reader.loop_start()
        _until(lambda: "van/alerts/state" in late)
        late_reader.loop_stop()
        late_reader.disconnect()
        assert late["van/alerts/state"] == ('{"version": 1}', True)
        deliverer = Deliverer([topic])
        held = rules.update(rules.begin(), (), 0.0)
        held = rules.update(held, (Condition("house_low", "house", True),), 1.0)
        deliverer.offer(rules.update(held, (Condition("house_low", "house", False),), 2.0).news[0])
        _until(lambda: json.loads(got["van/alerts/house/house_low"])["what"] == "cleared")
        deliverer.close()
        _until(lambda: got["van/alerts/alive"] == "0")
        reader.loop_stop()
        reader.disconnect()
    finally:
        broker.terminate()
        broker.wait(5)


@pytest.mark.parametrize(("body", "words"), [
    ("import sys\nwhile True: sys.stderr.write('x' * 100000)", "did not finish"),
    ("import sys\nwhile True: sys.stdout.write('x' * 100000)", "did not finish"),
    ("import signal, time\nsignal.signal(signal.SIGTERM, signal.SIG_IGN)\ntime.sleep(60)", "did not finish"),
    ("import sys; sys.stdin.close(); sys.stderr.write('first\\n' * 100000 + 'the last'); sys.exit(2)", "ended with 2: the last")])
def test_a_command_is_bounded_in_time_and_in_what_it_prints(tmp_path: Path, body: str, words: str) -> None:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    started = time.monotonic()
    with pytest.raises(NotDelivered, match=words):
        Command(_script(tmp_path, body)).send(_change(), 1.5)
    assert time.monotonic() - started < 6
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 20_000  # kB


@pytest.mark.parametrize("ends", ["sys.exit(0)", "time.sleep(60)"])
def test_what_a_command_leaves_behind_is_ended_with_it(tmp_path: Path, ends: str) -> None:
    """A helper of its own that would sleep for a minute, with our pipe still open."""
    pid = tmp_path / "pid"
    body = (f"import subprocess, sys, time\nchild = subprocess.Popen(['sleep', '60'])\nopen({str(pid)!r}, "
            f"'w').write(str(child.pid))\n{ends}")
    with suppress(NotDelivered):
        Command(_script(tmp_path, body)).send(_change(), 1.5)
    _until(lambda: not _alive(int(pid.read_text())))


def _alive(pid: int) -> bool:
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return False


def test_two_hundred_low_ones_do_not_push_out_an_urgent_one_and_it_goes_first(tmp_path: Path) -> None:
    gate, busy, sent = threading.Event(), threading.Event(), []

    class Way:
        name = "way"

        def send(self, change: rules.AlertChange, timeout_s: float) -> None:
            busy.set()
            gate.wait(20)
            sent.append(change.alert.kind)

    deliverer = Deliverer([Way()])
    deliverer.offer(_change("first", "low"))
    assert busy.wait(5)
    deliverer.offer(_change("will_not_start", "high"))
    for number in range(230):
        deliverer.offer(_change(f"low_{number}", "low"))
    deliverer.offer(_change("crank_weak", "medium"))
    gate.set()
    _until(lambda: len(sent) >= KEPT, 20)
    assert sent[1:3] == ["will_not_start", "crank_weak"]
    assert sent[-1] == "low_229" and len(sent) <= KEPT + 1
    deliverer.close()


def test_a_channel_that_keeps_state_waits_with_the_latest_word_on_each_alert_only(tmp_path: Path) -> None:
    class Down:
        name, keeps_state = "topic", True

        def send(self, change: rules.AlertChange, timeout_s: float) -> None:
            raise NotDelivered("no broker")

    deliverer = Deliverer([Down()], pauses_s=(3600.0,))
    for _ in range(50):
        deliverer.offer(_change("house_low"))
        deliverer.offer(_change("starter_low"))
    _until(lambda: len(deliverer.waiting()) == 2)
    deliverer.close(0.1)


def test_a_channel_that_is_dead_for_a_day_is_more_urgent(tmp_path: Path) -> None:
    clock = [0.0]
    deliverer = Deliverer([Command(_script(tmp_path, "raise SystemExit('no network')"))], pauses_s=(3600.0,), now=lambda: clock[0])
    deliverer.offer(_change())
    _until(lambda: bool(deliverer.waiting()))
    clock[0] = 700.0
    assert deliverer.condition().priority == "low"
    clock[0] = 90000.0
    assert deliverer.condition().priority == "medium" and "for a day" in deliverer.condition().seen
    deliverer.close(0.1)


@pytest.mark.slow
# the library leaves the socket of a refused handshake to Python, which closes it
@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.skipif(shutil.which("mosquitto") is None or shutil.which("openssl") is None, reason="needs mosquitto and openssl")
def test_a_topic_goes_over_tls_and_only_to_the_right_broker(tmp_path: Path) -> None:
    """A broker with a certificate of our own making: reached by who trusts it, refused by who does not, and by a wrong name."""
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
                    "-subj", "/CN=broker", "-addext", "subjectAltName=IP:127.0.0.1", "-keyout", tmp_path / "key.pem", "-out",
                    tmp_path / "broker.pem"], check=True, capture_output=True)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    (tmp_path / "m.conf").write_text(f"listener {port}\nallow_anonymous true\nuser root\ncertfile {tmp_path}/broker.pem\nkeyfile "
                                     f"{tmp_path}/key.pem\n")
    broker = subprocess.Popen([shutil.which("mosquitto"), "-c", str(tmp_path / "m.conf")], stderr=subprocess.DEVNULL)
    topics = [Topic(MqttTable(host=host, port=port, tls=True, ca_file=ca)) for host, ca in (
        ("127.0.0.1", tmp_path / "broker.pem"), ("127.0.0.1", None), ("localhost", tmp_path / "broker.pem"))]
    try:
        def sent(topic: Topic) -> bool:
            try:
                topic.send(_change(), 2)
                return True
            except NotDelivered:
                return False

        _until(lambda: sent(topics[0]), 10)
        topics[0].hand({"what": "heartbeat"}, 2)
        assert not sent(topics[1]) and not sent(topics[2])
    finally:
        for topic in topics:
            topic.close()
        broker.terminate()
        broker.wait(5)
    with pytest.raises(ValueError, match="cannot be used for TLS"):
        Topic(MqttTable(host="127.0.0.1", tls=True, ca_file=tmp_path / "none.pem"))
