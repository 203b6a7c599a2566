"""What each number of a tracker moves: every row of the tables times 1.33, then times 0.75, over simulated lives of every chemistry.

    python -m tests.benchmarks.bench_parameters [--rooms battery,forecast,...] [--lives lithium,...] [--workers 2] [ROW ...]

ROW is as agm.span_v, or a part of it; --rooms are the folders whose tables are looked at, --lives what is lived (all of them, unless
named). Each row is lived through one life after the other until a line of the golden sheets differs, and that life and line are
printed. What moves none of them by itself is of no use to a tracker: it gets a life in which it matters, or it goes. Definitions
(cells, reference temperatures) stay as they are; of a row whose value is zero its sigma is multiplied. Rows that their own lives
leave alone go through all of them a dozen at once, and by halves where such a lot moves.

Some rooms have scenes besides: short lives of one tracker alone, with faults and figures from little to much (*_scenes.py,
estimation_cases.py), which come first; --lives none takes them alone. What neither moves goes through the quick tests of the row's
module (--no-tests leaves them out): a test that fails is what the row moves.

Last runs. All rows of usage, forecast, wear and detection (its own table, house, starter and wiring) move something; of starter
drain_verdict.least_a is held by a test alone. Of detection/join (237 rows) nothing is left: 31 that no scene moves fail a test of
tests/monitor/test_join_guards.py with either factor, the others scenes move (all of the room in one run before twelve rows that nothing
needed were taken out, which left every line of the scenes as it was; uncharged_run since). Of estimation and estimation/observations scenes
move 319 of 322, each row on its own; least_spread, diffusion_most_ln and repeats.least are held by tests. Of battery's lithium rows
lithium_step.again_days is left, for no scene goes on for so long; widest_frac, charging_per_h, most_points, both of lithium_end_to_end and
those of lithium_warmth are held by tests, as are sizing_f and testing_f. The other rows of battery were not judged again.
"""
import argparse
import contextlib
import io
import multiprocessing
import os
import re
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from itertools import zip_longest
from pathlib import Path
from typing import Any

from tests.benchmarks import (
    estimation_cases,
    estimation_scenes,
    fridge_scenes,
    house_scenes,
    join_scenes,
    starter_scenes,
    wear_scenes,
    wiring_scenes,
)

FACTORS = (1.33, 0.75)
#: A row is tried by itself on the life of its table or room, or several in this order; then in lots on all of them.
FIRST: dict[str, str | tuple[str, ...]] = {
         "agm": "drain-agm", "gel": "stuck-open-gel", "flooded": "stuck-closed-flooded", "lithium_iron": "lithium",
         "alternator": "smart-alternator", "wear": "weekends",
         "detection/wiring": "load-unseen", "detection/house": "frost", "detection/starter": "weak-starter",
         "detection/join": "engine-plain", "uncharged_run": "uncharged", "held_up": "sags", "path_resistance": "far apart",
         "alternator_control": "engine-smart", "join_faults": "long stuck", "usage": "lithium", "bypass": "bypass",
         "plausibility": "bypass", "voltage_level": "divider", "channel_state": "limit", "sunny_sensor": "sun", "closing": "steps",
         "plausibility_alerts": "steps", "crank": "traces", "crank_limits": "traces", "surface_decay": "stands", "drain": "stands",
         "drain_verdict": "stands", "starter": "stands", "starter_alerts": "stands",
         "lead_acid_life": "years", "lithium_life": "years", "life": "years",
         "life_use": "years", "verdict": "verdicts", "resistance_trend": "weeks", "resistance_weeks": "weeks",
         "rainflow_count": "steps of load", "fridge_effort": "boxes", "swings": "swung", "total_least_squares": "swung",
         "protection": "cut-offs", "heat": "borne", "frost": "borne", "house_alerts": "borne", "limit_alerts": "borne",
         "limit_texts": "borne", "deep_discharge": "borne",
         "lithium_cell": ("changes", "lithium on", "ends"), "rest_curves": ("changes", "lithium on", "ends"),
         "lithium_mixture": ("changes", "unexplained"), "lithium_step": ("descents", "ends", "lithium drawn", "lithium days"),
         "lithium_end_to_end": ("lithium drawn",), "estimation": ("changes", "lithium on", "ends"),
         "estimation/observations": ("changes", "lithium on", "ends", "lithium drawn"), "mixture": ("changes", "lithium drawn"),
         "window": ("changes", "cut-outs", "held low", "lithium on", "lithium silences"),
         "prior": ("changes", "lithium on", "lithium days"),
         "estimator": ("changes", "cut-outs", "unexplained", "ends", "lithium charged"), "lithium_charge": ("ends", "lithium days"),
         "charge_anchor": ("nearly empty", "after full", "lead charged", "lead drawn"),
         "charge_ends": ("lead drawn", "after full", "lead charged"),
         "charge_filter": ("nearly empty", "after full", "rarely met"), "charge": ("growths", "after full", "lead drawn"),
         "charge_report": ("growths", "after full", "rarely met", "lead days"), "charge_posterior": "growths",
         "swap_evidence": ("changed", "lead swaps"),
         "charge_window": ("jumps", "brief", "changed", "lead on", "lead rhythms"), "resistance_growth": ("growths", "lead days"),
         "charge_count": ("changed", "after full", "lead silences", "rarely met"), "charging_stage": ("lead charged", "after full"),
         "step_resistance": ("resistances", "changed", "lead rhythms"), "charge_alerts": ("changed", "lead labels"),
         "charge_suspicion": ("odd", "wired", "rarely met", "lead labels", "lithium labels")}
