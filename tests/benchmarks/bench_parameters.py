"""What each number of a battery and its vehicle moves: every row times 0.75 and 1.33, over simulated lives of every chemistry.

    python -m tests.benchmarks.bench_parameters [--rooms battery,forecast,...] [--all] [ROW ...]

ROW is as agm.span_v, or a part of it; --rooms are the folders whose tables are looked at (battery). Each row is lived through one
life after the other until one moves; --all lives through all of them, and says in figures how far each moves. A row that moves
nothing needs a life in which it matters, or it goes. Definitions (cells, reference temperatures) stay as they are. Columns: lines
of the findings that move, and the mean move of charge [points] and of capacity [Ah].

Last run over battery/, its first 47 rows (lead-acid, alternator, relay, the lithium curve of the charge filter): all but these move.
lead_acid.gassing_most is a guard that no charger's voltage reaches. ratings.sizing_f and testing_f belong to sizing and to the
capacity test, not to a tracker: tests/published/test_temperature_factors.py is where they matter. Peukert's exponents moved nothing
until a small battery was drawn to its knee, hence emptied-*. The rows of rest_curves and lithium_* were not
run: the life `lithium` goes through what reads them.
"""
import argparse
import multiprocessing
import pickle
import re
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import takewhile
from pathlib import Path
from typing import Any

FACTORS = (0.75, 1.33)
#: Lives that together hold every chemistry, cold, drains, a relay in trouble, and a battery drawn empty.
LIVES = ("drain-agm", "stuck-closed-flooded", "stuck-open-gel", "lithium", "frost", "without-clock", "faded-plates", "smart-alternator",
         "emptied-flooded", "emptied-agm", "emptied-gel")
#: Rows of a chemistry are tried first on the life that holds one such battery (the starter battery is flooded in all of them).
FIRST = {"agm": "drain-agm", "gel": "stuck-open-gel", "flooded": "stuck-closed-flooded", "lithium_iron": "lithium",
         "lithium_cell": "lithium", "rest_curves": "lithium", "alternator": "smart-alternator"}
#: So much of each life is lived: by then each has met what it is for.
DAYS = 4.5


def scaled(value: Any, factor: float) -> Any:
    """A row's value times a factor: of a curve the second of every pair, of a pair of chemistries both."""
    if isinstance(value, dict):
        return {name: scaled(part, factor) for name, part in value.items()}
    if isinstance(value, list):
        return [[*part[:-1], part[-1] * factor] if isinstance(part, list) else part * factor for part in value]
    return value * factor if isinstance(value, float) else max(round(value * factor), 1)


def _lives() -> dict[str, Any]:
    """The golden lives, and small batteries without sun that are drawn to their knee: only there the rate says anything."""
    from drivers.vehicle import BatteryPlan
    from tests.golden import lives

    return lives.lives() | {f"emptied-{kind}": lives._life("drawn to its knee", replace(
        lives.CAMPER, seed=430, days=DAYS, panel_w=1.0, drives=(), house=BatteryPlan(kind, 60.0, 0.95, 1.0)))
        for kind in ("flooded", "agm", "gel")}


def record(folder: str) -> None:
    """The readings of all lives into files: they are the same whatever the tables say."""
    lives = _lives()
    for name in LIVES:
        samples = list(takewhile(lambda sample: sample.at_s <= DAYS * 86400.0, lives[name].samples()))
        Path(folder, name).write_bytes(pickle.dumps(samples, pickle.HIGHEST_PROTOCOL))


def replayed(row: str, factor: float, names: tuple[str, ...], folder: str, before: dict[str, list[str]] | None = None,
             ) -> dict[str, list[str]]:
    """The lines of some lives with one row (as battery/parameters.toml, [agm] span_v) multiplied, in a fresh process.

    Parameters
    ----------
    row : the row's place, "" for none
    factor : what its value is multiplied by
    names : lives
    folder : where their readings are
    before : lines of the same lives without it; where given, the first life that moves is the last
    """
    from monitor import parameters

    plain = parameters._row

    def changed(place: str, fields: dict[str, Any], source: str) -> parameters.Row:
        return plain(place, fields | {"value": scaled(fields["value"], factor)} if place == row else fields, source)

    parameters._row = changed       # the rooms read their rows as they are imported, which happens below
    parameters._room.cache_clear()
    from tests.golden import replays

    lives = _lives()
    found: dict[str, list[str]] = {}
    for name in names:
        life, samples = lives[name], pickle.loads(Path(folder, name).read_bytes())
        walked = replays._steps(samples, life.vehicle)
        found[name] = list(replays._sheet(walked, life.vehicle, life.estimates_each_h, life.forecasts_each_h))
        if before is not None and found[name] != before[name]:
            break
    return found


