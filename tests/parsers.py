"""Everything here that reads what others wrote, each with what to throw at it and how it may refuse: for hypothesis."""
import atexit
import json
import os
import pty
import shutil
import tempfile
import tomllib
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from hypothesis import strategies as st

from drivers.can_rvc import CanRvcDriver, CanRvcOptions
from drivers.errors import CannotOpen, DriverError, ReadFailed
from drivers.i2c import I2cDriver, I2cOptions
from drivers.iio_fast import layout
from drivers.kernel_files import number as kernel_number
from drivers.modbus import Register as ModbusRegister
from drivers.modbus import number as modbus_number
from drivers.recorded import columns
from drivers.serial_text import SerialOptions, SerialTextDriver
from drivers.w1 import W1Driver, W1Options
from monitor.alerts.spool import Spool
from monitor.clocks.satellite_time import fix
from monitor.config.faults import ConfigError
from monitor.config.load import validate
from monitor.pipeline import Findings
from monitor.store import chunks, requests, saving, state
from monitor.store.delta_compression import restore

BYTES = st.binary(max_size=200)
NUMBERS = st.one_of(st.integers(-10**30, 10**30), st.floats())
PLAIN = st.recursive(st.one_of(st.none(), st.booleans(), NUMBERS, st.text(max_size=20)),
                     lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=8), inner, max_size=4)),
                     max_leaves=8)
#: Texts of digits, signs and separators: nearer to the truth than any text.
NEARLY = st.text(alphabet="0123456789+-.,;:eE*#$ \t_naifNY=t", max_size=60)
CSV = st.one_of(BYTES, st.lists(st.lists(st.one_of(NEARLY.filter(lambda t: "," not in t), NUMBERS.map(str)), max_size=5).map(",".join),
                                max_size=6)
                .map(lambda rows: "\n".join(["t_s,house_v,house_a,starter_v,house_temp_c", *rows]).encode()))
KEYS = st.sampled_from(["house", "starter", "vehicle", "shunt", "log", "dashboard", "alerts", "clock", "source", "commissioning", "driver",
                        "measures", "chemistry", "rated_capacity_ah", "float_v", "absorption_v", "bedtime", "database", "address",
                        "commit_s", "mqtt", "host", "command", "apprise", "gpsd", "certificate_file", "root", "device", "channel"])
WORDS = st.sampled_from(["agm", "lfp", "hwmon", "serial", "modbus", "i2c", "can_rvc", "mqtt", "w1", "iio", "gpio", "21:30", "127.0.0.1:1"])
TABLES = st.recursive(st.one_of(st.booleans(), NUMBERS, WORDS, st.text(max_size=12), st.dates(), st.times()),
                      lambda inner: st.one_of(st.lists(inner, max_size=3),
                                              st.dictionaries(st.one_of(KEYS, st.text(max_size=6)), inner, max_size=5)),
                      max_leaves=20)
VALID = {"house": {"chemistry": "agm", "rated_capacity_ah": 100}, "starter": {"chemistry": "agm", "rated_capacity_ah": 70}}


@dataclass(frozen=True)
class Parser:
    """What reads, what it is given, and the errors by which it may refuse; anything else is a mistake of ours."""

    given: st.SearchStrategy
    read: Callable[[Any], object]
    refuses: tuple[type[Exception], ...]


@cache
def scratch() -> Path:
    """A folder in memory where there is one, for parsers of files."""
    folder = Path(tempfile.mkdtemp(prefix="ampledger-parsers-", dir="/dev/shm" if Path("/dev/shm").is_dir() else None))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def _in_file(name: str, read: Callable[[Path], object]) -> Callable[[bytes], object]:
    def written(body: bytes) -> object:
        path = scratch() / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(body)
        return read(path)

    return written


@cache
def _line_drivers() -> tuple[SerialTextDriver, ...]:
    return (_talker(separator=","), _talker(separator=",", checksum="xor8"), _talker(separator=";", checksum="sum8"),
            _talker("va", pattern=r"V=(?P<v>\S+) A=(?P<a>\S+)"))


