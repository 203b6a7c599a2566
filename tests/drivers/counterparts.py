"""The real other ends of our drivers: folders shaped exactly as the kernel's documents say."""
import shutil
from pathlib import Path
from typing import Any

from drivers.hwmon import HwmonDriver
from drivers.iio import IioDriver
from drivers.recorded import RecordedDriver
from drivers.w1 import W1Driver
from tests.drivers.buffered import BufferedFolder
from tests.drivers.buses import Broker, SlcanAdapter, VirtualCan
from tests.drivers.links import SerialServer, Server, SunspecServer, Terminal
from tests.drivers.stand_ins import GpioLine, I2cChip


class Folder:
    """A folder of small files, one device; it can be renumbered as the kernel does."""

    driver: Any
    names = ("dev0", "dev1")

    def __init__(self, root: Path, options: dict[str, Any], shows: dict[str, float], other: dict[str, float],
                 within: float) -> None:
        self.root, self.place = root, root / self.names[0]
        self.place.mkdir(parents=True)
        self.shows, self.other, self.within = shows, other, within
        self.prepare()
        self.show(shows)
        self.options = self.driver.Options.model_validate({**options, "root": root})

    def prepare(self) -> None:
        """Write the files that do not change."""

    def files(self, values: dict[str, float]) -> dict[str, str]:
        """The files that show these values."""
        raise NotImplementedError

    def show(self, values: dict[str, float]) -> None:
        self.now = values
        for name, text in self.files(values).items():
            (self.place / name).write_text(text)

    def trouble(self, how: str) -> bool:
        texts = {"silence": "", "garbage": "\x00\xff?!\n"}
        if how not in texts:
            return False
        for name in self.files(self.shows):
            (self.place / name).write_bytes(texts[how].encode("latin-1"))
        return True

    def mend(self) -> None:
        self.show(self.shows)

    def leave(self) -> bool:
        shutil.rmtree(self.place)
        return True

    def come_back(self) -> None:
        self.place = self.root / self.names[1]
        self.place.mkdir()
        self.prepare()
        self.show(self.shows)


class HwmonFolder(Folder):
    """A shunt-monitor chip: 12650 mV is 12.650 V, -12345 mA is -12.345 A."""

    driver, names = HwmonDriver, ("hwmon0", "hwmon3")
    patience_s = 2.0

    def __init__(self, root: Path) -> None:
        super().__init__(root, {"chip": "ina226", "measures": {
            "house_voltage_v": "in1", "house_current_a": "curr1", "house_temperature_c": "temp1"}},
            {"house_voltage_v": 12.65, "house_current_a": -12.345, "house_temperature_c": 23.5},
            {"house_voltage_v": 14.4, "house_current_a": 35.0, "house_temperature_c": -5.125}, 1e-9)

    def prepare(self) -> None:
        (self.place / "name").write_text("ina226\n")

    def files(self, values: dict[str, float]) -> dict[str, str]:
        return {"in1_input": f"{values['house_voltage_v'] * 1000:.0f}\n",
                "curr1_input": f"{values['house_current_a'] * 1000:.0f}\n",
                "temp1_input": f"{values['house_temperature_c'] * 1000:.0f}\n"}


class IioFolder(Folder):
    """A 12-bit converter behind a 5:1 divider: (raw + offset) x scale is the pin's voltage in millivolt."""

    driver, names = IioDriver, ("iio:device0", "iio:device2")

    def __init__(self, root: Path) -> None:
        super().__init__(root, {"device": "ads1015", "measures": {
            "starter_voltage_v": {"channel": "in_voltage0", "ratio": 5.0},
            "starter_temperature_c": "in_temp"}},
            {"starter_voltage_v": 12.7, "starter_temperature_c": 37.0},
            {"starter_voltage_v": 9.6, "starter_temperature_c": 12.0}, 0.01)

    def prepare(self) -> None:
        (self.place / "name").write_text("ads1015\n")
        (self.place / "in_voltage_scale").write_text("2.000000\n")  # shared by all voltage channels
        (self.place / "in_temp_scale").write_text("1000\n")
        (self.place / "in_temp_offset").write_text("25\n")

    def files(self, values: dict[str, float]) -> dict[str, str]:
        return {"in_voltage0_raw": f"{values['starter_voltage_v'] * 1000 / 5 / 2:.0f}\n",
                "in_temp_raw": f"{values['starter_temperature_c'] - 25:.0f}\n"}


class W1Folder(Folder):
    """A 1-wire temperature sensor; its name is its serial number, so it comes back under the same."""

    driver, names = W1Driver, ("28-0316a2794a8b", "28-0316a2794a8b")

    def __init__(self, root: Path) -> None:
        super().__init__(root, {"sensor": "28-0316a2794a8b", "measures": "house_temperature_c"},
                         {"house_temperature_c": 23.187}, {"house_temperature_c": -10.125}, 1e-9)

    def files(self, values: dict[str, float]) -> dict[str, str]:
        milli = round(values["house_temperature_c"] * 1000)
        return {"w1_slave": f"72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t={milli}\n"}

    def trouble(self, how: str) -> bool:
        if how == "checksum":  # the kernel goes on showing the last good value
            (self.place / "w1_slave").write_text("ff 01 4b 46 7f ff 0e 10 57 : crc=00 NO\n72 01 4b 46 7f ff 0e 10 57 t=61000\n")
            return True
        if how == "half":
            (self.place / "w1_slave").write_text("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b")
            return True
        return super().trouble(how)


class Recording:
    """A CSV file whose rows repeat the shown values; it cannot go wrong while it is being read."""

    driver = RecordedDriver
    within = 1e-9
    shows = {"house_voltage_v": 12.65, "house_current_a": -12.345, "starter_voltage_v": 12.8, "house_temperature_c": 21.0}
    other = {"house_voltage_v": 13.9, "house_current_a": 20.0, "starter_voltage_v": 14.1, "house_temperature_c": 22.0}

    def __init__(self, root: Path) -> None:
        self.file = root / "recording.csv"
        rows = ["t_s,house_v,house_a,starter_v,house_temp_c"]
        for k in range(1, 30_001):
            values = self.shows if k % 20 else self.other
            rows.append(f"{k}," + ",".join(str(v) for v in values.values()))
        self.file.write_text("\n".join(rows) + "\n")
        self.options = RecordedDriver.Options(file=self.file)

    def show(self, values: dict[str, float]) -> None:
        """Both sets are in the recording already."""

    def trouble(self, how: str) -> bool:
        return False

    def mend(self) -> None: ...

    def leave(self) -> bool:
        return False

    def come_back(self) -> None: ...


COUNTERPARTS = {"hwmon": HwmonFolder, "iio": IioFolder, "w1": W1Folder, "recorded": Recording,
                "serial": Terminal, "modbus": Server, "modbus over a serial line": SerialServer, "sunspec": SunspecServer,
                "i2c": I2cChip, "iio_fast": BufferedFolder, "gpio": GpioLine, "can_rvc": VirtualCan,
                "can_rvc over a serial adapter": SlcanAdapter,
                "mqtt": Broker}
