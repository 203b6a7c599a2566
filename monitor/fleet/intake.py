"""The collector's side: takes a batch whole or not at all, once however often it comes, in order, from the vehicle's own board only."""
import json
from collections.abc import Callable, Sequence
from typing import Any
from urllib.parse import parse_qs, urlsplit

from sqlalchemy import Connection, delete, select, update

from monitor.fleet import filing, standings
from monitor.fleet.batch import COLUMN_TABLES, BadBatch, FleetBatch, Part, decode, digest_of, rows_of
from monitor.fleet.database import insert_of
from monitor.fleet.tables import LEVEL_NUMBERS, alerts, blocks, boots, days, events, findings, forecasts, gaps, meta, vehicles
from monitor.fleet.unsent import CHANGING, key_of
from monitor.store.checksum import checksum_of
from monitor.store.columns import TABLE_COLUMNS

#: Where a collector answers boards, below its address.
PREFIX = "/fleet/v1/"
#: A row may be dated so far ahead of the collector's clock [s] (choice: a day, for zones and clocks that drift).
AHEAD_S = 86400.0
#: So many marks are given to a board that looks for where its log and the collection part [count] (choice: over a year of days).
MARKS = 500

#: table of lines -> how a row of the log's table becomes one of the collection's
_STORED: dict[str, tuple[Any, Callable[[tuple[Any, ...]], dict[str, Any]], tuple[str, ...]]] = {
    "days": (days, lambda r: {"end_ms": r[0], "start_ms": r[1]}, ("end_ms",)),
    "boots": (boots, lambda r: {"at_ms": r[0]}, ("at_ms",)),
    "meta": (meta, lambda r: {"name": r[0]}, ("name",)),
    "alerts": (alerts, lambda r: {"id": r[0], "at_ms": r[1], "state": r[2], "kind": str(json.loads(r[4])["kind"])}, ("id",)),
    "gaps": (gaps, lambda r: {"from_ms": r[0], "quantity": r[1]}, ("from_ms", "quantity")),
    "forecasts": (forecasts, lambda r: {"at_ms": r[0]}, ("at_ms",)),
    "events": (events, lambda r: {"id": r[0], "at_ms": r[1], "kind": r[2]}, ("id",)),
}
#: tables whose rows are of moments, and the column that says which
_MOMENT = {"days": days.c.end_ms, "boots": boots.c.at_ms, "alerts": alerts.c.at_ms, "gaps": gaps.c.from_ms,
           "forecasts": forecasts.c.at_ms, "events": events.c.at_ms}


class Refusal(Exception):
    """Why nothing was taken: a status of HTTP (RFC 9110), a word for programs, a sentence for people."""

    def __init__(self, status: int, word: str, sentence: str) -> None:
        super().__init__(sentence)
        self.status, self.word, self.sentence = status, word, sentence


def answer(connection: Connection, key_hash: str, board: str, place: str, data: bytes | None, now_utc_s: float) -> dict[str, Any]:
    """What the collector answers to a board's request, over whichever way it came.

    Parameters
    ----------
    connection : of the collection, in a transaction
    key_hash : of the vehicle's key
    board : what tells one board from another
    place : the request's address without the server, with its query
    data : a batch, None where something is asked for
    now_utc_s : UTC [s]

    Raises
    ------
    Refusal : the board is turned away, and nothing was written; the caller rolls back
    """
    path, query = urlsplit(place).path, parse_qs(urlsplit(place).query)
    if data is not None and path == f"{PREFIX}batches":
        return take(connection, key_hash, data, now_utc_s)
    if data is None and path == f"{PREFIX}state":
        return state_of(connection, key_hash, board)
    if data is None and path == f"{PREFIX}marks":
        after = query.get("after", [""])[0]
        known = after.removeprefix("-").isdecimal() and len(after) < 21
        return {"marks": marks_of(connection, key_hash, board, int(after) if known else None)}
    raise Refusal(404, "place", "There is nothing here for a board.")


def state_of(connection: Connection, key_hash: str, board: str) -> dict[str, Any]:
    """What a board needs to go on: the next number, how far its log came, and the checksums of rows that may still change.

    connection: of the collection; key_hash: of the vehicle's key; board: what tells one board from another.

    Raises
    ------
    Refusal : the key is a stranger's or another board's
    """
    vehicle = _vehicle(connection, key_hash, board)
    known: dict[str, dict[str, int]] = {}
    for table in CHANGING:
        stored = _STORED[table][0]
        known[table] = {}
        for (text,) in connection.execute(select(stored.c.row).where(stored.c.vehicle_id == vehicle.id, stored.c.line == vehicle.line)):
            row = tuple(json.loads(text))
            known[table][key_of(table, row)] = checksum_of(table)(row)
    return {"vehicle": vehicle.name, "number": vehicle.number, "cursors": json.loads(vehicle.cursors), "known": known}