def _talker(channels: str = "12", **how: str) -> SerialTextDriver:
    """An instrument at the end of a pseudo-terminal, of which each line is described in one way."""
    end = os.ttyname(pty.openpty()[1])
    return SerialTextDriver(SerialOptions(port=end, measures=dict(zip(("house_voltage_v", "house_current_a"), channels)), **how))


def _line(line: bytes) -> None:
    """A line as each of the described instruments would take it."""
    for driver in _line_drivers():
        try:
            for text in driver._fields(driver._text(line)).values():
                try:
                    float(text)
                except ValueError:
                    pass
        except ReadFailed:
            pass


@cache
def _can() -> CanRvcDriver:
    driver = CanRvcDriver(CanRvcOptions(interface="virtual", channel="parsers", timeout_s=0.001, measures={
        "house_voltage_v": 1, "house_current_a": 1, "house_temperature_c": 1}))
    atexit.register(driver.close)
    return driver


def _frame(frame: tuple) -> None:
    group, source, data, dlc = frame
    _can()._take(SimpleNamespace(arbitration_id=group << 8 | source, data=data, dlc=dlc, is_extended_id=True, is_remote_frame=False,
                                 is_error_frame=False))
    values, faults = _can()._stock()
    assert all(value == value for value in values.values()) and set(values) | {f.quantity for f in faults}


class _Chip:
    """A bus whose registers hold what a test says."""

    fd = None

    def __init__(self, body: bytes) -> None:
        self.body = body

    def read_i2c_block_data(self, address: int, register: int, width: int) -> list[int]:
        return list(self.body[register:register + width])

    def write_i2c_block_data(self, address: int, register: int, data: list[int]) -> None:
        pass

    def close(self) -> None:
        pass


def _registers(told: tuple) -> None:
    body, spec = told
    driver = I2cDriver(I2cOptions(bus=1, address=0x40, measures={"house_voltage_v": spec}), opener=lambda options: _Chip(body))
    try:
        reading = driver.read()
        assert set(reading.values) | {f.quantity for f in reading.faults} == {"house_voltage_v"}
    finally:
        driver.close()


def _modbus(told: tuple) -> None:
    words, kind, order = told
    sizes = {"INT16": 1, "UINT16": 1, "INT32": 2, "UINT32": 2, "FLOAT32": 2, "INT64": 4, "UINT64": 4, "FLOAT64": 4}
    value = modbus_number(words[:sizes[kind]], kind, order)
    register = ModbusRegister(address=0, type=kind)
    assert register.unavailable(value) in (True, False)


def _tables(plain: dict) -> None:
    validate({**VALID, **plain}, scratch() / "ampledger.toml")


def _generation(row: tuple) -> None:
    """Saved generations with a right checksum and any body, as a disk that lies would give."""
    generation, whole, at_ms, body = row
    state.newest([(generation, whole, at_ms, state.FORMAT, state._crc(generation, whole, at_ms, state.FORMAT, body), body)])


CODES = st.sampled_from(["INT16", "UINT16", "INT32", "UINT32", "FLOAT32"])
SPECS = st.builds(lambda register, width, shift, signed, order: {
    "register": register, "width": width, "shift": min(shift, 8 * width - 2), "signed": signed, "byte_order": order, "scale": 0.001},
    st.integers(0, 40), st.integers(1, 4), st.integers(0, 24), st.booleans(), st.sampled_from(["big", "little"]))
REPORTS = st.fixed_dictionaries({"class": st.sampled_from(["TPV", "SKY"]), "mode": PLAIN, "time": PLAIN}, optional={"ept": PLAIN}).map(
    lambda d: json.dumps(d).encode())
SAVED = st.one_of(NEARLY, PLAIN.map(json.dumps), st.integers(1, 3000).map(lambda n: "[" * n))

