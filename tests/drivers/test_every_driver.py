"""One set of promises, asked of every driver against a real counterpart."""
from pathlib import Path

import pytest

from drivers import DRIVERS
from drivers.testing import DriverPromises
from tests.drivers.counterparts import COUNTERPARTS


@pytest.mark.parametrize("name", sorted(COUNTERPARTS))
class TestEveryDriver(DriverPromises):
    """The suite in drivers/testing.py, driver by driver."""

    @pytest.fixture
    def counterpart(self, name: str, tmp_path: Path):
        made = COUNTERPARTS[name](tmp_path)
        yield made
        getattr(made, "close", lambda: None)()


def test_every_driver_has_a_counterpart() -> None:
    """The simulated vehicle is its own counterpart; its tests are in test_vehicle.py."""
    assert set(DRIVERS) - {"simulated"} == {name.partition(" ")[0] for name in COUNTERPARTS}
