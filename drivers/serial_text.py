"""A checked line of text on a serial port; the only file that knows pyserial."""
import re
import time
from collections.abc import Callable
from contextlib import suppress
from functools import reduce
from operator import xor
from typing import Literal
from zlib import crc32

import serial
from pydantic import Field, model_validator

from drivers.channels import Measures, Options
from drivers.errors import CannotOpen, ReadFailed
from drivers.hwmon import read_channels
from drivers.reading import Reading

LONGEST_LINE = 1024
#: So many bytes waiting means that the kernel may have had no room for more: its line buffer holds 4096.
FULL = 4000

#: name -> checksum of the bytes it covers, as the number that stands at the end of the line in hexadecimal
CHECKSUMS: dict[str, Callable[[bytes], int]] = {
    "xor8": lambda data: reduce(xor, data, 0),
    "sum8": lambda data: sum(data) & 0xFF,
    "crc32": crc32,
}


class SerialOptions(Options):
    """A port and the shape of its lines.

    Either `separator` (a channel is then the number of a field, from 1), or `pattern` (a regular
    expression whose named groups are the channels).
    """

    port: str = Field(min_length=1, description="a stable name, as /dev/serial/by-id/…")
    baud: int = Field(9600, ge=110, le=4_000_000)
    parity: Literal["N", "E", "O"] = "N"
    stop_bits: Literal[1, 2] = 1
    separator: str | None = Field(None, min_length=1, max_length=4)
    pattern: str | None = None
    checksum: Literal["xor8", "sum8", "crc32"] | None = Field(None, description="over all before checksum_mark")
    checksum_mark: str = Field("*", min_length=1, max_length=2)
    send: str | None = Field(None, description="asked before each line, where the instrument wants to be asked")
    timeout_s: float = Field(0.9, gt=0, le=5)
    measures: Measures

    @model_validator(mode="after")
    def _one_shape(self) -> "SerialOptions":
        if (self.separator is None) == (self.pattern is None):
            raise ValueError("write either separator = \",\" or pattern = \"…\", one of the two")
        if self.pattern is not None:
            try:
                groups = re.compile(self.pattern).groupindex
            except re.error as error:
                raise ValueError(f"pattern is no regular expression: {error}") from None
            for spec in self.measures.values():
                if spec.channel not in groups:
                    raise ValueError(f"pattern has no group (?P<{spec.channel}>…); it has: {', '.join(groups) or 'none'}")
        else:
            for spec in self.measures.values():
                if not spec.channel.isdigit() or int(spec.channel) < 1:
                    raise ValueError(f"channel {spec.channel!r}: with a separator it is the number of the field, from 1")
        return self


