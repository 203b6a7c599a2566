"""A converter with a kernel buffer: a folder shaped like the kernel's, and a pipe in place of its device file."""
import os
import shutil
import struct
from pathlib import Path

from drivers.iio_fast import IioFastDriver
from tests.drivers.buses import Talker


class BufferedFolder(Talker):
    """Big-endian signed 12 bits in 16, four below them unused; 3 mV a step, a 5:1 divider; 50 scans a second."""

    driver, within = IioFastDriver, 0.008
    shows, other = {"starter_voltage_v": 12.72}, {"starter_voltage_v": 9.6}

    def __init__(self, root: Path) -> None:
        self.sys, self.dev = root / "sys", root / "dev"
        self.dev.mkdir(parents=True)
        trigger = self.sys / "trigger0"
        trigger.mkdir(parents=True)
        (trigger / "name").write_text("ticks\n")
        (trigger / "sampling_frequency").write_text("10\n")
        super().__init__()
        self._plug_in("iio:device0")
        self.options = IioFastDriver.Options.model_validate({
            "device": "ads7924", "trigger": "ticks", "root": self.sys, "dev": self.dev, "timeout_s": 0.3,
            "measures": {"starter_voltage_v": {"channel": "in_voltage0", "ratio": 5}}})
        self.thread.start()

    def _plug_in(self, name: str) -> None:
        self.place, self.pipe = self.sys / name, self.dev / name
        for folder in ("scan_elements", "buffer", "trigger"):
            (self.place / folder).mkdir(parents=True)
        files = {"name": "ads7924", "in_voltage_scale": "3", "scan_elements/in_voltage0_en": "0", "buffer/enable": "0",
                 "scan_elements/in_voltage0_index": "0", "scan_elements/in_voltage0_type": "be:s12/16>>4",
                 "scan_elements/in_timestamp_en": "1", "scan_elements/in_timestamp_index": "1",
                 "scan_elements/in_timestamp_type": "le:s64/64", "buffer/length": "2", "trigger/current_trigger": ""}
        for file, content in files.items():
            (self.place / file).write_text(content + "\n")
        os.mkfifo(self.pipe)
        self.end = os.open(self.pipe, os.O_RDWR | os.O_NONBLOCK)

    def say(self) -> None:
        if self.how != "silence":
            self.put([self.now["starter_voltage_v"]])

    def put(self, volts: list[float]) -> None:
        """Scans into the buffer; a full one takes no more."""
        for v in volts:
            try:
                os.write(self.end, struct.pack(">h", round(v / 5 / 0.003) << 4 | 0xA))
            except BlockingIOError:
                return

    def trouble(self, how: str) -> bool:
        return how == "silence" and super().trouble(how)

    def leave(self) -> bool:
        self.close()
        shutil.rmtree(self.place)
        self.pipe.unlink()
        return True

    def come_back(self) -> None:
        Talker.__init__(self)
        self._plug_in("iio:device1")
        self.thread.start()

    def close(self) -> None:
        if self.end >= 0:
            super().close()
            os.close(self.end)
            self.end = -1
