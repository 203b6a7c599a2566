"""Real other ends on buses: a virtual CAN bus, an slcan adapter on a pseudo-terminal, a Mosquitto broker."""
import json
import os
import shutil
import signal
import socket
import subprocess
import termios
import threading
import time
import tty
from pathlib import Path
from typing import Any

import can
import paho.mqtt.client as paho
import pytest

from drivers.can_rvc import CanRvcDriver
from drivers.mqtt import MqttDriver


class Talker:
    """Says what it shows every 20 ms in a thread of its own, and can be made to go wrong."""

    every_s = 0.02

    def __init__(self) -> None:
        self.now: dict[str, float] = dict(self.shows)
        self.how = ""
        self.stop = threading.Event()
        self.thread = threading.Thread(target=self._talk, daemon=True)

    def say(self) -> None:
        """Once."""
        raise NotImplementedError

    def _talk(self) -> None:
        while not self.stop.wait(self.every_s):
            try:
                self.say()
            except (OSError, can.CanError):
                pass

    def show(self, values: dict[str, float]) -> None:
        self.now = values

    def trouble(self, how: str) -> bool:
        self.how = how
        time.sleep(3 * self.every_s)  # what was said before has been said
        return True

    def mend(self) -> None:
        self.how = ""

    def close(self) -> None:
        self.stop.set()
        self.thread.join()


def frames(values: dict[str, float], how: str) -> list[tuple[int, bytes]]:
    """(identifier, data) of the two groups, from a source of priority 120 at address 0x46; see tests for the bytes."""
    volts = round(values["house_voltage_v"] / 0.05).to_bytes(2, "little")
    amperes = round(values["house_current_a"] * 1000 + 2e9).to_bytes(4, "little")
    degrees = round((values["house_temperature_c"] + 273) / 0.03125).to_bytes(2, "little")
    one, two = b"\x01\x78" + volts + amperes, b"\x01\x78" + degrees + b"\xff\xff\xff\xff"
    if how == "garbage":  # frames are checked in hardware: nonsense is a device that knows nothing
        one, two = b"\x01\x78" + b"\xff" * 6, b"\x01\x78" + b"\xff" * 6
    if how == "half":
        one, two = one[:3], two[:3]
    return [(0x19FFFD46, one), (0x19FFFC46, two)]


RVC_SHOWS = {"house_voltage_v": 12.65, "house_current_a": -12.345, "house_temperature_c": 25.0}
RVC_OTHER = {"house_voltage_v": 14.4, "house_current_a": 35.0, "house_temperature_c": -5.0}
RVC_MEASURES = {"house_voltage_v": 1, "house_current_a": 1, "house_temperature_c": {"instance": 1}}


class VirtualCan(Talker):
    """A device on python-can's virtual bus; a virtual bus cannot be unplugged."""

    driver, shows, other, within = CanRvcDriver, RVC_SHOWS, RVC_OTHER, 1e-6

    def __init__(self, root: Path) -> None:
        super().__init__()
        self.bus = can.Bus(interface="virtual", channel=str(root), ignore_config=True)
        self.options = CanRvcDriver.Options.model_validate({
            "interface": "virtual", "channel": str(root), "timeout_s": 0.3, "max_age_s": 0.2, "measures": RVC_MEASURES})
        self.thread.start()

    def say(self) -> None:
        if self.how != "silence":
            for identifier, data in frames(self.now, self.how):
                self.bus.send(can.Message(arbitration_id=identifier, data=data, is_extended_id=True))

    def trouble(self, how: str) -> bool:
        return how in ("silence", "garbage", "half") and super().trouble(how)

    def leave(self) -> bool:
        return False

    def come_back(self) -> None: ...

    def close(self) -> None:
        super().close()
        self.bus.shutdown()


