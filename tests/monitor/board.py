"""A board with a vehicle behind it: kernel-shaped folders, a pseudo-terminal, a Modbus server, and hands that switch."""
import os
import selectors
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

from tests.drivers.links import SunspecServer, Terminal

ROOT = Path(__file__).parent.parent.parent


class Board:
    """What the kernel would show. The world is told in truth: volts at the posts, amperes into the house battery.

    ratio: of the divider in front of the converter. turned: the shunt's sense wires changed places.
    crossed: the two voltage leads changed places. house_scale: what the chip makes of the house voltage.
    """

    def __init__(self, root: Path, *, ratio: float = 5.0, turned: bool = False, crossed: bool = False, gain: float = 1.0,
                 offset_a: float = 0.07, lead_ohm: float = 0.0) -> None:
        self.root, self.ratio, self.turned, self.crossed = root, ratio, turned, crossed
        self.gain, self.offset_a, self.lead_ohm = gain, offset_a, lead_ohm
        self.hwmon, self.iio = root / "sys/class/hwmon/hwmon0", root / "sys/bus/iio/devices/iio:device0"
        w1 = root / "sys/bus/w1/devices/28-000000000001"
        for folder in (self.hwmon, self.iio, w1, root / "dev/serial/by-id"):
            folder.mkdir(parents=True, exist_ok=True)
        (self.hwmon / "name").write_text("ina226\n")
        (self.hwmon / "in0_input").write_text("1\n")
        (self.iio / "name").write_text("ads1115\n")
        (self.iio / "in_voltage0_scale").write_text("0.1875\n")
        (w1 / "w1_slave").write_text("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=21500\n")
        self.house_v, self.starter_v, self.house_a = 12.62, 12.71, -2.4
        self.show()

    def show(self) -> None:
        """Put the present state into the files, as the instruments see it."""
        house = self.house_v + self.lead_ohm * self.house_a
        chip_v, pin_v = (self.starter_v, house) if self.crossed else (house, self.starter_v)
        amps = self.house_a / self.gain + self.offset_a
        for file, text in ((self.hwmon / "in1_input", f"{chip_v * 1000:.0f}\n"),
                           (self.hwmon / "curr1_input", f"{1000 * (-amps if self.turned else amps):.0f}\n"),
                           (self.iio / "in_voltage0_raw", f"{pin_v * 1000 / self.ratio / 0.1875:.0f}\n")):
            fresh = file.with_name(file.name + ".new")
            fresh.write_text(text)
            fresh.replace(file)

    def now(self, **state: float) -> None:
        for name, value in state.items():
            setattr(self, name, value)
        self.show()

    def start_engine(self) -> None:
        """Half a second of cranking, then the alternator; the isolator joins the house battery a little later."""
        def hands() -> None:
            time.sleep(1.5)
            self.now(starter_v=9.8)
            time.sleep(0.6)
            self.now(starter_v=14.1)
            time.sleep(3.2)
            self.now(house_v=13.9, house_a=20.0)
            time.sleep(0.2)
            self.now(house_v=12.62, starter_v=12.71, house_a=-2.4)

        self.engine = threading.Thread(target=hands, daemon=True)
        self.engine.start()

    def everything_off(self) -> None:
        """The engine has stopped and nothing flows."""
        self.engine.join()
        self.now(house_a=0.0)


class Conversation:
    """`ampledger setup` as a process of its own: `replies` maps a word of each question to (what hands do first, what is typed)."""

    def __init__(self, arguments: list[str], replies: list[tuple[str, Callable[[], object] | None, str]]) -> None:
        self.asked: list[str] = []
        self.process = subprocess.Popen(
            [sys.executable, "-m", "monitor", "setup", *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, cwd=ROOT, env={**os.environ, "PYTHONUNBUFFERED": "1"})
        self.said = ""
        waiting = list(replies)
        try:
            self._talk(waiting)
            self.code = self.process.wait(10)
        finally:
            self.process.kill()
            self.process.wait()
            self.process.stdin.close()
            self.process.stdout.close()
        assert not waiting, f"not asked: {waiting}\n{self.said}"

    def _talk(self, waiting: list[tuple[str, Callable[[], object] | None, str]]) -> None:
        while (question := self._until_asked()) is not None:
            self.asked.append(question)
            if not waiting:
                raise AssertionError(f"nobody told what to answer to:\n{question}\nin:\n{self.said}")
            word, hands, answer = waiting.pop(0)
            assert word in question, f"expected a question about {word!r}, got:\n{question}\nin:\n{self.said}"
            if hands is not None:
                hands()
            self.process.stdin.write(answer.encode() + b"\n")
            self.process.stdin.flush()

    def _until_asked(self, timeout_s: float = 60.0) -> str | None:
        start, end_s = len(self.said), time.monotonic() + timeout_s
        with selectors.DefaultSelector() as ready:
            ready.register(self.process.stdout, selectors.EVENT_READ)
            while time.monotonic() < end_s:
                if not ready.select(0.2):
                    continue
                data = os.read(self.process.stdout.fileno(), 65536)
                if not data:
                    return None
                self.said += data.decode()
                if self.said.endswith("\n> "):
                    return self.said[start:]
        self.process.kill()
        raise AssertionError(f"no question and no end:\n{self.said}")


class WithLines(Terminal):
    """The pseudo-terminal under the name that the kernel would give it."""

    def __init__(self, board: Board) -> None:
        super().__init__(board.root)
        (board.root / "dev/serial/by-id/usb-maker_adapter_1234-if00-port0").symlink_to(os.ttyname(self.slave))


__all__ = ["Board", "Conversation", "SunspecServer", "WithLines"]
