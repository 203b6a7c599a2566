"""What each number of a battery and its vehicle moves: every row times 0.75 and 1.33, over simulated lives of every chemistry.

    python -m tests.benchmarks.bench_parameters [ROW ...]      (ROW as agm.span_v, or a part of it; all: an hour of two cores)

A row that moves nothing needs a life in which it matters, or it goes. Definitions (cells, reference temperatures) stay as
they are. Columns: lines of the golden replays that move, and the mean move of charge [points] and of capacity [Ah].
"""
import multiprocessing
import re
import sys
from concurrent.futures import ProcessPoolExecutor
from typing import Any

FACTORS = (0.75, 1.33)
#: Lives that together hold every chemistry, cold, drains, a relay in trouble, and a battery drawn empty.
LIVES = ("drain-agm", "stuck-closed-flooded", "stuck-open-gel", "lithium", "frost", "without-clock", "faded-plates")
#: Rows of a chemistry can move only lives that hold one such battery (the starter battery is flooded in all of them).
ONLY = {"agm": ("drain-agm", "without-clock", "faded-plates"), "gel": ("stuck-open-gel",), "lithium_iron": ("lithium",)}


def scaled(value: Any, factor: float) -> Any:
    """A row's value times a factor: of a curve the second of every pair, of a pair of chemistries both."""
    if isinstance(value, dict):
        return {name: scaled(part, factor) for name, part in value.items()}
    if isinstance(value, list):
        return [[*part[:-1], part[-1] * factor] if isinstance(part, list) else part * factor for part in value]
    return value * factor if isinstance(value, float) else max(round(value * factor), 1)


def replayed(row: str, factor: float, names: tuple[str, ...]) -> dict[str, list[str]]:
    """The lines of some lives with one row (as battery/parameters.toml, [agm] span_v) multiplied, in a fresh process.

    Parameters
    ----------
    row : the row's place, "" for none
    factor : what its value is multiplied by
    names : golden replays
    """
    from monitor import parameters

    plain = parameters._row

    def changed(place: str, fields: dict[str, Any], source: str) -> parameters.Row:
        return plain(place, fields | {"value": scaled(fields["value"], factor)} if place == row else fields, source)

    parameters._row = changed       # the rooms read their rows as they are imported, which happens below
    parameters._room.cache_clear()
    from tests.golden import replays

    return {name: replays.lines(name) for name in names}


def _shift(before: list[str], after: list[str], figure: str) -> float:
    """Mean absolute move of a figure over the moments at which both know it."""
    pattern = re.compile(rf"^ *(\d+\.\d+) d house:.*{figure} ([0-9.e+-]+) \(")
    old, new = ({m[1]: float(m[2]) for line in lines if (m := pattern.match(line))} for lines in (before, after))
    both = [abs(old[at] - new[at]) for at in old.keys() & new.keys()]
    return sum(both) / len(both) if both else 0.0


def rows() -> list[str]:
    """Places of all rows of battery/parameters.toml that are knowledge, not definition."""
    from monitor import parameters

    room = dict(parameters.rooms())["battery"]
    return [f"battery/parameters.toml, [{module}] {name}" for module, table in room.items() for name, row in table.items()
            if not row.source.startswith("definition")]


def main(wanted: list[str]) -> None:
    """Print one line for each row and factor, and at the end the rows that move nothing."""
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn"), max_tasks_per_child=1) as pool:
        places = [place for place in pool.submit(rows).result() if not wanted or any(
            word in place.replace("battery/parameters.toml, [", "").replace("] ", ".") for word in wanted)]
        before = pool.submit(replayed, "", 1.0, LIVES)
        jobs = {(place, factor): pool.submit(replayed, place, factor, ONLY.get(place.partition("[")[2].partition("]")[0], LIVES))
                for place in places for factor in FACTORS}
        moves = dict.fromkeys(places, 0)
        print(f"{'row':48}{'x':>6}{'lines':>7}{'charge':>8}{'capacity':>10}  lives that move, or the refusal")
        for (place, factor), job in jobs.items():
            name = place.partition("[")[2].replace("] ", ".")
            try:
                after = job.result()
            except (ValueError, ArithmeticError, KeyError) as refused:
                moves[place] += 1
                print(f"{name:48}{factor:6}  refused: {refused}", flush=True)
                continue
            old = {life: before.result()[life] for life in after}
            count = {life: sum(a != b for a, b in zip(old[life], after[life], strict=False)) + abs(len(old[life]) - len(after[life]))
                     for life in after}
            charge = sum(_shift(old[life], after[life], "charge") for life in after) / len(after)
            capacity = sum(_shift(old[life], after[life], "capacity") for life in after) / len(after)
            moves[place] += sum(count.values())
            print(f"{name:48}{factor:6}{sum(count.values()):7}{100 * charge:8.2f}{capacity:10.2f}  "
                  + " ".join(f"{life}:{n}" for life, n in count.items() if n), flush=True)
    print("nothing moves with: " + (", ".join(place.partition("[")[2].replace("] ", ".") for place, n in moves.items() if not n) or "none"))


if __name__ == "__main__":
    main(sys.argv[1:])