class SlcanAdapter(Talker):
    """A serial-line CAN adapter on a pseudo-terminal: it says T, identifier, length and bytes, carriage return."""

    driver, shows, other, within = CanRvcDriver, RVC_SHOWS, RVC_OTHER, 1e-6

    def __init__(self, root: Path) -> None:
        self.link = root / "by-id"
        super().__init__()
        self._plug_in()
        self.options = CanRvcDriver.Options.model_validate({
            "interface": "slcan", "channel": str(self.link), "timeout_s": 0.3, "max_age_s": 0.2, "measures": RVC_MEASURES})
        self.thread.start()

    def _plug_in(self) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.link.symlink_to(os.ttyname(self.slave))

    def say(self) -> None:
        try:
            os.read(self.master, 4096)  # what the driver tells the adapter: speed, open, close
        except BlockingIOError:
            pass
        if self.how == "silence":
            return
        for identifier, data in frames(self.now, ""):
            line = f"T{identifier:08X}{len(data)}{data.hex().upper()}\r".encode()
            os.write(self.master, {"garbage": b"T\xf3zz!\r", "half": line[:14] + b"\r"}.get(self.how, line))

    def trouble(self, how: str) -> bool:
        if how not in ("silence", "garbage", "half"):
            return False
        super().trouble(how)
        termios.tcflush(self.slave, termios.TCIFLUSH)
        return True

    def leave(self) -> bool:
        self.close()
        self.link.unlink()
        return True

    def come_back(self) -> None:
        Talker.__init__(self)
        self._plug_in()
        self.thread.start()

    def close(self) -> None:
        if self.master >= 0:
            super().close()
            os.close(self.master)
            os.close(self.slave)
            self.master = -1


class Broker(Talker):
    """Mosquitto on a port of its own, and a publisher."""

    driver, within = MqttDriver, 1e-9
    shows = {"house_voltage_v": 12.65, "house_current_a": -12.345, "ignition_on": 1.0}
    other = {"house_voltage_v": 14.4, "house_current_a": 35.0, "ignition_on": 0.0}

    def __init__(self, root: Path) -> None:
        self.program = shutil.which("mosquitto", path=f"{os.environ['PATH']}:/usr/sbin")
        if self.program is None:
            pytest.skip("Mosquitto is not installed: apt-get install mosquitto")
        super().__init__()
        self.root = root
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        (root / "broker.conf").write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\n")
        self._start()
        self.options = MqttDriver.Options.model_validate({
            "tcp_port": self.port, "timeout_s": 0.4, "max_age_s": 0.2, "measures": {
                "house_voltage_v": {"topic": "van/house", "field": "dc.volts"},
                "house_current_a": {"topic": "van/house/amperes", "scale": 0.001}, "ignition_on": "van/ignition"}})
        self.thread.start()

    def _start(self) -> None:
        self.publisher = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self.broker = subprocess.Popen([self.program, "-c", str(self.root / "broker.conf")],
                                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        end = time.monotonic() + 10
        while True:
            try:
                self.publisher.connect("127.0.0.1", self.port)
                break
            except OSError:
                assert time.monotonic() < end, "Mosquitto did not start"
                time.sleep(0.02)
        self.publisher.loop_start()

    def _stop(self) -> None:
        self.publisher.disconnect()
        self.publisher.loop_stop()
        self.broker.send_signal(signal.SIGCONT)
        self.broker.terminate()
        self.broker.wait()

    def say(self) -> None:
        if self.how == "silence":
            return
        texts: dict[str, Any] = {
            "van/house": json.dumps({"dc": {"volts": self.now["house_voltage_v"]}}),
            "van/house/amperes": f"{self.now['house_current_a'] * 1000:.0f}",
            "van/ignition": "ON" if self.now["ignition_on"] else "off"}
        for topic, text in texts.items():
            if self.how == "half":
                text = text[:1] + "."
            self.publisher.publish(topic, {"garbage": b"\xff\xfe?!"}.get(self.how, text))

    def trouble(self, how: str) -> bool:
        if how == "checksum":
            return False  # TCP carries its own, below us
        if how == "late":  # the broker is too busy to hand anything on
            self.broker.send_signal(signal.SIGSTOP)
        return super().trouble(how)

    def mend(self) -> None:
        self.broker.send_signal(signal.SIGCONT)
        super().mend()

    def leave(self) -> bool:
        self._stop()
        return True

    def come_back(self) -> None:
        self._start()

    def close(self) -> None:
        super().close()
        self._stop()
