"""A card that fails, tears and reorders: power cuts at any operation of a real process's writes, and operations that fail."""
import errno
import random
import shutil
from pathlib import Path

import pytest

from tests.crash import file_layer, written
from tests.monitor.test_store_outages import compare

PARTS, SEED = 28, 4  # three days and a half, of which one is sealed
CUTS, FAILURES = 30, 8


@pytest.fixture(scope="module")
def layer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    built = file_layer.build(tmp_path_factory.mktemp("layer"))
    if built is None:
        pytest.skip("needs a C compiler (cc)")
    return built


@pytest.fixture(scope="module")
def traced(layer: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[file_layer.Operation]]:
    top = tmp_path_factory.mktemp("traced")
    (top / "card").mkdir()
    ran = file_layer.run(layer, ["tests.crash.written", str(top / "card"), str(PARTS), str(SEED)], top / "card", trace=top / "trace")
    assert ran.returncode == 0, ran.stderr
    return top / "card", file_layer.read_trace(top / "trace")


def test_a_power_cut_at_any_operation_loses_nothing_that_was_called_safe_and_changes_nothing(
        traced: tuple[Path, list[file_layer.Operation]], tmp_path: Path) -> None:
    folder, operations = traced
    chance = random.Random(1)
    life = written.life_of(SEED)
    for _ in life.live(PARTS * written.MINUTES):
        pass
    assert any(operation.kind == "R" and "books" in operation.path for operation in operations), "nothing was sealed"
    moments = sorted(chance.sample(range(len(operations)), CUTS))
    card, safe_ms = file_layer.Card(), 0
    for number, operation in enumerate(operations):
        if operation.path == str(folder / "safe"):
            safe_ms = int(operation.data)
            continue
        card.take(operation)
        if number in moments:
            card.cut(folder, tmp_path / "after", chance)
            written.judge(life, tmp_path / "after" / "ampledger.db", safe_ms, f"cut at operation {number}")


@pytest.mark.parametrize("number", range(FAILURES))
def test_operations_that_fail_cost_no_row_and_double_none(layer: Path, tmp_path: Path, number: int) -> None:
    chance = random.Random(number)
    card = tmp_path / "card"
    card.mkdir()
    error = chance.choice((errno.EIO, errno.ENOSPC, errno.EROFS))
    ran = file_layer.run(layer, ["tests.crash.written", str(card), str(PARTS), str(SEED)], card, fail_at=chance.randrange(3, 900),
                         count=chance.choice((1, 1, 1, 2, 5, 20)), error=error)
    assert ran.returncode == 0, ran.stderr
    life = written.life_of(SEED)
    for _ in life.live(PARTS * written.MINUTES):
        pass
    compare(life, card / "ampledger.db")
    assert not list(card.glob("*damaged*"))
    shutil.rmtree(card)
