"""The configuration as a document with its comments: made, changed key by key, and kept safe on the disk."""
import os
import shutil
from collections.abc import Iterator
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit import TOMLDocument

from monitor.battery.label import BoardSupply
from monitor.battery.limits import limits_of
from monitor.commissioning.channel_candidates import ChannelCandidate
from monitor.commissioning.steps import Found, NotClear
from monitor.config import load

#: A board without a clock begins in the past; no date is better than a wrong one.
FIRST_DATE = date(2026, 1, 1)
#: How the table of a quantity names its channel, where a driver does not call it channel.
CHANNEL_KEYS = {"sunspec": "point", "modbus": "address", "mqtt": "topic"}
#: Tables of an earlier configuration that setup does not ask about, and keeps.
KEPT = ("vehicle", "wiring", "board", "log", "dashboard", "clock", "alerts")

_HEAD = """\
# {name}, written by `ampledger setup`{day}.
# Every key, default and limit is explained by: ampledger docs configuration. After a change: ampledger check

[house]
chemistry = "{house[0]}"                # as on its label: flooded, agm, gel or lfp
rated_capacity_ah = {house[1]}          # from the label, also when the battery is old
# absorption_v = 14.4              # the charger's two voltages, if you know them
# float_v = 13.6
# reserve_soc_pct = {reserve}              # what must stay in it

[starter]
chemistry = "{starter[0]}"
rated_capacity_ah = {starter[1]}

[shunt]                            # what the measuring steps found; the charge filter uses it with its doubt
"""
_TAIL = """
[log]
database = "{database}"
# commit_s = 300                   # spares the card: five minutes may be lost by a power cut
# backup_to = "/mnt/stick"         # a copy every night
"""


def build_document(name: str, house: tuple[str, float], starter: tuple[str, float], chosen: dict[str, ChannelCandidate], database: str,
         before: TOMLDocument | None = None) -> TOMLDocument:
    """A new configuration from the labels and the chosen channels; tables that setup does not ask about come from `before`.

    name: of the vehicle; house, starter: chemistry and rated capacity [Ah]; chosen: channel by quantity; database: where the log is
    kept; before: the configuration so far, None: there is none.
    """
    head = _HEAD.format(name=name, day=f" on {today()}" if today() else "", house=(house[0], f"{house[1]:g}"),
                        starter=(starter[0], f"{starter[1]:g}"), reserve=f"{100 * limits_of(house[0]).reserve_frac:g}")
    text = head + "".join(_sources(chosen))
    old = {key: before[key] for key in KEPT if key in before} if before is not None else {}
    if "log" not in old:
        text += _TAIL.format(database=database)
    for key, table in old.items():
        text += f"\n[{key}]\n" + "".join(_plain(tomlkit.dumps(table).strip().splitlines(keepends=True), key)) + "\n"
    doc = tomlkit.parse(text)
    if before is not None:
        for battery in ("house", "starter"):
            if before[battery]["chemistry"] == doc[battery]["chemistry"]:  # what else was known of it still holds
                doc[battery].update({key: value for key, value in before[battery].items() if key not in doc[battery]})
    return doc


def describe_document(before: TOMLDocument | None, battery: str) -> str | None:
    """What an earlier configuration says of a battery's label, as it is typed."""
    return None if before is None else f"{before[battery]['chemistry']} {before[battery]['rated_capacity_ah']:g}"


def _plain(lines: list[str], table: str) -> Iterator[str]:
    """Lines of a table, inner tables by their whole name."""
    for line in lines:
        inner = line.startswith("[") and not line.lstrip("[").startswith(f"{table}.")
        yield f"[{table}.{line[1:]}" if inner else line


def _sources(chosen: dict[str, ChannelCandidate]) -> Iterator[str]:
    instruments: dict[tuple[str, str], list[tuple[str, ChannelCandidate]]] = {}
    for quantity, offer in chosen.items():
        instruments.setdefault(offer.instrument, []).append((quantity, offer))
    for parts in instruments.values():
        first = parts[0][1]
        yield f"\n[[source]]                         # {first.title}\ndriver = \"{first.driver}\"\n"
        yield from (f"{key} = {tomlkit.item(_toml(value)).as_string()}\n" for key, value in first.options.items())
        if first.driver == "w1":
            yield f"measures = \"{parts[0][0]}\"\n"
            continue
        yield "[source.measures]\n"
        for quantity, offer in parts:
            about = {"house_current_a": "        # positive into the battery"}.get(quantity, "")
            yield f"{quantity} = {_channel(offer.channel)}{about}\n"


def _toml(value: Any) -> Any:
    return str(value) if isinstance(value, Path) else value


def _channel(channel: Any) -> str:
    if isinstance(channel, dict):
        table = tomlkit.inline_table()
        table.update(channel)
        return table.as_string()
    return tomlkit.item(channel).as_string()


