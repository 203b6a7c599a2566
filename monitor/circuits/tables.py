"""The published tables of this room, read from data/*.toml; each names its source there."""
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Any


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((files("monitor.circuits") / "data" / name).read_text(encoding="utf-8"))


CONDUCTORS = _read("conductors.toml")
FUSES = _read("fuses.toml")
BATTERIES = _read("batteries.toml")
VENTILATION = _read("ventilation.toml")
RELAYS = _read("relays.toml")

#: Columns of the ampacity table by the temperature printed on the insulation [°C].
CLASSES_C = (60, 75, 80, 90, 105, 125)
#: Air that the ampacity table is for [°C].
TABLE_AMBIENT_C = 30.0
#: One US circular mil [mm2], and a foot [m].
CIRCULAR_MIL_MM2 = 5.067075e-4
FOOT_M = 0.3048


@dataclass(frozen=True, slots=True)
class Size:
    """One standard size of copper conductor.

    name : as it is sold, "16 mm²" or "6 AWG"
    area_mm2 : cross-section [mm²]
    ohm_per_m : resistance of one metre at 20 °C [ohm]
    ampacity_a : allowable current in free air of 30 °C by class of insulation, as CLASSES_C [A]
    """

    name: str
    series: str
    area_mm2: float
    ohm_per_m: float
    ampacity_a: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class FuseClass:
    """One kind of fuse-link by its standard; see data/fuses.toml for the meaning of each figure."""

    name: str
    source: str
    ratings_a: tuple[float, ...]
    breaking_a: float
    carries_ratio: float
    blows_ratio: float
    fast: tuple[tuple[float, float], ...]


def _ampacity(row: int) -> tuple[float, ...]:
    return tuple(float(CONDUCTORS["ampacity"][f"class_{c}"][row]) for c in CLASSES_C)


def _metric(kind: str) -> tuple[Size, ...]:
    areas = CONDUCTORS["ampacity"]["area_mm2"]
    return tuple(Size(f"{area:g} mm²", "metric", area, ohm / 1000,
                      _ampacity(max(row for row, other in enumerate(areas) if other <= area)))
                 for area, ohm in zip(CONDUCTORS["metric"]["sizes_mm2"], CONDUCTORS["metric"][f"{kind}_ohm_per_km"], strict=True))


def _american() -> tuple[Size, ...]:
    table = CONDUCTORS["american"]
    constant = table["ohm_circular_mil_per_ft"]
    return tuple(Size(f"{gauge} AWG", "american", mil * CIRCULAR_MIL_MM2, constant / mil / FOOT_M,
                      _ampacity(CONDUCTORS["ampacity"]["gauges"].index(gauge)))
                 for gauge, mil in zip(table["gauges"], table["circular_mil"], strict=True))


#: series -> its sizes, thin to thick. "metric" is plain copper, "tinned" the same sizes tinned.
SIZES: dict[str, tuple[Size, ...]] = {"metric": _metric("plain"), "tinned": _metric("tinned"), "american": _american()}
FUSE_CLASSES = tuple(FuseClass(
    c["name"], c["source"], tuple(float(a) for a in c["ratings_a"]), float(c["breaking_a"]), float(c["carries_ratio"]),
    float(c["blows_ratio"]), tuple((float(r), float(s)) for r, s in c["fast"])) for c in FUSES["class"])