def marks_of(connection: Connection, key_hash: str, board: str, after_ms: int | None = None) -> list[tuple[int, int]]:
    """(end [ms], checksum) of minutes, the latest first, to find where a log that was put back and the collection part.

    Parameters
    ----------
    connection : of the collection
    key_hash : of the vehicle's key
    board : what tells one board from another
    after_ms : every minute of the block that begins after this moment [ms]; None: the last minute of each block

    Raises
    ------
    Refusal : the key is a stranger's or another board's
    """
    vehicle = _vehicle(connection, key_hash, board)
    if after_ms is not None:
        filed = filing.Filing(connection, vehicle.id, vehicle.line)
        block = next(iter(filed.between("minutes", after_ms, 2**62)), None)
        minutes = [] if block is None else [(int(row[0] or 0), checksum_of("minutes")(row)) for row in filed.rows_of("minutes", block)]
        return [mark for mark in reversed(minutes) if mark[0] > after_ms]
    rows = connection.execute(select(blocks.c.end_ms, blocks.c.last_crc).where(
        blocks.c.vehicle_id == vehicle.id, blocks.c.level == LEVEL_NUMBERS["minutes"], blocks.c.line == vehicle.line)
        .order_by(blocks.c.end_ms.desc()).limit(MARKS))
    return [(row[0], row[1]) for row in rows]


def take(connection: Connection, key_hash: str, data: bytes, now_utc_s: float) -> dict[str, Any]:
    """Takes a batch inside the caller's transaction; returns what to answer. A batch that came before is taken as read.

    connection: of the collection, in a transaction; key_hash: of the vehicle's key; data: the batch as it came; now_utc_s: UTC [s].

    Raises
    ------
    Refusal : it is not taken, and nothing was written; the caller rolls back
    """
    try:
        batch = decode(data)
    except BadBatch as error:
        raise Refusal(400, "bad-batch", f"This is no batch that can be taken: {error}.") from None
    vehicle = _vehicle(connection, key_hash, batch.board, lock=True)
    digest = digest_of(data)
    if batch.number == vehicle.number and digest == vehicle.digest:
        return {"number": vehicle.number, "again": True}
    if batch.number != vehicle.number + 1:
        raise Refusal(409, "number", f"Batch {batch.number} came where batch {vehicle.number + 1} is due; ask for the state and go on "
                      "from there.")
    try:
        rows = [(part, rows_of(part)) for part in batch.parts]
    except BadBatch as error:
        raise Refusal(400, "bad-batch", f"This is no batch that can be taken: {error}.") from None
    line = _line(connection, vehicle, batch)
    for part, found in rows:
        if part.table not in COLUMN_TABLES and part.table != "findings":
            _take_lines(connection, vehicle.id, line, part.table, found)
    filed = filing.Filing(connection, vehicle.id, line)
    latest = filed.utc_s(max((found[-1][0] for part, found in rows if part.table in COLUMN_TABLES), default=0))
    if latest > now_utc_s + AHEAD_S:
        raise Refusal(422, "date", f"Its rows are dated up to {filing.day_text(latest)}, and here it is {filing.day_text(now_utc_s)}; "
                      "set the board's clock (`ampledger clock`), and it is sent again by itself.")
    if any(part.table == "boots" for part, _ in rows):
        filed.redate()
    for part, found in rows:
        if part.table in COLUMN_TABLES:
            _take_block(filed, part, found)
        elif part.table == "findings":
            _take_findings(connection, vehicle.id, line, found)
    if vehicle.seen_utc_s is None or line != vehicle.line or any(part.table in ("findings", "alerts", "meta") for part, _ in rows):
        standings.write(connection, vehicle.id, line, filed.utc_s, now_utc_s)
    connection.execute(update(vehicles).where(vehicles.c.id == vehicle.id).values(
        board=batch.board, number=batch.number, digest=digest, cursors=json.dumps(batch.cursors), seen_utc_s=now_utc_s,
        version=batch.version, refused=""))
    return {"number": batch.number, "again": False}


def note_refusal(connection: Connection, key_hash: str, refusal: Refusal, now_utc_s: float) -> None:
    """Keeps beside a vehicle that its board is turned away, and why, for the page.

    connection: of the collection, in a transaction of its own; key_hash: of the key that came; refusal: what was said; now_utc_s: UTC [s].
    """
    if refusal.word != "number":
        connection.execute(update(vehicles).where(vehicles.c.key_hash == key_hash).values(
            refused=f"{filing.day_text(now_utc_s)}: {refusal.sentence}"))


