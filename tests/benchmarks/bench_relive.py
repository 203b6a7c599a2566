"""What living through a year of minutes again takes: processor time of the trackers and of reading the log, lead-acid and lithium; and
what the charge estimator takes of a minute, on average and at worst.

    python -m tests.benchmarks.bench_relive [DAYS [COUNT]]

So many simulated vehicles of each (3 by default) with a solar meter and four named loads, minutes as a log of so many days (30) gives
them back. U, a million turns of a loop, is measured every half day of the life, so that other work on the machine counts for both.
"""
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from statistics import median

from monitor import pipeline
from monitor.battery.label import NamedLoad, Vehicle
from monitor.estimation import house_charge
from monitor.findings import Estimate
from monitor.process import relive
from monitor.sample import Minute
from monitor.sampling.gather import minutes
from monitor.store import checksum, sealing
from monitor.store.batch import Batch, TimeLabel
from monitor.store.columns import ROLLED, milliseconds, to_stored
from monitor.store.open_log import OpenLog
from monitor.store.past import DAY_MS
from monitor.store.write_queue import WriteQueue
from monitor.usage import load_shares
from tests.benchmarks.ensemble import DAY_S, journey, owner, vehicles
from tests.store_fixture import BEGINS_UTC_S

#: processor time of a million turns where goals were set [s]
GOAL_U_S = 0.018
YEAR_MINUTES = 525_600
NAMED_ON_DAY = 4


def main(arguments: list[str]) -> None:
    """Prints a line for each vehicle and the middle ones. arguments: days of the life, vehicles of each chemistry."""
    days, count = float(arguments[0]) if arguments else 30.0, int(arguments[1]) if len(arguments) > 1 else 3
    for case in ("lead healthy", "lithium"):
        years_s = []
        for number, plan in enumerate(vehicles(case, count, seed=5, days=days), 1):
            plan = replace(plan, sensor=replace(plan.sensor, with_solar=True, with_temperature=True))
            with tempfile.TemporaryDirectory() as folder:
                database = written(Path(folder) / "ampledger.db", list(minutes(sample for sample, _ in journey(plan))), days)
                life, reading_ms, trackers_ms, unit_ms = measured(database, owner(plan))
            years_s.append((reading_ms + trackers_ms) * YEAR_MINUTES / 1000)
            mean_ms, most_ms = charge_ms(life, owner(plan))
            print(f"{case:<13}{number:>2} {len(life)} minutes: reading {reading_ms:.3f} ms, trackers {trackers_ms:.3f} ms each, a year "
                  f"{years_s[-1]:.0f} s; charge estimator {mean_ms:.3f} ms, at worst {most_ms:.2f} (goals 0.1, 0.3); all at U = "
                  f"{1000 * GOAL_U_S:.0f} ms, here {unit_ms:.0f} ms", flush=True)
        print(f"{case}: a year {median(years_s):.0f} s, the middle one of {count} (goal 60 s)", flush=True)


def written(database: Path, life: list[Minute], days: float) -> Path:
    """A log of these minutes and nothing else, its older days sealed."""
    log, pending = OpenLog(database), WriteQueue()
    pending.add(Batch(labels=(TimeLabel(0.0, "the-first-boot", BEGINS_UTC_S, 0.0, True, "bench"),)))
    log.write(pending)
    rows = [(milliseconds(m.end_s), milliseconds(m.start_s), *(to_stored(getattr(m, name, None), scale)
                                                               for name, (_, scale, _) in ROLLED.items())) for m in life]
    log.sql("begin")
    log.sql(checksum.insert_of("minutes"), [checksum.add_checksum("minutes", row) for row in rows])
    log.sql("commit")
    while (number := sealing.due(log.sql, round(days * DAY_MS))) is not None:
        sealing.seal(log.sql, log.past, number)
    log.close()
    return database


def measured(database: Path, vehicle: Vehicle) -> tuple[list[Minute], float, float, float]:
    """(the minutes, milliseconds of reading one, of the trackers in one, of a unit of work), the first two as at GOAL_U_S.

    The latest forty days, in which forecasts are made again, count as forty of 365.
    """
    with relive.open_view(database) as log:
        units = [unit_s()]
        began = time.process_time()
        life = list(relive.minutes_of(log, log.ends()[1] or 0))
        reading_s = (time.process_time() - began) * GOAL_U_S / units[0]
    spent = {}
    for parts in (pipeline.ALL - {"forecast"}, pipeline.ALL):
        spent[parts], found = trackers_s(life, vehicle, parts)
        units += found
    usual, with_forecast = spent.values()
    each = 1000 / len(life)
    return life, each * reading_s, each * (usual + (with_forecast - usual) * relive.FORECAST_S / DAY_S / 365), 1000 * sum(
        units) / len(units)


def trackers_s(life: list[Minute], vehicle: Vehicle, parts: frozenset[str]) -> tuple[float, list[float]]:
    """Processor time of a life [s], as at GOAL_U_S, and the units of work measured meanwhile [s]."""
    states, wanted, total_s, units = pipeline.begin(vehicle), pipeline.with_dependencies(parts), 0.0, []
    began = time.process_time()
    for count in range(relive.TOGETHER, len(life) + relive.TOGETHER, relive.TOGETHER):
        run = life[count - relive.TOGETHER:count]
        states = pipeline.relive(states, run, vehicle, wanted)
        if count == NAMED_ON_DAY * 1440:
            vehicle = replace(vehicle, named_loads=tuple(named(states, vehicle, run[-1].end_s)))
        if count % 720 == 0 or count >= len(life):
            took_s = time.process_time() - began
            units.append(unit_s())
            total_s += took_s * GOAL_U_S / units[-1]
            began = time.process_time()
    return total_s, units


def charge_ms(life: list[Minute], vehicle: Vehicle) -> tuple[float, float]:
    """Processor time of the charge estimator in a minute, findings included [ms], as at GOAL_U_S: on average, and of the dearest minute.

    Each minute counts with the shorter time of two passes, so that what else the machine did in one of them does not.
    """
    passes = []
    for _ in range(2):
        state, took_s, unit = house_charge.begin(vehicle), [], unit_s()
        for count, minute in enumerate(life):
            unit = unit_s() if count % 720 == 0 else unit
            began = time.process_time()
            state = house_charge.update(state, minute, vehicle, None)
            house_charge.findings(state, vehicle)
            took_s.append((time.process_time() - began) * GOAL_U_S / unit)
        passes.append(took_s)
    least_s = [min(both) for both in zip(*passes, strict=True)]
    return 1000 * sum(least_s) / len(least_s), 1000 * max(least_s)


def named(states: pipeline.TrackerStates, vehicle: Vehicle, at_s: float) -> Iterator[NamedLoad]:
    """The first four loads on the list, named."""
    for load in load_shares.findings(states.found_loads, vehicle, states.loads, at_s).loads[:4]:
        if isinstance(load.current_a, Estimate):
            yield NamedLoad(f"load {load.number}", load.number, load.current_a.value, load.run_s)


def unit_s(turns: int = 20_000) -> float:
    """Processor time of a million turns of a loop just now [s]."""
    began, x = time.process_time(), 1.0
    for _ in range(turns):
        x = x * 0.999 + 0.001
    return (time.process_time() - began) * 1_000_000 / turns


if __name__ == "__main__":
    main(sys.argv[1:])
