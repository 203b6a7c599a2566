"""The shape of an instrument's lines of text, found out from some of them."""
import re
from dataclasses import dataclass
from typing import Any

from drivers.serial_text import CHECKSUMS

NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")
SEPARATORS = (",", ";", "\t", " ")


@dataclass(frozen=True, slots=True)
class Shape:
    """Options of the serial driver that describe the lines, and what each channel said last."""

    options: dict[str, Any]
    channels: tuple[tuple[str, float], ...]


def describe_line(lines: list[str]) -> Shape | None:
    """The shape that all these lines share, or None.

    Fields between separators where all is numbers; else a pattern in which only the numbers may change.
    """
    lines = [line for line in lines if NUMBER.search(line) and line.isprintable()]
    if not lines:
        return None
    checked, bodies = _checksum(lines)
    for separator in SEPARATORS:
        fields = [body.split(separator) for body in bodies]
        numbers = [k for k in range(len(fields[-1])) if all(len(f) == len(fields[-1]) and NUMBER.fullmatch(f[k].strip()) for f in fields)]
        if len(fields[-1]) > 1 and numbers:
            return Shape({"separator": separator, **checked},
                         tuple((str(k + 1), float(fields[-1][k])) for k in numbers))
    pattern, count = _pattern(bodies[-1])
    found = re.fullmatch(pattern, bodies[-1])
    if found is None or not all(re.fullmatch(pattern, body) for body in bodies):
        return None
    return Shape({"pattern": pattern, **checked}, tuple((f"n{k}", float(found[f"n{k}"])) for k in range(1, count + 1)))


def _checksum(lines: list[str]) -> tuple[dict[str, str], list[str]]:
    """The checksum that fits every line, and the lines without it."""
    parts = [line.rpartition("*") for line in lines]
    if all(mark and re.fullmatch("[0-9A-Fa-f]{2,8}", sent) for _, mark, sent in parts):
        for name, of in CHECKSUMS.items():
            bodies = [body.lstrip("$!") if name == "xor8" else body for body, _, _ in parts]
            if all(int(sent, 16) == of(body.encode()) for body, (_, _, sent) in zip(bodies, parts, strict=True)):
                return {"checksum": name}, bodies
    return {}, lines


def _pattern(line: str) -> tuple[str, int]:
    made, at, count = "", 0, 0
    for found in NUMBER.finditer(line):
        count += 1
        made += re.escape(line[at:found.start()]) + f"(?P<n{count}>[-+]?[0-9.]+)"
        at = found.end()
    return made + re.escape(line[at:]), count
