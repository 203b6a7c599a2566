"""Real other ends of drivers that talk over a line: a pseudo-terminal, a Modbus server."""
import asyncio
import os
import threading
import time
import tty
from pathlib import Path

from pymodbus import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from drivers.modbus import ModbusDriver
from drivers.serial_text import SerialTextDriver
from drivers.sunspec import SunspecDriver
from tests.ports import free_port

SHOWS = {"house_voltage_v": 12.65, "house_current_a": -12.345}
OTHER = {"house_voltage_v": 14.4, "house_current_a": 35.0}


class Terminal:
    """An instrument that sends a line every 20 ms over a pseudo-terminal: amperes, volts, checksum."""

    driver, shows, other, within = SerialTextDriver, SHOWS, OTHER, 1e-9

    def __init__(self, root: Path) -> None:
        self.link = root / "by-id"
        self.now, self.how, self.stop = self.shows, "", threading.Event()
        self.master = -1
        self.come_back()
        self.options = SerialTextDriver.Options.model_validate({
            "port": str(self.link), "separator": ",", "checksum": "xor8", "timeout_s": 0.3,
            "measures": {"house_voltage_v": "2", "house_current_a": "1"}})

    def _line(self) -> bytes:
        body = f"{self.now['house_current_a']},{self.now['house_voltage_v']}"
        check = 0
        for byte in body.encode():
            check ^= byte
        if self.how == "checksum":  # one digit changed on the way; an xor would not notice the same change twice
            body = body.replace("1", "7", 1)
        line = f"{body}*{check:02X}\r\n".encode()
        return {"silence": b"", "garbage": b"\xf3\x00\x81\r\n", "half": line[:6], "late": b""}.get(self.how, line)

    def _talk(self, master: int) -> None:
        sent_half = False
        while not self.stop.is_set():
            try:
                if not (self.how == "half" and sent_half):
                    os.write(master, self._line())
                sent_half = self.how == "half"
            except (BlockingIOError, OSError):
                pass
            time.sleep(0.02)

    def show(self, values: dict[str, float]) -> None:
        self.now = values

    def trouble(self, how: str) -> bool:
        self.how = how
        time.sleep(0.1)
        self._drain()
        return True

    def _drain(self) -> None:
        """What the driver has not fetched yet would still be true; trouble begins with the next line."""
        import termios

        termios.tcflush(self.slave, termios.TCIFLUSH)

    def mend(self) -> None:
        self.how = ""

    def leave(self) -> bool:
        self.close()
        self.link.unlink()
        return True

    def come_back(self) -> None:
        self.stop = threading.Event()
        self.how = ""
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.link.symlink_to(os.ttyname(self.slave))
        self.thread = threading.Thread(target=self._talk, args=(self.master,), daemon=True)
        self.thread.start()

    def close(self) -> None:
        if self.master >= 0:
            self.stop.set()
            self.thread.join()
            os.close(self.master)
            os.close(self.slave)
            self.master = -1


