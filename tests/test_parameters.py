"""Numbers have homes: every row has a source and a user, and no pure room keeps constants of its own."""
import ast
import re
from pathlib import Path

import pytest

from monitor import parameters
from tests.test_layout import PURE, ROOT

ROWS = [(room, module, name, row) for room, modules in parameters.rooms() for module, rows in modules.items() for name, row in rows.items()]

#: Names of module-level numbers that are definitions, not knowledge: lengths of a day or a slot, indices, mathematics.
DEFINITIONS = {"DAY_S", "WEEK_S", "SLOT_S", "DAY_SLOTS", "BINS", "NOON", "STEP_H", "Z95", "_GOLDEN", "BLOCK_S", "FAN_STEPS", "STATES",
               "SURFACE", "YEAR_H", "REFERENCE_C", "COMPENSATED_K", "CELL_CONSTANT_V", "DEPTH", "CHARGE", "NAMES", "_ROOT3", "MONTH_DAYS",
               "MONTH_STARTS", "SLOT_H", "HOUR_S", "WAVE"}

#: Rooms whose rows several modules take -> where they may stand.
SHARED = {"battery": "monitor", "planning": "monitor/planning"}


def _sources(room: str, module: str) -> list[Path]:
    """The files that may use a row: its own module; what several rooms share, any of monitor/; what several plans share, any of theirs."""
    if room in SHARED:
        return sorted((ROOT / SHARED[room]).rglob("*.py"))
    return [ROOT / "monitor" / room / f"{module}.py"]


@pytest.mark.parametrize(("room", "module"), sorted({(room, module) for room, module, _, _ in ROWS}))
def test_every_row_is_used(room: str, module: str) -> None:
    text = "\n".join(path.read_text() for path in _sources(room, module))
    unused = [name for r, m, name, _ in ROWS if (r, m) == (room, module) and f'"{name}"' not in text]
    assert not unused, f"monitor/{room}/parameters.toml, [{module}]: nothing uses {unused}"


def test_every_row_has_a_unit_a_source_and_a_meaning() -> None:
    bare = [f"{room} [{module}] {name}" for room, module, name, row in ROWS if not (row.unit and row.source and len(row.meaning) > 8)]
    assert not bare


@pytest.mark.parametrize("folder", sorted({*PURE} - {"monitor/circuits"}))   # its tables are in its data/, with a source each
def test_no_module_keeps_a_constant_of_its_own(folder: str) -> None:
    """A number at the head of a module belongs into the room's parameters.toml, with its source."""
    found = []
    for path in (ROOT / folder).rglob("*.py"):
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, (ast.Assign, ast.AnnAssign)) and node.value is not None:
                targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                names = {n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name)}
                numbers = [n.value for n in ast.walk(node.value) if isinstance(n, ast.Constant)
                           and isinstance(n.value, (int, float)) and not isinstance(n.value, bool) and n.value not in (0, 1, 2)]
                calls = any(isinstance(n, ast.Attribute) and isinstance(n.value, ast.Name) and n.value.id.isupper()
                            for n in ast.walk(node.value))
                if numbers and not calls and not names & DEFINITIONS and not any(re.fullmatch(r"[a-z_]+", n) for n in names):
                    found.append(f"{path.relative_to(ROOT)}: {sorted(names)} = {numbers[:5]}")
    assert not found, "\n".join(found)


#: Room of trackers -> so many numbers may stand in its expressions, besides those in its table. Who moves one into the table lowers it.
NUMBERS = {"detection": 54, "usage": 15, "forecast": 21, "wear": 35, "estimation": 29}
#: Not counted: none, one, two, a half, and what hours, days, minutes, per cent and thousandths are made of.
PLAIN = {0, 1, 2, 0.5, 24, 60, 100, 1000, 3600, 86400}


@pytest.mark.parametrize("room", NUMBERS)
def test_numbers_leave_the_expressions(room: str) -> None:
    found = [node.value for path in (ROOT / "monitor" / room).rglob("*.py") for node in ast.walk(ast.parse(path.read_text()))
             if isinstance(node, ast.Constant) and type(node.value) in (int, float) and node.value not in PLAIN]
    assert len(found) <= NUMBERS[room], "another number in an expression: give it a row in the room's parameters.toml"


def test_all_rooms_together_keep_no_more_than_a_hundred_and_sixty() -> None:
    assert sum(NUMBERS.values()) <= 160


#: Rooms that are not pure keep their choices at the head of the module, each with the reason beside it.
IMPURE = ("process", "alerts", "store", "sampling", "clocks", "logbook", "commissioning")
#: Units of time and the like, which need no reason.
UNITS_OF = {"DAY_S", "HOUR_S", "MINUTE_S", "QUARTER_S", "DAY_MS", "HOUR_MS", "SLOT_H", "AMPERE_UNITS", "DEGREE_UNITS"}


@pytest.mark.parametrize("room", IMPURE)
def test_a_choice_says_why(room: str) -> None:
    """A number at the head of a module has a comment above or beside it."""
    bare = []
    for path in sorted((ROOT / "monitor" / room).rglob("*.py")):
        lines = path.read_text().split("\n")
        for node in ast.parse("\n".join(lines)).body:
            if not isinstance(node, (ast.Assign, ast.AnnAssign)) or node.value is None:
                continue
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names = {n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name)}
            numbers = [n for n in ast.walk(node.value)
                       if isinstance(n, ast.Constant) and type(n.value) in (int, float) and n.value not in (0, 1, 2)]
            said = lines[node.lineno - 2].lstrip().startswith("#") or any("#" in line for line in lines[node.lineno - 1:node.end_lineno])
            if numbers and not said and not names & UNITS_OF and all(n.isupper() for n in names):
                bare.append(f"{path.relative_to(ROOT)}:{node.lineno} {sorted(names)}")
    assert not bare, "\n".join(bare)


def test_a_name_of_the_benchmark_s_scenes_is_one_scene() -> None:
    """`bench_parameters` asks for them by name: of two alike one would never be lived."""
    from tests.benchmarks.bench_parameters import SCENES

    named: dict[str, set[object]] = {}
    for scenes in SCENES.values():
        for name, scene in scenes.items():
            named.setdefault(name, set()).add(scene)
    assert len(named) > 60 and not [name for name, alike in named.items() if len(alike) > 1]