def _vehicle(connection: Connection, key_hash: str, board: str, lock: bool = False) -> Any:
    question = select(vehicles).where(vehicles.c.key_hash == key_hash)
    vehicle = connection.execute(question.with_for_update() if lock else question).fetchone()
    if vehicle is None:
        raise Refusal(401, "key", "No vehicle has this key; `ampledger fleet enrol NAME` on the collector makes one.")
    if vehicle.revoked_utc_s is not None:
        raise Refusal(401, "revoked", f"The key of {vehicle.name} was taken back on {filing.day_text(vehicle.revoked_utc_s)}; "
                      f"`ampledger fleet key {vehicle.name}` on the collector makes a new one.")
    if vehicle.board not in (None, board):
        raise Refusal(409, "board", f"Another board publishes for {vehicle.name}. If this one takes its place: `ampledger fleet move "
                      f"{vehicle.name}` on the collector; if it is a second one, enrol it under a name of its own.")
    return vehicle


def _line(connection: Connection, vehicle: Any, batch: FleetBatch) -> int:
    """The line that the batch belongs to: the vehicle's own, a new one, or its own after a branch was cut off."""
    line: int = vehicle.line
    if batch.begin_line:
        line += 1
        connection.execute(update(vehicles).where(vehicles.c.id == vehicle.id).values(line=line))
    elif batch.back_to_ms is not None:
        branch = -(vehicle.branches + 1)
        connection.execute(update(vehicles).where(vehicles.c.id == vehicle.id).values(branches=vehicle.branches + 1))
        filing.Filing(connection, vehicle.id, line).split_at(batch.back_to_ms)
        here = (blocks.c.vehicle_id == vehicle.id, blocks.c.line == line)
        connection.execute(update(blocks).where(*here, blocks.c.end_ms > batch.back_to_ms).values(line=branch))
        for name, column in _MOMENT.items():
            table = _STORED[name][0]
            connection.execute(update(table).where(table.c.vehicle_id == vehicle.id, table.c.line == line, column > batch.back_to_ms)
                               .values(line=branch))
    return line


def _take_lines(connection: Connection, vehicle_id: int, line: int, table: str, rows: Sequence[tuple[Any, ...]]) -> None:
    stored, columns_of, key = _STORED[table]
    try:
        values = [{"vehicle_id": vehicle_id, "line": line, "row": json.dumps(row, separators=(",", ":")), **columns_of(row)}
                  for row in rows]
        wrong = any(not isinstance(value, int) for row in values for name, value in row.items() if name.endswith("_ms") or name == "id")
    except (IndexError, TypeError, KeyError, ValueError) as error:
        raise Refusal(400, "bad-batch", f"Its rows of {table} are none: {error}.") from None
    if wrong or any(len(row) != len(TABLE_COLUMNS[table]) for row in rows):
        raise Refusal(400, "bad-batch", f"Its rows of {table} are not those of a log.")
    values = list({tuple(row[name] for name in key): row for row in values}.values())
    put = insert_of(connection, stored)
    changing = {name: put.excluded[name] for name in values[0] if name not in ("vehicle_id", "line", *key)}
    connection.execute(put.on_conflict_do_update(index_elements=["vehicle_id", "line", *key], set_=changing), values)


def _take_block(filed: filing.Filing, part: Part, rows: list[tuple[Any, ...]]) -> None:
    level = part.table
    ends = [row[0] for row in rows]
    if not all(isinstance(row[0], int) and isinstance(row[1], int) for row in rows) or ends != sorted(set(ends)):
        raise Refusal(400, "bad-batch", f"Its rows of {level} are not in order.")
    last = filed.last(level)
    if last is not None and ends[0] <= last[0]:
        raise Refusal(409, "number", f"Its rows of {level} are here already; ask for the state and go on from there.")
    filed.add(level, rows, None if last is None else last[1], part.body if part.columns == TABLE_COLUMNS[level] else None)


def _take_findings(connection: Connection, vehicle_id: int, line: int, rows: Sequence[tuple[Any, ...]]) -> None:
    at_ms, text = rows[-1]
    if not isinstance(at_ms, int) or not isinstance(text, str):
        raise Refusal(400, "bad-batch", "Its findings are none.")
    connection.execute(delete(findings).where(findings.c.vehicle_id == vehicle_id, findings.c.line == line))
    connection.execute(findings.insert().values(vehicle_id=vehicle_id, line=line, at_ms=at_ms, text=text))