#: Of some rooms short lives of their trackers alone.
SCENES: dict[str, dict[str, Callable[[], Iterator[tuple[str, str]]]]] = {
    "detection/wiring": wiring_scenes.SCENES, "detection/starter": starter_scenes.SCENES, "detection/house": house_scenes.SCENES,
    "detection/join": join_scenes.SCENES, "wear": wear_scenes.SCENES, "usage": fridge_scenes.SCENES,
    **dict.fromkeys(("estimation", "estimation/observations", "battery"), estimation_cases.SCENES | estimation_scenes.SCENES)}
#: What a fresh process need not import anew, for it reads no row.
LIBRARIES = ["sqlalchemy.orm", "alembic.migration", "pydantic", "click", "rich.console", "tomlkit", "astral.sun", "drivers.vehicle"]
OTHERWISE = "drain-agm"
LOT = 12
#: Tables that no module of their room is named after -> where they are used.
USED_IN = {"lithium_step": (r"estimation\.observations", "graphite_step"), "lithium_warmth": ("wear", "capacity_test"),
           "lithium_end_to_end": (r"estimation\.observations", "end_to_end")}
#: Where the tests are that a row goes through which no life moves.
TESTS = [Path(__file__).parents[1] / folder for folder in ("monitor", "published")]


def scaled(value: Any, factor: float) -> Any:
    """A row's value times a factor: of a curve the second of every pair, the more the further along, so that level and shape change; of
    a pair of chemistries both; a count by one at the least.
    """
    if isinstance(value, dict):
        return {name: scaled(part, factor) for name, part in value.items()}
    if isinstance(value, list):
        along = [factor ** (k / max(len(value) - 1, 1)) for k in range(len(value))]
        return [[*part[:-1], scaled(part[-1], more)] if isinstance(part, list) else scaled(part, factor)
                for part, more in zip(value, along, strict=True)]
    if isinstance(value, float):
        return value * factor
    return max(round(value * factor), value + 1) if factor > 1.0 else max(min(round(value * factor), value - 1), 0)