class Server:
    """pymodbus's own server: a map of a voltage with a scale factor and a signed 32-bit current."""

    driver, shows, other, within = ModbusDriver, SHOWS, OTHER, 0.006
    first, count = 10, 12
    measures = {"house_voltage_v": {"address": 10, "type": "UINT16", "scale_address": 11},
                "house_current_a": {"address": 20, "type": "INT32", "scale": 0.001, "word_order": "big"}}

    def __init__(self, root: Path) -> None:
        self.now, self.how = self.shows, ""
        self.port = 0
        self.come_back()
        self.options = ModbusDriver.Options.model_validate({
            "host": "127.0.0.1", "tcp_port": self.port, "timeout_s": 0.3, "measures": self.measures})

    def words(self) -> dict[int, int]:
        """Register -> what it holds now."""
        amps = round(self.now["house_current_a"] * 1000) & 0xFFFFFFFF
        return {10: round(self.now["house_voltage_v"] * 100), 11: 0xFFFE, 20: amps >> 16, 21: amps & 0xFFFF}

    async def _fill(self, function, start, address, count, registers, values):
        if values is None and registers is not None:
            for place, word in self.words().items():
                if 0 <= place - start < len(registers):
                    registers[place - start] = word
        return None

    def _packet(self, sending: bool, data: bytes) -> bytes:
        if not sending or not self.how:
            return data
        if self.how == "late":
            time.sleep(0.6)
            return data
        return {"silence": b"", "half": data[: len(data) // 2], "garbage": bytes(b ^ 0x5A for b in data)}.get(self.how, data)

    def _server(self, device: SimDevice):
        return ModbusTcpServer([device], address=("127.0.0.1", self.port), trace_packet=self._packet)

    def show(self, values: dict[str, float]) -> None:
        self.now = values

    def trouble(self, how: str) -> bool:
        if how == "checksum":
            return False  # TCP carries its own, below us
        self.how = how
        return True

    def mend(self) -> None:
        self.how = ""

    def leave(self) -> bool:
        self.close()
        return True

    def come_back(self) -> None:
        if not self.port:
            self.port = free_port()
        ready = threading.Event()

        async def serve() -> None:
            device = SimDevice(id=1, simdata=[SimData(self.first, values=[0] * self.count, datatype=DataType.REGISTERS)], action=self._fill)
            self.server = self._server(device)
            await self.server.serve_forever(background=True)
            self.loop, self.over = asyncio.get_running_loop(), asyncio.Event()
            ready.set()
            await self.over.wait()
            await self.server.shutdown()

        self.thread = threading.Thread(target=lambda: asyncio.run(serve()), daemon=True)
        self.thread.start()
        assert ready.wait(5)

    def close(self) -> None:
        if self.thread.is_alive():
            self.loop.call_soon_threadsafe(self.over.set)
            self.thread.join(5)


class SunspecServer(Server):
    """A map as the open models lay it out: the mark, a common model, battery model 802, the end.

    Places in model 802 by the model's own file: V 34 with V_SF 59, A 44 with A_SF 61.
    """

    driver, within = SunspecDriver, 0.006
    first, count = 40000, 2 + 68 + 64 + 2
    BATTERY = 40000 + 2 + 68

    def __init__(self, root: Path) -> None:
        super().__init__(root)
        self.options = SunspecDriver.Options.model_validate({
            "host": "127.0.0.1", "tcp_port": self.port, "timeout_s": 0.3,
            "measures": {"house_voltage_v": "V", "house_current_a": "A"}})

    def words(self) -> dict[int, int]:
        model = self.BATTERY
        return {40000: 0x5375, 40001: 0x6E53, 40002: 1, 40003: 66, model: 802, model + 1: 62,
                model + 34: round(self.now["house_voltage_v"] * 100), model + 59: 0xFFFE,
                model + 44: round(self.now["house_current_a"] * 100) & 0xFFFF, model + 61: 0xFFFE,
                model + 64: 0xFFFF, model + 65: 0}


class SerialServer(Server):
    """The same map over RTU on a pseudo-terminal pair."""

    def __init__(self, root: Path) -> None:
        self.link = root / "by-id"
        super().__init__(root)
        self.options = ModbusDriver.Options.model_validate({
            "port": str(self.link), "baud": 115200, "timeout_s": 0.3, "measures": self.measures})

    def _server(self, device: SimDevice):
        return ModbusSerialServer([device], framer=FramerType.RTU, port=self.ends[1], baudrate=115200,
                                  trace_packet=self._packet)

    def trouble(self, how: str) -> bool:
        self.how = how
        return True

    def _packet(self, sending: bool, data: bytes) -> bytes:
        if sending and self.how == "checksum":
            return data[:3] + bytes([data[3] ^ 0x01]) + data[4:]
        return super()._packet(sending, data)

    def come_back(self) -> None:
        self.pair = TerminalPair()
        self.ends = self.pair.names
        self.link.symlink_to(self.ends[0])
        super().come_back()

    def leave(self) -> bool:
        self.close()
        self.link.unlink()
        return True

    def close(self) -> None:
        super().close()
        self.pair.close()


class TerminalPair:
    """Two pseudo-terminals joined by a thread: what goes in at one end comes out at the other."""

    def __init__(self) -> None:
        self._ends = [os.openpty() for _ in range(2)]
        for _, slave in self._ends:
            tty.setraw(slave)
        self.names = [os.ttyname(slave) for _, slave in self._ends]
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._carry, daemon=True)
        self._thread.start()

    def _carry(self) -> None:
        import select

        masters = [master for master, _ in self._ends]
        while not self._stop.is_set():
            for master in select.select(masters, [], [], 0.05)[0]:
                try:
                    os.write(masters[1 - masters.index(master)], os.read(master, 4096))
                except OSError:
                    return

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        for pair in self._ends:
            for end in pair:
                try:
                    os.close(end)
                except OSError:
                    pass
        self._ends = []