PARSERS: dict[str, Parser] = {
    "configuration, as text": Parser(st.one_of(st.text(max_size=200), NEARLY), lambda t: tomllib.loads(t),
                                     (tomllib.TOMLDecodeError, RecursionError)),
    "configuration, as tables": Parser(st.dictionaries(KEYS, TABLES, max_size=6), _tables, (ConfigError,)),
    "a recording": Parser(CSV, _in_file("drive.csv", lambda p: list(columns(p))), (CannotOpen, ReadFailed)),
    "a packed recording": Parser(BYTES, _in_file("drive.csv.gz", lambda p: list(columns(p))), (CannotOpen, ReadFailed)),
    "a serial line": Parser(st.one_of(BYTES, NEARLY.map(str.encode)), _line, ()),
    "Modbus words": Parser(st.tuples(st.lists(st.integers(0, 65535), min_size=4, max_size=4), CODES, st.sampled_from(["big", "little"])),
                           _modbus, ()),
    "register bytes": Parser(st.tuples(BYTES, SPECS), _registers, (ReadFailed,)),
    "CAN frames": Parser(st.tuples(st.sampled_from([0x1FFFD, 0x1FFFC, 0x12345]), st.integers(0, 255), st.binary(max_size=8),
                                   st.integers(0, 8)), _frame, ()),
    "a kernel's number": Parser(st.one_of(BYTES, NEARLY.map(str.encode)), _in_file("in1_input", kernel_number), (ReadFailed,)),
    "a 1-wire sensor": Parser(st.one_of(BYTES, st.tuples(NEARLY, st.sampled_from(["YES", "NO"]), NEARLY).map(
        lambda p: f"{p[0]} {p[1]}\n{p[2]} t={p[0]}".encode())), _in_file(
            "28-0316a2794a8b/w1_slave", lambda p: W1Driver(W1Options(sensor="28-0316a2794a8b", root=scratch(),
                                                                     measures="house_temperature_c")).read()), (DriverError,)),
    "a scan's layout": Parser(st.one_of(NEARLY.map(str.encode),
                                        st.from_regex(r"[bl]e:[su]\d{1,3}/\d{1,3}(>>\d{1,3})?", fullmatch=True).map(str.encode)),
                              _in_file("scan/in_voltage0_type", lambda p: (
                                  (p.parent / "in_voltage0_en").write_text("1"), (p.parent / "in_voltage0_index").write_text("0"),
                                  layout(p.parent, "in_voltage0").raw(b"\x01" * 64))), (ReadFailed,)),
    "gpsd's reports": Parser(st.one_of(BYTES.map(lambda b: b'{"class":"TPV",' + b), REPORTS), fix, ()),
    "requests of the owner": Parser(st.one_of(BYTES, st.fixed_dictionaries({"kind": st.sampled_from(list(requests.KINDS)),
                                                                            "values": PLAIN}).map(
        lambda d: json.dumps(d).encode())), requests._parse, (ValueError,)),
    "saved findings": Parser(SAVED, lambda t: saving.from_text(Findings, t), (ValueError,)),
    "what waits for delivery": Parser(SAVED.map(str.encode), _in_file("undelivered.json", lambda p: Spool(p).read()), ()),
    "a packed hour": Parser(st.tuples(st.integers(0, 2**40), st.integers(0, 2**40), st.integers(0, 5000), st.integers(0, 2**32), BYTES),
                            lambda row: chunks.unpack(*row), (chunks.Damaged,)),
    "a packed hour whose checksum fits": Parser(st.tuples(st.integers(0, 2**40), st.integers(0, 2**40), st.integers(0, 5000), BYTES),
                                                lambda r: chunks.unpack(*r[:3], chunks._crc(*r), r[3]), (chunks.Damaged,)),
    "a text made small": Parser(st.one_of(BYTES, BYTES.map(zlib.compress)), lambda b: restore(b, "like"), (ValueError,)),
    "a saved state whose checksum fits": Parser(st.tuples(st.integers(1, 2**40), st.integers(0, 1), st.integers(0, 2**40), st.one_of(
        BYTES, PLAIN.map(lambda p: zlib.compress(json.dumps(p).encode())))), _generation, (ValueError, zlib.error)),
}
