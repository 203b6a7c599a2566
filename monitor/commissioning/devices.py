"""Asks what does not show itself in the kernel's files: who talks on a serial port, what a Modbus device is."""
from typing import Any

from drivers.errors import DriverError, DriverUnavailable
from drivers.extras import install_command
from drivers.scan import Found, SeenChannel
from monitor.commissioning.steps import NotClear

#: Speeds that are tried, the most common first [bit/s] (common practice).
BAUDS = (9600, 115200, 19200, 4800)
TYPES = ("INT16", "UINT16", "INT32", "UINT32", "FLOAT32", "INT64", "UINT64", "FLOAT64")
REGISTER = "type, for example, holding 20 INT32 0.001: kind, address from 0, type and what one count is worth"


def talking(port: str, seconds: float = 1.2) -> tuple[Found | None, str]:
    """The instrument that sends lines on a serial port, with its channels; or None and why, for a person."""
    try:
        from drivers.serial_text import listen
        from monitor.commissioning.line_format import describe_line
    except ModuleNotFoundError:
        return None, "to hear what comes on it, run: " + install_command("serial")
    for baud in BAUDS:
        try:
            lines = listen(port, baud, seconds)
        except DriverError as error:
            return None, str(error)
        found = describe_line(lines)
        if found is not None:
            options: dict[str, Any] = {"port": port, "baud": baud, **found.options}
            return Found("serial", options, f"lines on {port.rpartition('/')[2]}", tuple(
                SeenChannel(channel, "", value, f"field {channel}" if channel.isdigit() else f"number {channel[1:]}")
                for channel, value in found.channels)), ""
    return None, "nothing comes on it by itself"


def place(text: str) -> dict[str, Any]:
    """Where a Modbus device is, as options of its driver: an address on the network, or a serial port.

    Raises
    ------
    NotClear : neither
    """
    text = text.strip()
    if text.startswith("/"):
        return {"port": text}
    host, colon, port = text.partition(":")
    if not host or " " in host or (colon and not (port.isdigit() and 0 < int(port) < 65536)):
        raise NotClear(f"{text[:40]!r} is no address; type, for example, 192.168.1.50, 192.168.1.50:502 or a serial port")
    return {"host": host, **({"tcp_port": int(port)} if colon else {})}


def sunspec(where: dict[str, Any]) -> Found | None:
    """The battery that answers there in the open SunSpec model; None where the device answers, but not so.

    Raises
    ------
    DriverError : nobody answers, or the library is missing
    """
    from drivers import driver_class
    from drivers.errors import CannotOpen, ReadFailed

    driver_class("sunspec")  # says what is missing
    from drivers.sunspec import SunspecDriver

    options = SunspecDriver.Options.model_validate(
        {**where, "measures": {"house_voltage_v": "V", "house_current_a": "A"}})
    try:
        driver = SunspecDriver(options)
    except CannotOpen as error:
        if "SunSpec" in str(error):
            return None
        raise
    try:
        values = driver.read().values
    except ReadFailed:
        values = {}
    finally:
        driver.close()
    return Found("sunspec", dict(where), "SunSpec battery", (
        SeenChannel("V", "V", values.get("house_voltage_v"), "house"), SeenChannel("A", "A", values.get("house_current_a"), "house")))


def register(text: str) -> dict[str, Any]:
    """A register as a person types it: holding 20 INT32 0.001.

    >>> register("20 INT32 0.001")
    {'address': 20, 'type': 'INT32', 'scale': 0.001}

    Raises
    ------
    NotClear : it is none
    """
    words = text.replace(",", " ").split()
    made: dict[str, Any] = {}
    if words and words[0].lower() in ("holding", "input"):
        made["function"] = words.pop(0).lower()
    if not words or not words[0].isdigit() or int(words[0]) > 65535:
        raise NotClear(f"{text.strip()[:40]!r} is no register; {REGISTER}")
    made["address"] = int(words.pop(0))
    if words and words[0].upper() in TYPES:
        made["type"] = words.pop(0).upper()
    if words:
        try:
            made["scale"] = float(words.pop(0))
        except ValueError:
            raise NotClear(f"{text.strip()[:40]!r}: the types are {', '.join(TYPES)}; {REGISTER}") from None
    if words:
        raise NotClear(f"{text.strip()[:40]!r} says too much; {REGISTER}")
    return made


def register_value(where: dict[str, Any], spec: dict[str, Any], quantity: str) -> float:
    """What the register shows now. Raises NotClear: one sentence.

    where: port or host, and unit, of the device; spec: register, kind, scale, as in the configuration; quantity: what it measures.
    """
    from drivers import driver_class

    try:
        cls = driver_class("modbus")
        driver = cls(cls.Options.model_validate({**where, "measures": {quantity: spec}}))
        try:
            reading = driver.read()
        finally:
            driver.close()
        return reading.values[quantity]
    except DriverUnavailable:
        raise
    except (DriverError, ValueError) as error:
        raise NotClear(str(error).splitlines()[0]) from None