def lives() -> dict[str, Any]:
    """The golden lives; one whose owner tells all there is to tell; small batteries without sun that are drawn to their knee, where
    alone the rate says anything; evenings near the reserve; and frost beside lithium, every morning and by a sudden front, which the
    evening's look at the cold is for.
    """
    from drivers.vehicle import BatteryPlan
    from monitor.battery.label import Battery, BoardSupply, NamedLoad
    from tests.golden import lives as golden

    cold = replace(golden.CAMPER, seed=431, day_of_year=20, swing_c=9.0, panel_w=60.0, absorption_v=14.2, float_v=13.5, house=BatteryPlan(
        "lfp", 100.0, 0.95, 0.5), sensor=replace(golden.CAMPER.sensor, with_ambient=True, with_solar=True))
    frosts = {"frost-lfp": golden._life("frost every morning", replace(cold, mean_temperature_c=2.0)), "front-lfp": golden._life(
        "a cold front", replace(cold, mean_temperature_c=8.0, heat_days=((2, 4, -17.0),))), "emptied-lfp": golden._life(
        "drawn to its end in the cold", replace(cold, mean_temperature_c=3.0, panel_w=5.0, drives=golden.CAMPER.drives[2:], cutout_v=9.0))}
    close = {"close-evenings": golden._life("evenings near the reserve, two dull spells", replace(
        golden.CAMPER, seed=432, days=9.0, panel_w=85.0, drives=golden._drives((5, 11.0, 50)), cloud_days=((2, 4, 0.3), (7, 8, 0.5)),
        house=BatteryPlan("agm", 95.0, 0.97, 0.9)))}
    plan = replace(golden.CAMPER, seed=433, cutout_v=11.9, cutin_v=12.6)
    told = {"told-all": golden._life("all that an owner can tell", plan, vehicle=replace(
        golden._owner(golden.CAMPER, bedtime_hour=22.0, isolator_follows="engine", charging="isolator",
                      board=BoardSupply("past_shunt", 0.3, 0.05), named_loads=(NamedLoad("fridge", 1, 4.0, 900.0),)),
        house=Battery("house", "agm", 105.0, 20.0, 14.4, 13.6, 0.2, 11.9, 0.004),
        starter=Battery("starter", "flooded", 72.0, acid_density_kg_l=1.28)))}
    return golden.lives() | frosts | close | told | {f"emptied-{kind}": golden._life("drawn to its knee", replace(
        golden.CAMPER, seed=430, days=4.5, panel_w=1.0, drives=(), house=BatteryPlan(kind, 60.0, 0.95, 1.0)))
        for kind in ("flooded", "agm", "gel")}


def rows(rooms: Sequence[str]) -> list[str]:
    """Places of all rows of some rooms' tables (of all: none named) that are knowledge, not definition; a factor changes no bare zero."""
    from monitor import parameters

    tables = dict(parameters.rooms())
    trackers = [room for room in tables if not room.startswith(("planning", "reporting"))]     # no life asks for a plan or a page
    return [f"{room}/parameters.toml, [{module}] {name}" for room in rooms or trackers
            for module, table in tables[room].items() for name, row in table.items()
            if not row.source.startswith("definition") and (row.value != 0.0 or row.sigma)]


def _with_rows(places: Sequence[str], factor: float) -> None:
    """Have the rooms, which read their rows as they are imported, read some of them multiplied."""
    from monitor import parameters

    plain = parameters._row

    def changed(place: str, fields: dict[str, Any], source: str) -> parameters.Row:
        name = "value" if fields["value"] != 0.0 else "sigma"      # of what is zero on the mean its spread is what is known
        return plain(place, fields | {name: scaled(fields[name], factor)} if place in places and name in fields else fields, source)

    parameters._row = changed
    parameters._room.cache_clear()


def _life(name: str) -> Iterator[tuple[str, str]]:
    from tests.golden import replays

    for scenes in SCENES.values():
        if name in scenes:
            return scenes[name]()
    return replays.of_starts() if name == replays.STARTS else replays.of_life(lives()[name])


def plain(name: str) -> list[tuple[str, str]]:
    """What a life's sheet holds with the tables as they are; in a fresh process."""
    return list(_life(name))


