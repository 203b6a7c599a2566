"""Scores the charge tracker against the truth of recorded or simulated drives, per class.

python -m tests.benchmarks.bench_charge FOLDER [FOLDER ...]

Each folder holds drives: subfolders with readings.csv.gz, truth.csv.gz and scenario.toml (or is one
itself). Current in the files is positive into the battery. Prints one line per drive and a mean per
class beside a counter with full-charge reset.
"""
import csv
import gzip
import sys
import time
import tomllib
from dataclasses import dataclass
from math import sqrt
from pathlib import Path

from monitor.battery.label import Battery, Vehicle
from monitor.estimation import house_charge as charge
from monitor.findings import Estimate, JoinFindings
from monitor.sample import Sample
from monitor.sampling.gather import minutes

DAY_S = 86400.0


@dataclass
class Drive:
    name: str
    facts: dict
    vehicle: Vehicle
    samples: list
    truth: list          # (t_s, soc, capacity_ah)

    @property
    def group(self) -> str:
        facts = self.facts
        if self.vehicle.house.chemistry == "lfp":
            return "lithium worn" if facts["true_capacity_ah"] < 0.85 * facts["rated_ah"] else "lithium"
        if facts["days"] > 60:
            return "lead half-year"
        return "lead worn" if facts["true_capacity_ah"] < 0.8 * facts["rated_ah"] else "lead healthy"


def load(folder: Path) -> Drive:
    facts = tomllib.loads((folder / "scenario.toml").read_text())
    kind = facts["chemistry"]
    battery = Battery(
        "house", "agm" if kind == "lead_acid" else kind, facts["rated_ah"], facts.get("rated_hours", 20),
        facts.get("absorption_v"), facts.get("float_v"))
    vehicle = Vehicle(battery, Battery("starter", "agm", 60.0))

    def number(text):
        return float(text) if text else None

    samples = []
    with gzip.open(folder / "readings.csv.gz", "rt") as file:
        for row in csv.DictReader(file):
            t = float(row["t_s"])
            samples.append(Sample(
                t, number(row["house_v"]), number(row["house_a"]), number(row["starter_v"]),
                number(row.get("house_temp_c", "")), hour=(t / 3600) % 24))
    truth = []
    with gzip.open(folder / "truth.csv.gz", "rt") as file:
        for row in csv.DictReader(file):
            cap = float(row["capacity_ah"]) if "capacity_ah" in row else facts["true_capacity_ah"]
            truth.append((float(row["t_s"]), min(max(float(row["house_soc"]), 0.0), 1.0), cap))
    return Drive(folder.name, facts, vehicle, samples, truth)


def counter(drive: Drive, stream):
    """Counting from full with the label's capacity, reset at 14.2 V (lithium 14.0 V) and a 2 % tail."""
    rated, q, held = drive.vehicle.house.rated_capacity_ah, 1.0, 0.0
    limit = 14.0 if drive.vehicle.house.chemistry == "lfp" else 14.2
    for m in stream:
        q = min(q + (m.charge_in_ah - m.charge_out_ah) / rated, 1.0)
        v, a = m.house_voltage_v, m.house_current_a
        held = held + m.covered_s if v is not None and a is not None and v > limit and 0 < a < 0.02 * rated else 0.0
        if held > 600:
            q = 1.0
        yield q


def mean_offset_a(drive: Drive) -> float:
    """What the shunt read too much on average: its offset moves with temperature."""
    sensor = drive.facts.get("sensor", {})
    warmths = [s.house_temperature_c for s in drive.samples if s.house_temperature_c is not None]
    warmer_k = sum(warmths) / len(warmths) - 25.0 if warmths else 0.0
    return sensor.get("i_off", 0.0) + sensor.get("i_off_per_k", 0.0) * warmer_k