class SerialTextDriver:
    """The newest whole line of an instrument that talks.

    A line counts only when it is whole, of the described shape, and its checksum fits. Of lines that wait the
    newest is taken; after the port was opened, or its buffer overran, what is left of a line is passed over.
    """

    Options = SerialOptions

    def __init__(self, options: SerialOptions) -> None:
        self._options = options
        self._pattern = re.compile(options.pattern) if options.pattern else None
        self._port: serial.Serial | None = None
        self._rest, self._cut = b"", False
        try:
            self._open()
        except OSError as error:
            raise CannotOpen(f"{options.port}: {_words(error)}") from error

    def read(self) -> Reading:
        try:
            line = self._line(self._open() if self._port is None else self._port)
        except (OSError, TypeError) as error:  # pyserial raises TypeError where its descriptor has vanished
            self._drop()
            raise ReadFailed(f"{self._options.port}: {_words(error)}") from error
        fields = self._fields(line)

        def value(channel: str) -> float:
            text = fields.get(channel, "")
            try:
                number = float(text)
            except ValueError:
                raise ReadFailed(f"{self._options.port}: field {channel} is {text[:20]!r}, not a number") from None
            if number - number != 0.0:
                raise ReadFailed(f"{self._options.port}: field {channel} is {text[:20]!r}, not a measurement")
            return number

        return read_channels(self._options.measures, value)

    def close(self) -> None:
        self._drop()

    def _open(self) -> serial.Serial:
        o = self._options
        self._port = port = serial.Serial(o.port, o.baud, parity=o.parity, stopbits=o.stop_bits, timeout=0.02,
                                          write_timeout=o.timeout_s, exclusive=True)
        # opened in the middle of a line: what is left of it may look like a whole one
        self._rest, self._cut = b"", o.send is None
        return port

    def _drop(self) -> None:
        port, self._port, self._rest = self._port, None, b""
        if port is not None:
            with suppress(OSError):
                port.close()

    def _line(self, port: serial.Serial) -> str:
        o = self._options
        end_s = time.monotonic() + o.timeout_s
        waiting = self._rest + (port.read(port.in_waiting) if port.in_waiting else b"")
        if o.send is not None:
            # what waits answers an older question; if it has no end yet, its end is still to come
            self._cut = self._cut or not (waiting == b"" or waiting.endswith(b"\n"))
            waiting = b""
            port.write(o.send.encode())
        elif len(waiting) >= FULL:
            # the buffer was full: it holds the oldest lines. More come out as fast as they are read; what comes at
            # the pace of the line is new.
            slow = 0
            while slow < 3 and time.monotonic() < end_s:
                slow = 0 if len(port.read(FULL)) > FULL // 4 else slow + 1
            waiting, self._cut = b"", True
        while True:
            *whole, self._rest = waiting.split(b"\n")
            if self._cut and whole:
                whole, self._cut = whole[1:], False
            whole = [line for line in whole if line.strip()]
            if whole:
                return self._text(whole[-1])
            if time.monotonic() >= end_s:
                break
            waiting = self._rest[-LONGEST_LINE:] + port.read(max(1, port.in_waiting))
            self._cut = self._cut or len(self._rest) > LONGEST_LINE
        raise ReadFailed(f"{o.port}: " + (f"a line began and did not end: {self._rest[:40]!r}" if self._rest
                                          else f"silent for {o.timeout_s:g} s"))

    def _text(self, line: bytes) -> str:
        try:
            return self._verify_checksum(line.strip().decode("ascii"))
        except UnicodeDecodeError:
            raise ReadFailed(f"{self._options.port}: not text: {line[:40]!r}; is the speed right?") from None

    def _verify_checksum(self, line: str) -> str:
        name = self._options.checksum
        if name is None:
            return line
        body, mark, sent = line.rpartition(self._options.checksum_mark)
        if name == "xor8":
            body = body.lstrip("$!")  # what begins a sentence is by custom not covered
        try:
            fits = bool(mark) and int(sent, 16) == CHECKSUMS[name](body.encode())
        except ValueError:
            fits = False
        if not fits:
            raise ReadFailed(f"{self._options.port}: checksum does not fit: {line[:60]!r}")
        return body

    def _fields(self, line: str) -> dict[str, str]:
        if self._pattern is not None:
            found = self._pattern.fullmatch(line)
            if not found:
                raise ReadFailed(f"{self._options.port}: not of the described shape: {line[:60]!r}")
            return {name: text or "" for name, text in found.groupdict().items()}
        parts = line.split(self._options.separator)
        return {str(number): text.strip() for number, text in enumerate(parts, 1)}


def listen(port: str, baud: int, seconds: float) -> list[str]:
    """Whole lines that come by themselves on a port within some seconds, the newest last; empty where none does.

    port: the serial port; baud: its speed [bit/s]; seconds: how long it listens [s].

    Raises
    ------
    CannotOpen : the port is not there, or another program has it
    """
    try:
        with serial.Serial(port, baud, timeout=0.05, exclusive=True) as line:
            end_s, seen = time.monotonic() + seconds, b""
            while time.monotonic() < end_s and seen.count(b"\n") < 5:
                seen += line.read(max(1, line.in_waiting))
    except (OSError, TypeError) as error:
        raise CannotOpen(f"{port}: {_words(error)}") from error
    return [part.strip().decode("ascii", "replace") for part in seen.split(b"\n")[1:-1] if part.strip()]


def _words(error: BaseException) -> str:
    return getattr(error, "strerror", None) or str(error) or type(error).__name__