def _shift(before: list[str], after: list[str], figure: str) -> float:
    """Mean absolute move of a figure over the moments at which both know it."""
    pattern = re.compile(rf"^ *(\d+\.\d+) d house:.*{figure} ([0-9.e+-]+) \(")
    old, new = ({m[1]: float(m[2]) for line in lines if (m := pattern.match(line))} for lines in (before, after))
    both = [abs(old[at] - new[at]) for at in old.keys() & new.keys()]
    return sum(both) / len(both) if both else 0.0


def rows(rooms: tuple[str, ...]) -> list[str]:
    """Places of all rows of some rooms' tables that are knowledge, not definition."""
    from monitor import parameters

    return [f"{room}/parameters.toml, [{module}] {name}" for room, modules in parameters.rooms() if room in rooms
            for module, table in modules.items() for name, row in table.items() if not row.source.startswith("definition")]


def _order(place: str) -> tuple[str, ...]:
    """All lives, the one that a row most likely moves first."""
    first = FIRST.get(place.partition("[")[2].partition("]")[0], LIVES[0])
    return (first, *(name for name in LIVES if name != first))


def _line(place: str, factor: float, old: dict[str, list[str]], after: dict[str, list[str]]) -> tuple[int, str]:
    """Lines moved, and what is printed of them."""
    count = {life: sum(a != b for a, b in zip(old[life], lines, strict=False)) + abs(len(old[life]) - len(lines))
             for life, lines in after.items()}
    charge = sum(_shift(old[life], after[life], "charge") for life in after) / len(after)
    capacity = sum(_shift(old[life], after[life], "capacity") for life in after) / len(after)
    moved = " ".join(f"{life}:{n}" for life, n in count.items() if n)
    return sum(count.values()), (f"{place.partition('[')[2].replace('] ', '.'):48}{factor:6}{sum(count.values()):7}"
                                 f"{100 * charge:8.2f}{capacity:10.2f}  {moved}")


def main(arguments: list[str]) -> None:
    """Print one line for each row and factor, and at the end the rows that move nothing."""
    options = argparse.ArgumentParser()
    options.add_argument("rows", nargs="*")
    options.add_argument("--rooms", default="battery")
    options.add_argument("--all", action="store_true")
    asked = options.parse_args(arguments)
    with (tempfile.TemporaryDirectory() as folder,
          ProcessPoolExecutor(2, multiprocessing.get_context("spawn"), max_tasks_per_child=1) as pool):
        pool.submit(record, folder).result()
        places = [place for place in pool.submit(rows, tuple(asked.rooms.split(","))).result() if not asked.rows or any(
            word in place.partition("[")[2].replace("] ", ".") for word in asked.rows)]
        old = pool.submit(replayed, "", 1.0, LIVES, folder).result()
        jobs = {(place, factor): pool.submit(replayed, place, factor, _order(place), folder, None if asked.all else old)
                for place in places for factor in FACTORS}
        moves = dict.fromkeys(places, 0)
        print(f"{'row':48}{'x':>6}{'lines':>7}{'charge':>8}{'capacity':>10}  lives that move, or the refusal", flush=True)
        for (place, factor), job in jobs.items():
            try:
                moved, line = _line(place, factor, old, job.result())
            except (ValueError, ArithmeticError, KeyError) as refused:
                moved, line = 1, f"{place.partition('[')[2].replace('] ', '.'):48}{factor:6}  refused: {refused}"
            moves[place] += moved
            print(line, flush=True)
    print("nothing moves with: " + (", ".join(place.partition("[")[2].replace("] ", ".") for place, n in moves.items() if not n) or "none"))


if __name__ == "__main__":
    main(sys.argv[1:])