def score(drive: Drive, trace=None) -> dict:
    """One drive's figures, in points of its own capacity, from the second day on."""
    stream = list(minutes(drive.samples))
    truth = {t: (z, c) for t, z, c in drive.truth}
    held = charge.begin(drive.vehicle)
    join = JoinFindings()
    started = time.process_time()
    rows = []
    first_full = None
    for m in stream:
        held = charge.update(held, m, drive.vehicle, join)
        f = charge.findings(held, drive.vehicle)
        if first_full is None and f.anchor == "full":
            first_full = m.end_s
        rows.append((m.end_s, f, held))
    cost = (time.process_time() - started) / len(stream)
    base = list(counter(drive, stream))
    errors, bases, covered, width, beyond, pre, post, last = [], [], 0, 0.0, 0.0, [], [], None
    early, inside_early = 0, 0
    for (t, f, h), b in zip(rows, base):
        z, c = truth[t]
        z_est = f.charge_frac
        if trace is not None:
            trace(t, z, c, f, h)
        if t < DAY_S or not isinstance(z_est, Estimate):
            continue
        e = z_est.value - z
        errors.append(e)
        bases.append(b - z)
        (pre if first_full is None or t < first_full else post).append(e)
        if first_full is None or t < first_full:
            early, inside_early = early + 1, inside_early + (z_est.low <= z <= z_est.high)
        covered += z_est.low <= z <= z_est.high
        width += z_est.high - z_est.low
        beyond = max(beyond, z_est.low - z, z - z_est.high)
        last = (f, c)
    n = max(len(errors), 1)
    cap = last[0].capacity_ah if isinstance(last[0].capacity_ah, Estimate) else Estimate(1, 0, 1e9, "label")
    off = last[0].current_offset_a if isinstance(last[0].current_offset_a, Estimate) else Estimate(0, -0.16, 0.16, "label")
    true_off = mean_offset_a(drive)

    def rms(values):
        return 100 * sqrt(sum(e * e for e in values) / len(values)) if values else float("nan")

    return {
        "rmse": rms(errors), "max": 100 * max(map(abs, errors)), "bias": 100 * sum(errors) / n, "cov": 100 * covered / n,
        "cov_pre": 100 * inside_early / early if early else float("nan"),
        "width": 100 * width / n, "beyond": 100 * beyond, "counter": rms(bases), "pre": rms(pre), "post": rms(post),
        "cap_err": 100 * (cap.value / last[1] - 1), "cap_in": float(cap.low <= last[1] <= cap.high),
        "cap_width": 100 * (cap.high - cap.low) / last[1],
        "off_ma": 1000 * (off.value - true_off), "off_in": float(off.low <= true_off <= off.high), "us": 1e6 * cost,
    }


COLUMNS = ("rmse", "counter", "pre", "post", "max", "bias", "cov", "cov_pre", "width", "beyond", "cap_err", "cap_in", "cap_width",
           "off_ma", "off_in", "us")


def main(arguments: list[str]) -> None:
    folders = []
    for argument in arguments:
        path = Path(argument)
        found = sorted(p.parent for p in path.glob("**/scenario.toml") if (p.parent / "readings.csv.gz").exists())
        folders += found or ([path] if (path / "readings.csv.gz").exists() else [])
    print(f"{'drive':24s} {'class':15s}" + "".join(f"{c:>9s}" for c in COLUMNS))
    groups: dict[str, list[dict]] = {}
    for folder in folders:
        drive = load(folder)
        result = score(drive)
        groups.setdefault(drive.group, []).append(result)
        print(f"{drive.name[:24]:24s} {drive.group:15s}" + "".join(f"{result[c]:9.2f}" for c in COLUMNS), flush=True)
    for group, results in sorted(groups.items()):
        print(f"{'mean of ' + str(len(results)):24s} {group:15s}" + "".join(
            f"{sum(r[c] for r in results if r[c] == r[c]) / max(sum(r[c] == r[c] for r in results), 1):9.2f}" for c in COLUMNS))


if __name__ == "__main__":
    main(sys.argv[1:])
