"""The house rules that a machine can keep: arrows, sizes, names."""
import ast
import re
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SOURCES = sorted(p for folder in ("drivers", "monitor", "dashboard") for p in (ROOT / folder).rglob("*.py"))

#: What every pure room may import besides what MAY_IMPORT names: the types that are handed on, and what a battery is.
PUBLISHED = ["monitor.sample", "monitor.findings", "monitor.posterior", "monitor.battery", "monitor.parameters", "monitor.replacing"]
#: What everything above the trackers may import: the trackers, the log's rows, the alerts' rules, the guides' text.
BELOW = ["monitor.pipeline", "monitor.dependence", "monitor.detection", "monitor.estimation", "monitor.usage", "monitor.forecast",
         "monitor.wear", "monitor.store", "monitor.alerts", "monitor.guides", *PUBLISHED]
#: Rooms of pure computation: no clock, file, socket or chance of their own.
PURE = ["monitor/battery", "monitor/estimation", "monitor/detection", "monitor/usage", "monitor/forecast", "monitor/wear",
        "monitor/circuits", "monitor/planning"]
#: In those rooms: what asks the clock or the calendar, for it reads the log of a vehicle.
READS_THE_LOG = [ROOT / "monitor" / "planning" / name for name in ("logged_life.py", "logged_climate.py")]

#: folder -> what of ours its files may import (the longest folder that fits counts)
MAY_IMPORT = {
    "drivers": ["drivers"],
    "monitor": ["monitor", "drivers"],
    "monitor/battery": ["monitor.battery", "monitor.parameters"],
    "monitor/usage": ["monitor.usage", *PUBLISHED],
    "monitor/estimation": ["monitor.estimation", "monitor.usage", *PUBLISHED],
    "monitor/detection": [*PUBLISHED],
    "monitor/detection/house": ["monitor.detection.house", "monitor.detection.temperature_trend", *PUBLISHED],
    "monitor/detection/join": ["monitor.detection.join", *PUBLISHED],
    "monitor/detection/starter": ["monitor.detection.starter", "monitor.detection.temperature_trend", *PUBLISHED],
    "monitor/detection/wiring": ["monitor.detection.wiring", *PUBLISHED],
    "monitor/forecast": ["monitor.forecast", "monitor.usage", *PUBLISHED],
    "monitor/wear": ["monitor.wear", "monitor.estimation", "monitor.usage", *PUBLISHED],
    "monitor/circuits": ["monitor.circuits", *PUBLISHED],
    "monitor/config": ["monitor.config", "monitor.circuits", "monitor.guides", "monitor.battery", "drivers"],
    # upwards: what becomes rows, what is worked out from them, the words for both, the processes; the fleet and the commands above all
    "monitor/logbook": ["monitor.logbook", *BELOW],
    "monitor/planning": ["monitor.planning", "monitor.logbook", "monitor.circuits", *BELOW],
    "monitor/reporting": ["monitor.reporting", "monitor.planning", "monitor.logbook", "monitor.circuits", *BELOW],
    "monitor/process": ["monitor.process", "monitor.reporting", "monitor.planning", "monitor.logbook", "monitor.circuits", "monitor.config",
                        "monitor.commissioning", "monitor.sampling", "monitor.clocks", "drivers", *BELOW],
    "monitor/store": ["monitor.store", "monitor.sample", "monitor.findings"],    # rows, not trackers, plans or alerts
    "dashboard/fleet": ["dashboard", "monitor"],      # the collector's site; never on a board
    "dashboard": ["dashboard", "monitor.logbook.reader", "monitor.logbook.live_readings", "monitor.store.requests", "monitor.store.answers",
                  "monitor.store.all_or_nothing", "monitor.findings",
                  "monitor.reporting", "monitor.pipeline", "monitor.battery", "monitor.usage", "monitor.wear", "monitor.sample",
                  "monitor.commissioning.shared_folder", "monitor.commissioning.steps", "monitor.documents", "monitor.planning",
                  "monitor.circuits", "monitor.guides"],
}

SUFFIXES = ("_v", "_a", "_ah", "_wh", "_w", "_ohm", "_c", "_s", "_h", "_frac", "_pct", "_deg", "_hz", "_m", "_mm2",
            "_hour", "_hours", "_days", "_day", "_k", "_per_k", "_per_day", "_per_s", "_hpa", "_mbar", "_ratio", "_count", "_kg_l")
#: names of things that have no unit: ratios, gains, weights, exponents, probabilities
UNITLESS = ("value", "low", "high", "gain", "hour", "ignition_on", "probability_before_sun",
            "probability_cloudy_tomorrow", "probability_fridge_stops")


@cache
def _module(path: Path) -> tuple[frozenset[str], str]:
    """What of ours a file imports, and its docstring. Trees are not kept: half a million nodes slow every collection of garbage."""
    names: set[str] = set()
    tree = ast.parse(path.read_text())
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level:
            names.add("a relative import")
    ours = frozenset(n for n in names if n.partition(".")[0] in ("drivers", "monitor", "dashboard", "a relative import"))
    return ours, ast.get_docstring(tree) or ""