def first_moved(places: Sequence[str], factor: float, names: Sequence[str], before: dict[str, list[tuple[str, str]]]) -> str:
    """The first life and line that some rows move together, or the refusal of such a number, or nothing; in a fresh process.

    Parameters
    ----------
    places : rows, each as battery/parameters.toml, [agm] span_v
    factor : what their values are multiplied by
    names : lives
    before : their sheets without it
    """
    _with_rows(places, factor)
    try:
        for name in names:
            for old, new in zip_longest(before[name], _life(name)):
                if old != new:
                    return f"{name}: {(new or old)[1].strip()[:60]}"
    except Exception as refused:     # whatever such a number makes impossible; some of them do not come back from another process
        return f"refused: {refused}"
    return ""


@cache
def _tests() -> dict[Path, str]:
    """The lines of every quick test module that say what it imports."""
    from tests import conftest

    return {file: " ".join(re.findall(r"^from monitor[^(]*?\n|^from monitor.*?\)", file.read_text(encoding="utf-8"), re.M | re.S))
            for folder in TESTS for file in sorted(folder.glob("test_*.py"))
            if file.relative_to(conftest.ROOT).as_posix() not in conftest.SLOW}


def tests_of(place: str) -> list[str]:
    """The test modules that import the module of a row, or a name of it."""
    room, module = place.partition("/parameters")[0], place.partition("[")[2].partition("]")[0]
    room, module = USED_IN.get(module, (room.replace("/", r"\."), module))
    own = re.compile(rf"from monitor\.{room}(\.{module} import|[^\n]* import[^\n]*\b{module}\b)")
    return [str(file) for file, lines in _tests().items() if own.search(lines)]


def first_failed(place: str, factor: float, files: Sequence[str]) -> str:
    """The first of some tests that fails with a row multiplied, or nothing; in a fresh process.

    Parameters
    ----------
    place : the row, as battery/parameters.toml, [agm] span_v
    factor : what its value is multiplied by
    files : the test modules
    """
    import pytest

    class Failed:
        name = ""

        def pytest_runtest_logreport(self, report: Any) -> None:
            """A test went wrong, or what it needs."""
            self.name = self.name or (report.nodeid.rpartition("/")[2] if report.failed else "")

        def pytest_collectreport(self, report: Any) -> None:
            """A module could not even be imported."""
            self.name = self.name or (f"refused: {report.nodeid}" if report.failed else "")

    failed = Failed()
    _with_rows([place], factor)
    with contextlib.redirect_stdout(io.StringIO()):
        pytest.main([*files, "-x", "-q", "-n", "0", "-p", "no:schemathesis", "-p", "no:cacheprovider",
                     "-m", "not slow and not browser and not board"], plugins=[failed])
    return failed.name


def _first(place: str, names: Any) -> list[str]:
    """The lives that a row most likely moves, of those that are lived."""
    room, module = place.partition("/parameters")[0], place.partition("[")[2].partition("]")[0]
    for asked in (FIRST.get(module, ()), FIRST.get(room, ()), OTHERWISE, *names):
        lived = [name for name in ((asked,) if isinstance(asked, str) else asked) if name in names]
        if lived:
            return lived
    return []


def _short(place: str) -> str:
    return place.replace("/parameters.toml, [", " ").replace("] ", ".")


class Fresh(ThreadPoolExecutor):
    """Runs each job in a process of its own, which has read no row yet. A pool with one task a child comes to a halt in Python 3.11."""

    server = multiprocessing.get_context("forkserver")

    def __init__(self, workers: int) -> None:
        super().__init__(workers)
        self.server.set_forkserver_preload(LIBRARIES)

    def submit(self, job: Callable[..., Any], *given: Any) -> Future[Any]:    # type: ignore[override]
        """The answer of job(*given), to come."""
        return super().submit(self._run, job, given)

    def _run(self, job: Callable[..., Any], given: tuple[Any, ...]) -> Any:
        here, there = self.server.Pipe(duplex=False)
        process = self.server.Process(target=_answer, args=(there, job, given))
        process.start()
        there.close()
        try:
            return here.recv()
        finally:
            process.join()


