"""Finding drivers by name: ours, those of other packages, and those that are not there."""
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from drivers import DRIVERS, driver_class
from drivers.errors import DriverUnavailable

EXTRAS = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]["optional-dependencies"]
GOOD = """
from drivers.channels import Measures, Options
from drivers.reading import Reading

class TheirOptions(Options):
    measures: Measures

class TheirDriver:
    Options = TheirOptions
    def __init__(self, options): ...
    def read(self): return Reading({"house_voltage_v": 12.6})
    def close(self): ...

class Lacking:
    Options = TheirOptions
    def close(self): ...
"""


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A package of somebody else's, laid out as an installer leaves it."""
    (tmp_path / "their_shunt_7.py").write_text(GOOD)
    (tmp_path / "their_broken_7.py").write_text("import a_library_that_is_not_there_7\n")
    info = tmp_path / "their_shunt-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: their-shunt\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(
        "[ampledger.drivers]\ntheirs = their_shunt_7:TheirDriver\nlacking = their_shunt_7:Lacking\n"
        "broken = their_broken_7:Driver\nhwmon = their_shunt_7:TheirDriver\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    return tmp_path


def test_a_driver_of_another_package_is_found_and_reads(package: Path) -> None:
    cls = driver_class("theirs")
    driver = cls(cls.Options.model_validate({"measures": {"house_voltage_v": "x"}}))
    assert driver.read().values == {"house_voltage_v": 12.6}


def test_our_own_names_cannot_be_taken(package: Path) -> None:
    assert driver_class("hwmon").__module__ == "drivers.hwmon"


@pytest.mark.parametrize(("name", "words"), [
    ("lacking", "their-shunt lacks read"), ("broken", "their-shunt cannot be imported.*a_library_that_is_not_there_7"),
    ("tehirs", "no driver called 'tehirs'; choose one of .*theirs")])
def test_what_is_wrong_with_a_foreign_driver_is_said(package: Path, name: str, words: str) -> None:
    with pytest.raises(DriverUnavailable, match=words):
        driver_class(name)


@pytest.mark.parametrize("name", sorted(DRIVERS))
def test_every_option_of_every_driver_is_in_its_section_of_the_documents(name: str) -> None:
    page = (Path(__file__).parents[2] / "docs/drivers.md").read_text()
    section = page.partition(f"\n## {name}\n")[2].partition("\n## ")[0]
    assert section, f"docs/drivers.md has no section {name}"
    if name == "simulated":
        return  # it has a page of its own
    missing = [option for option in driver_class(name).Options.model_fields if f"`{option}`" not in section]
    assert not missing, f"not in the section {name}: {missing}"


HARDWARE = {"serial": "serial", "modbus": "pymodbus", "i2c": "smbus2", "can_rvc": "can", "gpio": "gpiod", "mqtt": "paho"}


def test_no_hardware_library_is_imported_until_it_is_configured() -> None:
    code = f"import sys, drivers, drivers.hwmon, drivers.iio, drivers.w1, drivers.recorded; " \
           f"print([m for m in {sorted(HARDWARE.values())} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(("name", "library"), sorted(HARDWARE.items()))
def test_a_missing_library_is_named_with_the_extra_that_brings_it(name: str, library: str) -> None:
    """In a process where importing the library fails as if it were not installed."""
    code = (f"import sys\nclass Gone:\n    def find_spec(self, name, path=None, target=None):\n"
            f"        if name.partition('.')[0] == {library!r}: raise ModuleNotFoundError('no', name=name)\n"
            f"sys.meta_path.insert(0, Gone())\nfrom drivers import driver_class\nfrom drivers.errors import DriverUnavailable\n"
            f"try:\n    driver_class({name!r})\nexcept DriverUnavailable as error:\n    print(error)\n")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert library in done.stdout and f"{sys.executable} -m pip install " in done.stdout
    # the command names every part of the extra as pyproject.toml does
    asked = {Requirement(word) for word in shlex.split(done.stdout.partition("pip install ")[2])}
    assert asked == {Requirement(text) for text in EXTRAS[DRIVERS[name][2] or ""]}