def read(path: Path) -> TOMLDocument:
    """The document in a file. Raises ConfigError as monitor.config does."""
    load.load(path, need_sources=False)
    return tomlkit.parse(path.read_text(encoding="utf-8"))


def measures(doc: TOMLDocument, quantity: str) -> Iterator[tuple[Any, Any]]:
    """(source, its table of measures) of every source that gives a quantity, the one used first."""
    for source in doc.get("source", []):
        table = source.get("measures")
        if isinstance(table, dict) and quantity in table:
            yield source, table


def multiply_scale(doc: TOMLDocument, quantity: str, factor: float, base: Path) -> str:
    """Multiplies what the first source gives for a quantity; returns the key that was changed and its new value.

    doc: the configuration, changed in place; quantity: what is measured; factor: what it is multiplied with; base: folder that
    relative paths start from.

    Raises
    ------
    NotClear : no source gives it, or its driver has no factor
    """
    for source, table in measures(doc, quantity):
        before = table[quantity]
        spec = before if isinstance(before, dict) else tomlkit.inline_table()
        if spec is not before:
            spec[CHANNEL_KEYS.get(source["driver"], "channel")] = before
            table[quantity] = spec
        was = {key: spec.get(key) for key in ("ratio", "scale", "offset")}
        for key in ("scale",) if factor < 0 else ("ratio", "scale"):
            spec[key] = _short((was[key] or 1.0) * factor)
            if was["offset"]:
                spec["offset"] = _short(was["offset"] * factor)
            with suppress(load.ConfigError):
                load.validate(doc.unwrap(), base, need_sources=False)
                return f"{key} = {spec[key]:g}"
            del spec[key]
            if was[key] is not None:
                spec[key] = was[key]
            if was["offset"]:
                spec["offset"] = was["offset"]
        raise NotClear(f"the driver {source['driver']} has no factor for {quantity} that could be set to correct it by {factor:g}; "
                       "see whether another channel was meant")
    raise NotClear(f"no source measures {quantity}; run `ampledger setup`, or write it into the configuration")


def exchange_batteries(doc: TOMLDocument) -> None:
    """Lets the two voltages change places, wherever they are measured; each divider stays with its channel."""
    names = {"house_voltage_v": "starter_voltage_v", "starter_voltage_v": "house_voltage_v"}
    for source in doc.get("source", []):
        table = source.get("measures")
        if isinstance(table, dict):
            held = {names[key]: table[key] for key in list(table) if key in names}
            for key in [key for key in table if key in names]:
                del table[key]
            table.update(held)


def note_result(doc: TOMLDocument, table: str, **values: float | str | None) -> None:
    """Writes results into a table, made where it is not there yet; None takes a key out.

    doc: the configuration, changed in place; table: its name; values: key and value.
    """
    if table not in doc:
        doc.add(tomlkit.nl())
        doc.add(table, tomlkit.table())
    for key, value in values.items():
        if value is None:
            doc[table].pop(key, None)
        else:
            doc[table][key] = _short(value) if isinstance(value, float) else value


def board(doc: TOMLDocument) -> BoardSupply:
    """How the board is fed, as the document has it."""
    from monitor.config.tables import BoardTable

    return load.board_supply(BoardTable.model_validate(doc.unwrap().get("board", {})))


def shunt(doc: TOMLDocument) -> tuple[Found, Found]:
    """(offset [A], gain) as the document has them."""
    from monitor.config.tables import ShuntTable

    held = ShuntTable.model_validate(doc.get("shunt", {}))
    return Found(held.offset_a, held.offset_sigma_a), Found(held.gain, held.gain_sigma_frac * held.gain)


def today() -> str | None:
    """Today as 2026-11-25, or None where the clock cannot be right."""
    day = date.today()
    return day.isoformat() if day >= FIRST_DATE else None


def _short(value: float) -> float:
    return float(f"{value:.5g}")


def write(doc: TOMLDocument, path: Path) -> Path | None:
    """Puts the document in its place, whole or not at all; returns where the file that was there is kept.

    Raises
    ------
    ConfigError : the document would not be a sound configuration; nothing was written
    """
    text = tomlkit.dumps(doc)
    load.validate(doc.unwrap(), path)
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f".{path.name}.new")
    kept = None
    try:
        with open(fresh, "w", encoding="utf-8") as file:
            os.fchmod(file.fileno(), path.stat().st_mode & 0o777 if path.exists() else 0o640)
            if not path.exists():
                with suppress(OSError):  # as the folder is: root's, and the group's that may read it
                    os.fchown(file.fileno(), -1, path.parent.stat().st_gid)
            else:
                with suppress(OSError):  # only root may give files away; else they are ours already
                    os.fchown(file.fileno(), path.stat().st_uid, path.stat().st_gid)
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            kept = next(p for k in range(1, 10_000) if not (p := path.with_name(f"{path.name}.old-{k}")).exists())
            try:
                os.link(path, kept)
            except OSError:  # not every file system has links
                shutil.copy2(path, kept)
        os.replace(fresh, path)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
    return kept
