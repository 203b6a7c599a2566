"""A layer between a process and its files, compiled from file_layer.c: it lets operations fail, and keeps a trace of all writes, from
which the card after a power cut at any moment can be made: what was not brought to the disk may be there, in part, or not."""
import os
import random
import shutil
import struct
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

HERE = Path(__file__).parent
SECTOR = 512
_HEAD = struct.Struct("<ciqi")


def build(folder: Path) -> Path | None:
    """The compiled layer, None where there is no compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        return None
    target = folder / "file_layer.so"
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", str(target), str(HERE / "file_layer.c"), "-ldl", "-lpthread"], check=True)
    return target


def run(layer: Path, arguments: list[str], folder: Path, *, trace: Path | None = None, fail_at: int | None = None, count: int = 1,
        error: int = 5) -> subprocess.CompletedProcess[str]:
    """Runs a module of ours above the layer.

    layer: from build(); arguments: of `python -m`; folder: whose files are looked at; trace: where the trace goes; fail_at, count: which
    operations fail; error: with which number.
    """
    told = {"LD_PRELOAD": str(layer), "LAYER_FOLDER": str(folder)}
    if trace is not None:
        told["LAYER_TRACE"] = str(trace)
    if fail_at is not None:
        told |= {"LAYER_FAIL_AT": str(fail_at), "LAYER_FAIL_COUNT": str(count), "LAYER_ERRNO": str(error)}
    return subprocess.run([sys.executable, "-m", *arguments], env={**os.environ, **told}, cwd=HERE.parent.parent, capture_output=True,
                          text=True, timeout=300, check=False)


@dataclass(frozen=True)
class Operation:
    """One operation of a trace: W write, S sync, T truncate, R rename, L link, U unlink."""

    kind: str
    path: str
    offset: int
    data: bytes


def read_trace(trace: Path) -> list[Operation]:
    """All of a trace, in order."""
    body, place, found = trace.read_bytes(), 0, []
    while place + _HEAD.size <= len(body):
        kind, names, offset, size = _HEAD.unpack_from(body, place)
        place += _HEAD.size
        path = body[place:place + names].decode()
        found.append(Operation(kind.decode(), path, offset, body[place + names:place + names + size]))
        place += names + size
    return found


@dataclass
class _File:
    """What is on the disk for certain, and what was written since."""

    safe: bytearray = field(default_factory=bytearray)
    since: list[Operation] = field(default_factory=list)


class Card:
    """A card that takes the operations of a trace, and can be looked at as a power cut would leave it."""

    def __init__(self, folder: Path | None = None) -> None:
        """folder: what is on it already, for certain."""
        found = [path for path in folder.rglob("*") if path.is_file()] if folder else []
        self.files = {str(path): _File(bytearray(path.read_bytes())) for path in found}

    def take(self, operation: Operation) -> None:
        """One operation further. Names change at once and in order, as on a file system with a journal; bytes do not."""
        path = operation.path
        if operation.kind == "R":
            self.files[operation.data.decode()] = self.files.pop(path, _File())
        elif operation.kind == "L":
            self.files[operation.data.decode()] = self.files.setdefault(path, _File())
        elif operation.kind == "U":
            self.files.pop(path, None)
        elif operation.kind == "S":
            file = self.files.get(path)
            if file is not None:
                for before in file.since:
                    _apply(file.safe, before)
                file.since = []
        else:
            self.files.setdefault(path, _File()).since.append(operation)

    def cut(self, folder: Path, target: Path, chance: random.Random) -> None:
        """Writes into target what a power cut may leave: of what was not synced any part, in any order, sectors torn."""
        shutil.rmtree(target, ignore_errors=True)
        target.mkdir(parents=True)
        for path, file in self.files.items():
            body = bytearray(file.safe)
            kept = chance.choice((0.0, 0.3, 0.7, 1.0))
            for operation in file.since:
                if chance.random() < kept:
                    _apply(body, operation, chance if chance.random() < 0.3 else None)
            place = target / Path(path).relative_to(folder)
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(body)


def _apply(body: bytearray, operation: Operation, torn: random.Random | None = None) -> None:
    if operation.kind == "T":
        if operation.offset <= len(body):
            del body[operation.offset:]
        else:
            body.extend(bytes(operation.offset - len(body)))
        return
    data = operation.data
    for start in range(0, len(data), SECTOR):
        if torn is not None and torn.random() < 0.5:
            continue
        at, piece = operation.offset + start, data[start:start + SECTOR]
        if at > len(body):
            body.extend(bytes(at - len(body)))
        body[at:at + len(piece)] = piece
