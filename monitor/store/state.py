"""What is saved so that a restart goes on where it was: packed, checked, many generations back.

Every WHOLE_EVERY-th generation is kept whole, those between as what changed since the one before: a minute
changes little, and a card is worn by what is written. Each generation has its checksum; where one does not
fit, the one before it stands.
"""
import json
import struct
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

from monitor.store import saving
from monitor.store.delta_compression import restore, shrink

#: format of the blobs below; a blob of another format is not read
FORMAT = 2
#: One generation in so many is written whole, the others as what differs from it (choice: half an hour of minutes).
WHOLE_EVERY = 30
#: the name under which the versions of the parts are kept among their texts
VERSIONS = "versions"

Row = tuple[int, int, int, int, int, bytes]  # generation, whole (1 or 0), at_ms, format, crc, body
Texts = dict[str, str]                       # part -> its text


@dataclass(frozen=True, slots=True)
class State:
    """Everything that must go on: the trackers, the alerts, and the minute being filled."""

    watch: Any
    alerts: Any
    gathering: Any


def texts_of(state: State) -> Texts:
    """The state as text, part by part, and the version of each part that has one beyond the first."""
    parts = {name: part for field in fields(State) for name, part in _parts(field.name, getattr(state, field.name))}
    versions = {name: version for name, part in parts.items() if (version := version_of(part)) != 1}
    return {name: saving.to_text(part) for name, part in parts.items()} | ({VERSIONS: json.dumps(versions)} if versions else {})


def version_of(part: Any) -> int:
    """The version of what a tracker holds: its class's VERSION, 1 where it says nothing.

    It is raised when the same fields mean something else; other fields are another version by themselves.
    """
    return getattr(type(part), "VERSION", 1)


def pack(texts: Texts, before: Texts | None, generation: int, at_ms: int) -> Row:
    """One generation as a row of the table tracker_state; before None: whole.

    texts: the state by part; before: the last whole one, None: this is to be whole; generation: its number; at_ms: the log's time
    [ms].
    """
    if before is None:
        body = zlib.compress(json.dumps(texts, separators=(",", ":")).encode(), 6)
    else:
        changed = {name: text for name, text in texts.items() if before.get(name) != text}
        body = b"".join(_frame(name, shrink(text, before.get(name, ""))) for name, text in changed.items())
    whole = int(before is None)
    return generation, whole, at_ms, FORMAT, _crc(generation, whole, at_ms, FORMAT, body), body


def newest(rows: Iterable[Row]) -> tuple[Texts | None, int, int]:
    """(texts, generation, generations lost): the newest generation that can be built from rows whose checksum fits."""
    rows = list(rows)
    highest = max((r[0] for r in rows if isinstance(r[0], int)), default=0)
    sound = {r[0]: r for r in rows if is_sound(r)}
    for start in sorted((g for g, r in sound.items() if r[1]), reverse=True):
        texts: Texts = json.loads(zlib.decompress(sound[start][5]))
        generation = start
        while (step := sound.get(generation + 1)) is not None and not step[1]:
            texts = texts | {name: restore(small, texts.get(name, "")) for name, small in _unframe(step[5])}
            generation += 1
        return texts, generation, highest - generation
    return None, highest, len(rows)


def is_sound(row: Any) -> bool:
    """Whether a row of the table tracker_state is as it was written, and of this program's format."""
    return (all(isinstance(v, int) and abs(v) < 2**63 for v in row[:5]) and isinstance(row[5], bytes) and row[3] == FORMAT
            and bool(row[4] == _crc(row[0], row[1], row[2], row[3], row[5])))


def unpack(texts: Texts, fresh: State) -> tuple[State, tuple[str, ...]]:
    """The saved state, and the names of parts that could not be read and so begin afresh.

    A part is one tracker: an upgrade that changed what one tracker holds costs that tracker its
    memory and no other.
    """
    lost: list[str] = []
    read: dict[str, Any] = {}
    versions = json.loads(texts.get(VERSIONS, "{}"))
    for field in fields(State):
        begun = getattr(fresh, field.name)
        found = {}
        for name, part in _parts(field.name, begun):
            try:
                if versions.get(name, 1) != version_of(part):
                    raise ValueError(f"{name} is of version {versions.get(name, 1)}, this program's is {version_of(part)}")
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


def _frame(name: str, data: bytes) -> bytes:
    return struct.pack("<HI", len(name), len(data)) + name.encode() + data


def _unframe(body: bytes) -> Iterable[tuple[str, bytes]]:
    place = 0
    while place < len(body):
        names, size = struct.unpack_from("<HI", body, place)
        place += 6
        yield body[place:place + names].decode(), body[place + names:place + names + size]
        place += names + size


def _crc(generation: int, whole: int, at_ms: int, form: int, body: bytes) -> int:
    return zlib.crc32(body, zlib.crc32(struct.pack("<qqqq", generation, whole, at_ms, form)))
