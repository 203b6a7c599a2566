"""The one way other processes ask something of the daemon: small JSON files in a folder beside the log."""
import json
import logging
import os
import secrets
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

log = logging.getLogger("ampledger.requests")

#: kind -> what it carries. `for_s` and `minutes` count from when the daemon takes the request up.
KINDS: dict[str, dict[str, type | tuple[type, ...]]] = {
    "acknowledge": {"alert": int},
    "shelve": {"alert": int, "for_s": (int, float)},
    "battery_replaced": {"battery": str, "rated_capacity_ah": (int, float, type(None)), "label": str, "chemistry": (str, type(None)),
                         "at_utc_s": (int, float, type(None))},
    "battery_described": {"battery": str, "label": (str, type(None)), "installed_utc_s": (int, float, type(None))},
    "capacity_tested": {"capacity_ah": (int, float), "low_ah": (int, float), "high_ah": (int, float), "reached_end": int,
                        "ended_utc_s": (int, float)},
    "calibrate_zero": {"minutes": (int, float)},
    "set_clock": {"utc_s": (int, float), "sigma_s": (int, float), "asked_boot_s": (int, float), "sure": int},
}
LARGEST_BYTES = 4096
MOST = 100


@dataclass(frozen=True, slots=True)
class Request:
    """Something asked of the daemon."""

    kind: str
    values: dict[str, Any]


def folder_of(database: Path) -> Path:
    """Where requests for the daemon of a log are left."""
    return database.parent / "requests"


def leave(folder: Path, kind: str, **values: Any) -> Path:
    """Leaves a request; it is there whole or not at all. Returns the file.

    Raises
    ------
    ValueError : no such kind of request, or not with these values
    OSError : the folder cannot be made or written
    """
    text = json.dumps({"kind": kind, "values": values}, allow_nan=False)
    _checked(text.encode())
    folder.mkdir(parents=True, exist_ok=True)
    name = f"{time.time_ns():020d}-{secrets.token_hex(4)}"
    hidden = folder / f".{name}"
    with open(hidden, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    return hidden.rename(folder / f"{name}.json")


def take(folder: Path) -> list[Request]:
    """Everything that was left, oldest first, and the files gone. What cannot be understood is logged and gone.

    A request may be taken up twice after a power cut; each kind is harmless when repeated.
    """
    try:
        names = sorted(entry.name for entry in os.scandir(folder) if entry.name.endswith(".json") and not entry.name.startswith("."))
    except OSError:
        return []
    found = []
    for name in names[:MOST]:
        file = folder / name
        try:
            with open(file, "rb") as opened:
                text = opened.read(LARGEST_BYTES + 1)
            found.append(_checked(text))
        except (ValueError, OSError) as error:
            log.warning("request %s is not understood and dropped: %s", name, error)
        try:
            file.unlink()
        except OSError as error:
            log.warning("request %s cannot be removed: %s", name, error.strerror)
            found = found[:-1] if found else found  # else it would be carried out on every beat
    return found


def _checked(text: bytes) -> Request:
    if len(text) > LARGEST_BYTES:
        raise ValueError(f"longer than {LARGEST_BYTES} bytes")
    try:
        plain = json.loads(text)
    except RecursionError as error:
        raise ValueError("nested too deep") from error
    if not isinstance(plain, dict) or not isinstance(plain.get("values"), dict) or not isinstance(plain.get("kind"), str):
        raise ValueError("not an object with kind and values")
    kind, values = plain["kind"], plain["values"]
    if kind not in KINDS:
        raise ValueError(f"no request of kind {kind!r:.40}; there are {', '.join(KINDS)}")
    for name, value in values.items():
        if name not in KINDS[kind] or isinstance(value, bool) or not isinstance(value, KINDS[kind][name]):
            raise ValueError(f"{kind} does not take {name} = {value!r:.40}")
        if isinstance(value, float) and abs(value) == float("inf"):
            raise ValueError(f"{name} is not a finite number")
    return Request(kind, values)
