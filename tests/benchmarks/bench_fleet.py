"""What a fleet costs: minutes taken a second, bytes a stored minute, the list and a vehicle's month, and what a board pays to publish.

`python -c "from tests.benchmarks import bench_fleet; bench_fleet.measure(100, 365)"` is a tenth of a thousand vehicles for a year. Every
vehicle publishes the same year of a simulated log under a key of its own, a day in a batch, so what is stored is real and the time is that
of taking it. With the address of a database of one's own it stays there, and `pages` asks it again.
"""
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sqlalchemy import Engine, text
from werkzeug.test import Client

from dashboard.fleet import create_site
from monitor.fleet import database, intake, keys, people
from monitor.fleet.batch import FleetBatch, columns_part, encode, lines_part
from monitor.fleet.local_postgres import local_postgres
from monitor.fleet.publishing import Publisher
from monitor.fleet.unsent import Cursors, Privacy, next_parts
from monitor.store.columns import TABLE_COLUMNS
from monitor.store.view import open_view
from tests import store_fixture

DAY_MS = 86_400_000
#: Days of real rows that a year is made of, over and over.
REAL_DAYS = 2


def main() -> None:
    """A small fleet, so that it ends within minutes."""
    measure(8, 60)


def measure(vehicles: int, days: int, address: str | None = None, processes: int = 1) -> None:
    """Prints the figures for so many vehicles and days of minutes.

    vehicles, days: how much; address: of an empty database, None: a server that ends with it; processes: collectors at once.
    """
    with TemporaryDirectory() as folder, (nullcontext(address) if address else local_postgres()) as place:
        log = store_fixture.fill(Path(folder) / "ampledger.db", REAL_DAYS, beat_s=60.0)
        engine = database.open_engine(place)
        database.upgrade(engine)
        database.make_months(engine, datetime.fromtimestamp(_now_utc_s(days), UTC).date())
        _board(log)
        began = time.perf_counter()
        with ProcessPoolExecutor(processes) as pool:
            shares = [range(first, vehicles, processes) for first in range(processes)]
            spent = list(pool.map(_take, [place] * processes, [log] * processes, shares, [days] * processes))
        _tell_taken(engine, vehicles * days * 1440, spent, time.perf_counter() - began)
        engine.dispose()
        pages(place, vehicles, days)


def taking(address: str, name: int, days: int, hours: int) -> None:
    """Prints how fast one vehicle more is taken into a collection that `measure` made.

    address: of the database; name: the vehicle's number; days: of minutes; hours: so much in a batch, 24 or a part of it.
    """
    with TemporaryDirectory() as folder:
        log = store_fixture.fill(Path(folder) / "ampledger.db", REAL_DAYS, beat_s=60.0)
        spent_s, cpu_s, server_s = _take(address, log, [name], days, hours)
    minutes, batches = days * 1440, days * 24 / hours
    print(f"{days} days in batches of {hours} h: {minutes / spent_s:,.0f} minutes a second; a second of processor time, its own and "
          f"PostgreSQL's, {minutes / (cpu_s + server_s):,.0f}; a batch {1e3 * cpu_s / batches:.0f} and {1e3 * server_s / batches:.0f} ms",
          flush=True)


def flaky(vehicles: int = 50, days: int = 30, logs: int = 3, threads: int = 6) -> tuple[int, int]:
    """So many boards publish at once, through connections that lose, repeat and reorder; then every row is compared.

    vehicles: boards; days: of life behind each; logs: different lives among them; threads: boards that talk at the same moment. Returns
    how many came whole, every row once, and how many talks broke off.
    """
    from concurrent.futures import ThreadPoolExecutor
    from random import Random

    from tests.fleet.lines import Flaky, Straight, publish_until_done
    from tests.fleet.test_publish import rows_of_collection, rows_of_log

    with TemporaryDirectory() as folder, local_postgres() as address:
        lives = [store_fixture.fill(Path(folder) / f"life-{seed}" / "ampledger.db", days, beat_s=60.0, seed=seed) for seed in range(logs)]
        wanted = [rows_of_log(life) for life in lives]
        engine = database.open_engine(address)
        database.upgrade(engine)
        with engine.begin() as connection:
            secret = [keys.enrol(connection, f"vehicle-{number:02d}", 0.0) for number in range(vehicles)]
        now_utc_s = store_fixture.BEGINS_UTC_S + (days + 5) * 86400

        def talk(number: int) -> int:
            line = Flaky(Straight(engine, secret[number], f"board-{number}", now_utc_s), Random(number))
            publisher = Publisher(lives[number % logs], line, f"board-{number}", "0.1.0",
                                  rows_at_once={"minutes": 720, "quarters": 96, "hours": 24})
            return publish_until_done(lambda: publisher.publish(lambda: now_utc_s), most=5000)

        began = time.perf_counter()
        with ThreadPoolExecutor(threads) as pool:
            broken = sum(pool.map(talk, range(vehicles)))
        took_s = time.perf_counter() - began
        wrong = 0
        for number in range(vehicles):
            found, right = rows_of_collection(engine, number + 1), wanted[number % logs]
            wrong += any([tuple(row) for row in found[table]] != sorted(tuple(row) for row in rows) for table, rows in right.items())
        count = sum(len(rows) for rows in wanted[0].values())
        print(f"{vehicles} boards, {days} days, {count} rows each: {vehicles - wrong} of {vehicles} whole, every row once; "
              f"{broken} talks broke off; {took_s:.0f} s")
        engine.dispose()
        return vehicles - wrong, broken