def _rule(path: Path) -> list[str]:
    place = path.relative_to(ROOT).as_posix()
    return MAY_IMPORT[max((f for f in MAY_IMPORT if place.startswith(f + "/")), key=len)]


def test_imports_point_one_way() -> None:
    """One test over all files: a thousand of one file each cost more than what they look at."""
    wrong = {path.relative_to(ROOT).as_posix(): f"may not import {names}; it may import {_rule(path)}" for path in SOURCES
             if (names := [n for n in _module(path)[0] if not any(n == r or n.startswith(r + ".") for r in _rule(path))])}
    assert not wrong, "\n".join(f"{place} {what}" for place, what in wrong.items())


def _needed(names: frozenset[str], modules: dict[str, Path]) -> set[str]:
    """The modules behind imported names: a module itself, or the one that a name stands in."""
    return {name if name in modules else name.rpartition(".")[0] for name in names} & modules.keys()


def test_no_imports_run_in_a_circle() -> None:
    """Those inside functions count too: a module can be read, moved and tested without what rests on it."""
    modules = {".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path for path in SOURCES}
    needs = {name: _needed(_module(path)[0], modules) - {name} for name, path in modules.items()}
    assert needs["monitor.pipeline"] > {"monitor.findings"}
    try:
        TopologicalSorter(needs).prepare()
    except CycleError as circle:
        pytest.fail(" imports ".join(reversed(circle.args[1])), pytrace=False)


def test_a_file_is_one_idea_of_at_most_400_lines() -> None:
    assert len(SOURCES) > 400
    long = {path.relative_to(ROOT).as_posix(): lines for path in SOURCES if (lines := path.read_text().count("\n")) > 400}
    assert not long
    silent = [path.relative_to(ROOT).as_posix() for path in SOURCES if not _module(path)[1]]
    assert not silent, "the first line says what the file is"


@pytest.mark.parametrize("folder", PURE)
def test_computation_touches_no_clock_file_or_chance(folder: str) -> None:
    """Trackers get time with the minute; only a seeded random.Random may be used."""
    forbidden = {"time", "datetime", "os", "pathlib", "socket", "logging", "sqlite3", "sqlalchemy", "secrets"}
    for path in sorted({*(ROOT / folder).rglob("*.py")} - {*READS_THE_LOG}):
        tree = ast.parse(path.read_text())
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                assert not forbidden & {a.name.partition(".")[0] for a in node.names}, path
            elif isinstance(node, ast.ImportFrom):
                assert (node.module or "").partition(".")[0] not in forbidden, path
                if node.module == "random":
                    assert [a.name for a in node.names] == ["Random"], path


#: One word that only says what was done to something; irregular ones are those that were found here, and their like.
PARTICIPLE = re.compile("_?([a-z]+ed|told|known|seen|led|kept|held|left|grown|gone|begun|found|shown|taken|given|met|said|made|written|"
                        "drawn|worn|lost|sent|heard|spent|meant|brought|chosen|driven|hidden)")
#: Names of that form that stay.
STAY = {
    "rounded": "it gives a copy, as Python's own `sorted`",
    "batched": "so itertools calls it, from Python 3.12 on",
    "_feed": "a verb as it stands",
    "_need": "a noun: what a vehicle needs",
}
#: What is read like a field, or named by the command or the address that leads to it.
NAMED_OTHERWISE = re.compile(r"(\w+\.)?(cached_)?property|\w+\.(command|group|get|post)\(.*", re.S)


@pytest.mark.parametrize("package", ["monitor", "drivers", "dashboard"])
def test_a_function_is_named_by_a_verb_or_by_what_it_gives(package: str) -> None:
    """Not by a bare participle, of which nobody can say what calling it does."""
    names = [(path, node.name, [ast.unparse(decorator) for decorator in node.decorator_list])
             for path in SOURCES if path.is_relative_to(ROOT / package) for node in ast.walk(ast.parse(path.read_text()))
             if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    assert len(names) > 200
    found = [f"{path.relative_to(ROOT)}: {name}" for path, name, decorators in names if PARTICIPLE.fullmatch(name)
             and name not in STAY and not any(NAMED_OTHERWISE.fullmatch(decorator) for decorator in decorators)]
    assert not found


@pytest.mark.parametrize("name", ["battery/label", "sample", "findings"])
def test_every_quantity_ends_in_its_unit(name: str) -> None:
    tree = ast.parse((ROOT / "monitor" / f"{name}.py").read_text())
    for node in ast.walk(tree):
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            kind = ast.unparse(node.annotation)
            if kind.partition(" |")[0] in ("float", "Answer"):
                field = node.target.id
                assert field.endswith(SUFFIXES) or field in UNITLESS, f"{name}.py: {field}"
