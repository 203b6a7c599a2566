"""Years left of each vehicle's house battery, worked out at the collector from its collected hours, by the board's own forecast.

It takes some seconds a vehicle, so each is done once a week, in a process of its own beside the pages; any number of collectors may run.
"""
import json
import logging
import os
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from multiprocessing import get_context
from typing import Any

from sqlalchemy import Connection, Engine, or_, select, update

from monitor.findings import Estimate
from monitor.fleet import database
from monitor.fleet.database import insert_of
from monitor.fleet.minutely import MinuteThread
from monitor.fleet.tables import vehicles, years
from monitor.fleet.view import CollectedReader
from monitor.planning.battery_life import work_out_life
from monitor.reporting import life_words
from monitor.reporting.sentences import sentence
from monitor.store.reading import NoLog
from monitor.wear.life import LEAST_DAYS

log = logging.getLogger("ampledger.fleet")

#: A vehicle's years are worked out anew after so long, where something came since [s] (choice: they move by some per cent a month).
AGAIN_S = 7 * 86400.0   # [s], choice
#: Whoever works it out has so long; then it is another's turn [s] (choice: it takes seconds).
CLAIMED_S = 3600.0      # [s], choice
#: As polite as a process may be (Linux).
NICE = 19
DAY_S = 86400.0


def work_out(address: str, vehicle_id: int, line: int, name: str) -> dict[str, Any]:
    """What the table years keeps of one vehicle; runs in a process of its own.

    address: of the collection's database; vehicle_id, line: whose rows; name: of the vehicle.
    """
    engine = database.open_engine(address, pool_size=1)
    try:
        return _forecast_row(CollectedReader(engine, vehicle_id, line, name))
    except (NoLog, ValueError) as error:
        return _row(because=sentence(error))
    finally:
        engine.dispose()


def _forecast_row(reader: CollectedReader) -> dict[str, Any]:
    span = reader.span()
    if span is None or (span[1] - span[0]) / DAY_S < LEAST_DAYS:
        return _row(because=life_words.TOO_YOUNG)
    report = work_out_life(reader)
    left = report.forecast.years
    row = _row(headline=life_words.describe_headline(report), rows=life_words.list_rows(report))
    return row | ({"value": left.value, "low": left.low, "high": left.high} if isinstance(left, Estimate) else {})


def _row(headline: str = "", rows: list[tuple[str, str, str]] | None = None, because: str = "") -> dict[str, Any]:
    body = json.dumps({"headline": headline, "rows": rows or [], "because": because})
    return {"body": body, "value": None, "low": None, "high": None}


def claim(connection: Connection, now_utc_s: float) -> tuple[int, int, str] | None:
    """(id, line, name) of a vehicle whose turn it is, nobody else's for an hour; None where it is nobody's.

    connection: of the collection, in a transaction; now_utc_s: UTC [s].
    """
    due = or_(years.c.made_utc_s.is_(None), (years.c.made_utc_s < now_utc_s - AGAIN_S) & (vehicles.c.seen_utc_s > years.c.made_utc_s),
              years.c.line != vehicles.c.line)
    question = (select(vehicles.c.id, vehicles.c.line, vehicles.c.name).outerjoin(years, years.c.vehicle_id == vehicles.c.id)
                .where(vehicles.c.seen_utc_s.is_not(None), due).order_by(years.c.made_utc_s.nulls_first(), vehicles.c.id).limit(1))
    if connection.dialect.name == "postgresql":
        question = question.with_for_update(of=vehicles, skip_locked=True)
    row = connection.execute(question).fetchone()
    if row is None:
        return None
    until = {"line": row.line, "made_utc_s": now_utc_s - AGAIN_S + CLAIMED_S}
    put = insert_of(connection, years).values(vehicle_id=row.id, **until, **_row())
    connection.execute(put.on_conflict_do_update(index_elements=["vehicle_id"], set_=until))
    return row.id, row.line, row.name


def read_years(connection: Connection, vehicle_id: int, line: int) -> dict[str, Any] | None:
    """Headline, rows and because of a vehicle's years, None where they are still to be worked out.

    connection: of the collection; vehicle_id, line: whose.
    """
    text = connection.execute(select(years.c.body).where(years.c.vehicle_id == vehicle_id, years.c.line == line)).scalar()
    found: dict[str, Any] | None = None if text is None else json.loads(text)
    return found if found and (found["rows"] or found["because"]) else None


class YearsThread(MinuteThread):
    """Looks once a minute whose turn it is. The work itself is done in a process that gives way to everybody."""

    def __init__(self, engine: Engine, now_utc_s: Callable[[], float] = time.time) -> None:
        super().__init__("years", "working out years left", engine, now_utc_s)

    def look(self) -> int:
        """Works out the years of every vehicle whose turn it is; returns how many."""
        count, address = 0, self._engine.url.render_as_string(hide_password=False)
        pool: ProcessPoolExecutor | None = None
        try:
            while not self._stop.is_set():
                with self._engine.begin() as connection:
                    whose = claim(connection, self._now_utc_s())
                if whose is None:
                    break
                pool = pool or ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_be_polite)
                found = pool.submit(work_out, address, *whose).result()
                with self._engine.begin() as connection:
                    connection.execute(update(years).where(years.c.vehicle_id == whose[0], years.c.line == whose[1])
                                       .values(made_utc_s=self._now_utc_s(), **found))
                count += 1
        except BrokenProcessPool:
            log.warning("working out years left was ended from outside; the next vehicle follows")
        finally:
            if pool is not None:
                pool.shutdown(wait=False, cancel_futures=True)
        return count


def _be_polite() -> None:
    with suppress(OSError):
        os.nice(NICE)