def _batches(log: Path, days: int, hours: int = 24) -> Any:
    """The batches of one board over so many days, one for so many hours: the real days again and again, each at its own place in time."""
    with open_view(log) as view:
        real = {level: list(view.rows_of_level(level, -(2**62), 2**62)) for level in ("minutes", "quarters", "hours")}
        first = next_parts(view, Cursors(), Privacy(), {"minutes": 1, "quarters": 1, "hours": 1})
        forecasts = view.rows("forecasts")
        found = lines_part("findings", [view.findings_text()], ("at_ms", "text"))
    others = (*(p for p in first.parts if p.table in ("boots", "meta", "alerts")), found)
    length_ms = hours * 3_600_000
    for number in range(days * 24 // hours):
        source = number % (REAL_DAYS * 24 // hours)
        shift = number * length_ms - source * length_ms
        parts = list(others) if number == 0 else [p for p in others if p.table == "findings"]
        for level, rows in real.items():
            if inside := [(row[0] + shift, row[1] + shift, *row[2:]) for row in rows if (row[0] - 1) // length_ms == source]:
                parts.append(columns_part(level, inside))
        if seen := [(row[0] + shift, *row[1:]) for row in forecasts if (row[0] - 1) // length_ms == source]:
            parts.append(lines_part("forecasts", seen, TABLE_COLUMNS["forecasts"]))
        yield number + 1, tuple(parts)


def _board(log: Path) -> None:
    """What a board pays: processor time and bytes for a day that is published each hour, and each six hours."""
    for name, hours in (("each hour", 1), ("economy, each six hours", 6)):
        size, began = 0, time.process_time()
        with open_view(log) as view:
            at = Cursors()
            rows = {"minutes": 60 * hours, "quarters": 4 * hours, "hours": hours}
            for number in range(24 // hours):
                unsent = next_parts(view, at, Privacy(), rows)
                parts = [p for p in unsent.parts if p.table != "findings"]
                at_ms, found = view.findings_text()
                parts.append(lines_part("findings", [(at_ms, found)], ("at_ms", "text")))
                at = unsent.cursors
                size += len(encode(FleetBatch("b", number + 1, 0.0, "0.1.0", tuple(parts), at.as_plain())))
        cost_s = time.process_time() - began
        print(f"a board, {name}: {size * 30 / 1e6:.2f} MB a month over the air, {100 * cost_s / 86400:.4f} % of its time "
              f"({1e3 * cost_s:.0f} ms a day)")


def _now_utc_s(days: int) -> float:
    return store_fixture.BEGINS_UTC_S + (days + 5) * 86400.0


def _take(address: str, log: Path, numbers: Sequence[int], days: int, hours: int = 24) -> tuple[float, float, float]:
    """(seconds, processor time here [s], PostgreSQL's [s]) that taking the batches of these vehicles took, without making them."""
    from monitor.fleet.by_hand import own_version

    engine, batches, now_utc_s = database.open_engine(address), list(_batches(log, days, hours)), _now_utc_s(days)
    spent_s = cpu_s = 0.0
    server_s = _server_cpu_s(engine)
    for number in numbers:
        with engine.begin() as connection:
            key_hash = keys.hash_of(keys.enrol(connection, f"vehicle-{number:04d}", now_utc_s))
        for count, parts in batches:
            data = encode(FleetBatch("board", count, 0.0, own_version(), parts, {}))
            began, before_s = time.perf_counter(), time.process_time()
            with engine.begin() as connection:
                intake.take(connection, key_hash, data, now_utc_s)
            spent_s += time.perf_counter() - began
            cpu_s += time.process_time() - before_s
    server_s = _server_cpu_s(engine) - server_s
    engine.dispose()
    return spent_s, cpu_s, server_s


def _tell_taken(engine: Engine, minutes: int, spent: list[tuple[float, float, float]], took_s: float) -> None:
    with engine.connect() as connection:
        size = connection.execute(text("select sum(pg_total_relation_size(oid)) from pg_class where relkind = 'r' and relnamespace = "
                                       "'public'::regnamespace")).scalar_one()
    each, own = minutes / sum(s for s, _, _ in spent), minutes / sum(c for _, c, _ in spent)
    print(f"{minutes:,} minutes taken in {took_s:.0f} s by {len(spent)} processes: {each:,.0f} a second by each ({own:,.0f} a second of "
          f"its own processor time), {float(size) / minutes:.1f} bytes a minute with indexes", flush=True)


def _server_cpu_s(engine: Engine) -> float:
    """Processor time so far of PostgreSQL's processes that serve this collection (Linux, proc_pid_schedstat(5))."""
    with engine.connect() as connection:
        pids = connection.execute(text("select pid from pg_stat_activity where datname = current_database()")).scalars().all()
    return sum(int(Path(f"/proc/{pid}/schedstat").read_text().split()[0]) for pid in pids) / 1e9


def pages(address: str, vehicles: int, days: int) -> None:
    """Prints how long the pages take over a collection that `measure` made, its list filled up to a thousand vehicles.

    address: of the database; vehicles, days: as they were measured.
    """
    engine = database.open_engine(address)
    database.upgrade(engine)
    with engine.begin() as connection:
        connection.execute(text("analyze"))
        there = connection.execute(text("select count(*) from vehicles")).scalar_one()
        for number in range(there, 1000):  # the list is as long as that of a large fleet
            keys.enrol(connection, f"vehicle-{number:04d}", 0.0)
        connection.execute(text("insert into standing select v.id, s.at_utc_s, s.simulated, s.charge_frac, s.charge_low_frac, "
                                "s.charge_high_frac, s.starter_v, s.drain_a, s.capacity_frac, s.capacity_low_frac, s.capacity_high_frac, "
                                "s.verdict, s.probability_short, s.throughput_ah, s.weeks_count, s.chemistry, s.rated_capacity_ah, "
                                "0, 0, 0, '' from vehicles v, (select * from standing limit 1) s where v.id not in "
                                "(select vehicle_id from standing)"))
        people.put(connection, "bench", "see")
    client = Client(create_site(engine, identity_header="X-Bench", proxy="127.0.0.1"))
    ends = store_fixture.BEGINS_UTC_S + days * 86400
    asked = {"the fleet's list of 1000 vehicles": "/",
             "a vehicle's month (series)": f"/vehicle/vehicle-0000/api/v1/series?from={ends - 30 * 86400:.0f}&to={ends:.0f}",
             "a vehicle's month (page Log)": "/vehicle/vehicle-0000/log?span=month",
             "a vehicle's page Now": "/vehicle/vehicle-0000/",
             "the batteries by model": "/batteries"}
    for name, place in asked.items():
        times, cpu, server_s = [], [], _server_cpu_s(engine)
        for _ in range(9):
            began, before_s = time.perf_counter(), time.process_time()
            answer = client.get(place, headers={"X-Bench": "bench"}, environ_base={"REMOTE_ADDR": "127.0.0.1"})
            times.append(time.perf_counter() - began)
            cpu.append(time.process_time() - before_s)
            assert answer.status_code == 200, (place, answer.status_code, answer.get_data(as_text=True)[:200])
        server_s = (_server_cpu_s(engine) - server_s) / len(times)
        took_s, own_s = sorted(times)[4], sorted(cpu)[4]
        print(f"{name}: {1e3 * took_s:.0f} ms; processor time {1e3 * own_s:.0f} ms here, {1e3 * server_s:.0f} ms PostgreSQL's "
              f"(at best {1e3 * min(times):.0f} ms; {len(answer.get_data()) / 1e3:.0f} kB)", flush=True)
    engine.dispose()


if __name__ == "__main__":
    main()