def _answer(there: Any, job: Callable[..., Any], given: tuple[Any, ...]) -> None:
    there.send(job(*given))


#: Rows that are multiplied together, and the lives that they go through.
Lot = tuple[list[str], list[str]]


def _tried(fresh: Fresh, lots: Sequence[Lot], factor: float, before: dict[str, Any]) -> Iterator[tuple[Lot, str]]:
    """Every lot with what it moves, as they come; of a lot of one row that is printed."""
    jobs = [(lot, fresh.submit(first_moved, lot[0], factor, lot[1], {name: before[name] for name in lot[1]})) for lot in lots]
    for lot, job in jobs:
        words = job.result()
        if words and len(lot[0]) == 1:
            print(f"{_short(lot[0][0]):72} {factor:4}  {words}", flush=True)
        yield lot, words


def quiet_rows(fresh: Fresh, left: list[str], factor: float, before: dict[str, Any]) -> list[str]:
    """The rows that move nothing with a factor: each by itself on one life, then in lots on all the others, halved where a lot moves."""
    alone = _tried(fresh, [([row], _first(row, before)) for row in left], factor, before)
    left = [row for ([row], _), words in alone if not words]
    quiet: list[str] = []
    lots = [(left[k:k + LOT], list(before)) for k in range(0, len(left), LOT)]
    while lots:
        halves = []
        for (several, names), words in _tried(fresh, lots, factor, before):
            half, moved = len(several) // 2, words.partition(":")[0]
            if not words:
                quiet += several
            elif half:      # what lies before the life that moved is passed: none of them moves that
                names = names[names.index(moved):] if moved in names else names
                halves += [(several[:half], names), (several[half:], names)]
        lots = halves
    return quiet


def untested_rows(fresh: Fresh, left: list[str], factor: float) -> list[str]:
    """The rows with which no test of their module fails: each by itself."""
    files = {row: tests_of(row) for row in left}
    jobs = [(row, fresh.submit(first_failed, row, factor, files[row])) for row in left if files[row]]
    quiet = [row for row in left if not files[row]]
    for row, job in jobs:
        words = job.result()
        if words:
            print(f"{_short(row):72} {factor:4}  {words}", flush=True)
        else:
            quiet.append(row)
    return quiet


def main(arguments: list[str]) -> None:
    """Print one line for each row that moves something, and after each room the rows that move nothing."""
    options = argparse.ArgumentParser()
    options.add_argument("rows", nargs="*")
    options.add_argument("--rooms", default="")
    options.add_argument("--lives", default="")
    options.add_argument("--tests", action=argparse.BooleanOptionalAction, default=True)
    options.add_argument("--workers", type=int, default=2)
    asked = options.parse_args(arguments)
    tables: dict[str, list[str]] = {}
    for place in rows([room for room in asked.rooms.split(",") if room]):
        if not asked.rows or any(word in _short(place) for word in asked.rows):
            tables.setdefault(place.partition("/parameters")[0], []).append(place)
    with tempfile.TemporaryDirectory() as folder, Fresh(asked.workers) as fresh:
        os.environ[join_scenes.KEPT] = folder
        names = [] if asked.lives == "none" else asked.lives.split(",") if asked.lives else [*lives(), "crank"]
        whole = {name: job.result() for name, job in [(name, fresh.submit(plain, name)) for name in names]}
        for room, places in tables.items():
            left, scenes = places, SCENES.get(room, ())
            before = {name: job.result() for name, job in [(name, fresh.submit(plain, name)) for name in scenes]} | whole
            for factor in FACTORS if before else ():
                left = quiet_rows(fresh, left, factor, before)
            for factor in FACTORS if asked.tests else ():
                left = untested_rows(fresh, left, factor)
            print(f"{room}: {len(places) - len(left)} of {len(places)} rows move something; nothing moves with:",
                  *map(_short, sorted(left)), sep="\n    ", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
