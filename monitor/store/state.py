"""What is saved so that a restart goes on where it was: packed, checked, in two generations."""
import json
import struct
import zlib
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

from monitor import saving

#: format of the blob below; a blob of another format is not read
FORMAT = 1

Slot = tuple[int, int, int, int, int, bytes]  # slot, generation, at_ms, format, crc, body


@dataclass(frozen=True, slots=True)
class State:
    """Everything that must go on: the trackers, the alerts, and the minute being filled."""

    watch: Any
    alerts: Any
    gathering: Any


def pack(state: State, generation: int, at_ms: int) -> Slot:
    """One generation as a row of the table tracker_state; even and odd generations have a slot each."""
    parts = {}
    for field in fields(State):
        held = getattr(state, field.name)
        for name, part in _parts(field.name, held):
            parts[name] = saving.to_text(part)
    body = zlib.compress(json.dumps(parts, separators=(",", ":")).encode(), 6)
    return generation % 2, generation, at_ms, FORMAT, _crc(generation, at_ms, FORMAT, body), body


def newest(slots: list[Slot]) -> tuple[Slot | None, int]:
    """The newest generation whose checksum fits, and how many did not fit."""
    sound = [s for s in slots if all(isinstance(v, int) for v in s[:5]) and isinstance(s[5], bytes)
             and s[3] == FORMAT and s[4] == _crc(s[1], s[2], s[3], s[5])]
    return max(sound, key=lambda s: s[1], default=None), len(slots) - len(sound)


def unpack(slot: Slot, fresh: State) -> tuple[State, tuple[str, ...]]:
    """The saved state, and the names of parts that could not be read and so begin afresh.

    A part is one tracker: an upgrade that changed what one tracker holds costs that tracker its
    memory and no other.
    """
    texts = json.loads(zlib.decompress(slot[5]))
    lost: list[str] = []
    read: dict[str, Any] = {}
    for field in fields(State):
        begun = getattr(fresh, field.name)
        found = {}
        for name, part in _parts(field.name, begun):
            try:
                found[name] = saving.from_text(type(part), texts[name])
            except (ValueError, KeyError):
                found[name] = part
                lost.append(name)
        whole = found.get(field.name)
        read[field.name] = whole if whole is not None else replace(
            begun, **{name.partition(".")[2]: part for name, part in found.items()})
    return State(**read), tuple(lost)


def _parts(name: str, held: Any) -> list[tuple[str, Any]]:
    """A thing made of dataclasses only is saved piece by piece, anything else whole."""
    inner = [(f"{name}.{f.name}", getattr(held, f.name)) for f in fields(held)]
    return inner if inner and all(is_dataclass(part) for _, part in inner) else [(name, held)]


def _crc(generation: int, at_ms: int, form: int, body: bytes) -> int:
    return zlib.crc32(body, zlib.crc32(struct.pack("<qqq", generation, at_ms, form)))
