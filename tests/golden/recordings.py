"""The recordings as golden replays: most of them through every row, the long ones thinned."""
import csv
import gzip
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from monitor.battery.label import Vehicle
from monitor.config import load
from monitor.sample import Sample
from tests.reference import RECORDINGS, vehicle_toml

#: Drives of which one row in four is read (2 minutes), and half-years of which one in two is (4 minutes), and only
#: three days of each week, as if the monitor were switched off between trips: all rows would take minutes.
THIN = ("agm-aged", "cloudy-flat", "isolator-stuck-open", "starter-drain-150ma", "starter-drain-500ma",
        "starter-drain-60ma", "starter-healthy")
#: name -> days read
HALF_YEARS = {"fade-26-weeks": 126.0, "fade-26-weeks-sound": 70.0}
#: Resting seconds before a start's trace, and seconds after it.
BEFORE_S, AFTER_S = 600, 300


@dataclass(frozen=True, slots=True)
class Drive:
    """A recorded drive: the owner's labels, and the rows that are read."""

    about: str
    vehicle: Vehicle
    folder: Path
    every: int = 1
    days: float | None = None   # of a half-year; None: all days, and every day of the week

    def write(self, out: Path) -> Path:
        """The rows that are read, as a recording of their own."""
        path = out / f"{self.folder.name}.csv"
        with gzip.open(self.folder / "readings.csv.gz", "rt") as rows, open(path, "w", encoding="utf-8") as kept:
            kept.write(next(rows))
            for k, row in enumerate(rows, 1):
                day = float(row.partition(",")[0]) / 86400.0
                if self.days is not None and day > self.days:
                    break
                if k % self.every == 0 and (self.days is None or day % 7.0 >= 4.0):
                    kept.write(row)
        return path


def owner(folder: Path) -> Vehicle:
    """The vehicle as the labels of a recording's folder describe it."""
    with tempfile.TemporaryDirectory() as out:
        path = Path(out) / "vehicle.toml"
        path.write_text(vehicle_toml(folder))
        return load.load(path, need_sources=False).vehicle


def drives() -> dict[str, Path]:
    """All recorded drives by name."""
    return {folder.name: folder for folder in sorted(RECORDINGS.iterdir()) if (folder / "readings.csv.gz").exists()}


def drive(name: str) -> Drive:
    """One recorded drive."""
    folder = drives()[name]
    scenario = tomllib.loads((folder / "scenario.toml").read_text())
    about = f"recorded drive ({scenario['chemistry']})"
    if name in HALF_YEARS:
        days = HALF_YEARS[name]
        return Drive(f"{about}, {days:.0f} days, three of each week, a row each 4 minutes", owner(folder), folder, 2, days)
    if name in THIN:
        return Drive(f"{about}, a row each 2 minutes", owner(folder), folder, 4)
    return Drive(f"{about}, all rows", owner(folder), folder)


def starts() -> Iterator[tuple[str, list[Sample]]]:
    """Every recorded start of an engine: rest, the fast trace, and what came after it."""
    folder = RECORDINGS / "crank"
    for path in sorted(folder.glob("crank-*.csv.gz")):
        with gzip.open(path, "rt") as file:
            trace = tuple((float(row["t_s"]), float(row["starter_v"])) for row in csv.DictReader(file))
        first_v, last_v = trace[0][1], trace[-1][1]
        samples = [Sample(float(k), 12.7, -0.5, first_v, 15.0) for k in range(10, BEFORE_S, 10)]
        samples.append(Sample(float(BEFORE_S + 20), 12.7, -0.5, last_v, 15.0, fast_starter=trace))
        samples += [Sample(float(k), 12.7, -0.5, last_v, 15.0) for k in range(BEFORE_S + 30, BEFORE_S + AFTER_S, 10)]
        yield path.name.partition(".")[0], samples
