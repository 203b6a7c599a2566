"""Migrating, salvaging, restoring and learning again, cut off by a power cut at any operation of theirs: the next start ends well."""
from pathlib import Path

import pytest

from tests.crash import errands, file_layer

#: power cuts of each errand; `bench_faults errands` tries hundreds
CUTS = {"migrate": 4, "salvage": 4, "restore": 4, "relearn": 2}


@pytest.fixture(scope="module")
def layer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    built = file_layer.build(tmp_path_factory.mktemp("layer"))
    if built is None:
        pytest.skip("needs a C compiler (cc)")
    return built


@pytest.mark.parametrize(("errand", "shape"), [("migrate", "0001"), ("migrate", "0002"), ("salvage", ""), ("restore", ""), ("relearn", "")])
def test_an_errand_that_is_cut_off_at_any_operation_ends_well_after_the_next_start(layer: Path, tmp_path: Path, errand: str,
                                                                                    shape: str) -> None:
    assert errands.cut_off(layer, tmp_path, errand, shape, CUTS[errand]) == []
