"""Recordings of real batteries, cut and spoilt the way a vehicle's log is: begun at any moment, meters off, gaps.

A folder of recordings holds subfolders with readings.csv.gz (t_s, house_v, house_a, house_temp_c; current positive into
the battery), truth.csv.gz (t_s, house_soc, capacity_ah) and scenario.toml (chemistry, rated_ah, rated_hours).
"""
import csv
import gzip
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from monitor.battery.label import Battery, Vehicle
from monitor.sample import Minute, Sample
from monitor.sampling.gather import minutes


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with label, meters and log. Current as read is true * current_gain + offset_a."""

    name: str = "none"
    label: float = 1.0            # what the label says over what the recording's says
    offset_a: float = 0.0
    current_gain: float = 1.0
    voltage_gain: float = 1.0
    voltage_offset_v: float = 0.0
    charges_unseen: bool = False  # the board is off whenever the battery is charged
    no_thermometer: bool = False
    every_s: float = 0.0          # a reading only so often, 0: as it was recorded


FAULTS = (
    Fault(), Fault("label +10 %", label=1.10), Fault("label -10 %", label=0.90), Fault("label +25 %", label=1.25),
    Fault("label -25 %", label=0.75), Fault("shunt +80 mA", offset_a=0.080), Fault("shunt gain +1 %", current_gain=1.01),
    Fault("shunt gain -1 %", current_gain=0.99), Fault("voltmeter +0.3 %", voltage_gain=1.003),
    Fault("voltmeter -0.3 %", voltage_gain=0.997), Fault("voltmeter +40 mV", voltage_offset_v=0.040),
    Fault("voltmeter -40 mV", voltage_offset_v=-0.040), Fault("charges not logged", charges_unseen=True),
    Fault("no thermometer", no_thermometer=True),
)
#: A board that is off while the battery is charged is off for no less than this.
CHARGE_S = 180.0
#: Logs that are read seldom: what was current at a reading need not have been between.
SPARSE = (Fault("a reading in 10 min", every_s=600.0), Fault("a reading in 20 min", every_s=1200.0))


@dataclass(frozen=True, slots=True)
class Recording:
    """One battery's readings, and its true charge and capacity at the same times."""

    name: str
    make: str                                    # the cell it is of: recordings of one make share its curve
    battery: Battery
    samples: tuple[Sample, ...]
    charge_frac: tuple[float, ...]
    capacity_ah: tuple[float, ...]


def _number(text: str | None) -> float | None:
    return float(text) if text else None


def load(folder: Path) -> Recording:
    """One recording from its folder."""
    facts = tomllib.loads((folder / "scenario.toml").read_text())
    kind = "agm" if facts["chemistry"] == "lead_acid" else facts["chemistry"]
    battery = Battery("house", kind, facts["rated_ah"], facts.get("rated_hours", 20), facts.get("absorption_v"), facts.get("float_v"))
    truth = {}
    with gzip.open(folder / "truth.csv.gz", "rt") as file:
        for row in csv.DictReader(file):
            if row.get("house_soc"):
                capacity = _number(row.get("capacity_ah")) or facts["true_capacity_ah"]
                truth[float(row["t_s"])] = (min(max(float(row["house_soc"]), 0.0), 1.0), capacity)
    samples, fractions, capacities = [], [], []
    with gzip.open(folder / "readings.csv.gz", "rt") as file:
        for row in csv.DictReader(file):
            t = float(row["t_s"])
            if t not in truth:
                continue
            samples.append(Sample(
                t, _number(row["house_v"]), _number(row["house_a"]), None, _number(row.get("house_temp_c")), hour=t / 3600 % 24))
            fractions.append(truth[t][0])
            capacities.append(truth[t][1])
    make = facts.get("make") or re.sub(r"-(ladder.*|never.*|[+-]\d\dc)$", "", folder.name)
    return Recording(folder.name, make, battery, tuple(samples), tuple(fractions), tuple(capacities))


def load_all(folders: list[Path]) -> list[Recording]:
    """Every recording in or below these folders."""
    found = {p.parent for folder in folders for p in folder.glob("**/scenario.toml") if (p.parent / "readings.csv.gz").exists()}
    return [load(folder) for folder in sorted(found)]


#: A slow branch is measured in so many hours; a reading each half minute.
SLOW_H, READING_S = 30.0, 30.0


def slow_branches(path: Path) -> list[Recording]:
    """A cell emptied and filled at C/30, at each temperature at which that was measured: four in series, label 100 Ah.

    path: a table of temperature_c, branch (discharge or charge), soc, cell_v, capacity_over_label. The measured charge axis is the truth.
    """
    branches: dict[tuple[float, str], list[tuple[float, float]]] = {}
    capacity_ah = {}
    with path.open() as file:
        for row in csv.DictReader(file):
            temperature_c = float(row["temperature_c"])
            branches.setdefault((temperature_c, row["branch"]), []).append((float(row["soc"]), 4 * float(row["cell_v"])))
            capacity_ah[temperature_c] = 100.0 * float(row["capacity_over_label"])
    battery, found = Battery("house", "lfp", 100.0, 20), []
    for temperature_c, size_ah in sorted(capacity_ah.items()):
        samples, fractions, at_s = [], [], 0.0
        for branch, current_a in (("discharge", -100.0 / SLOW_H), ("charge", 100.0 / SLOW_H)):
            points = sorted(branches[temperature_c, branch])
            charges, volts = zip(*points, strict=True)
            charge = charges[-1] if branch == "discharge" else max(fractions[-1], charges[0])
            while charges[0] <= charge <= charges[-1]:
                voltage_v = float(np.interp(charge, charges, volts))
                samples.append(Sample(at_s, voltage_v, current_a, None, temperature_c, hour=at_s / 3600 % 24))
                fractions.append(charge)
                at_s, charge = at_s + READING_S, charge + current_a * READING_S / 3600.0 / size_ah
        make = path.name.removesuffix("-slow-branches.csv")
        found.append(Recording(f"{make} slow {temperature_c:+.0f}", make, battery, tuple(samples), tuple(fractions),
                               (size_ah,) * len(samples)))
    return found


def starts(recording: Recording, count: int) -> list[int]:
    """count moments at which a log may begin, evenly over a recording, with four hours left to run."""
    last_s = recording.samples[-1].at_s - 4 * 3600
    usable = sum(s.at_s <= last_s for s in recording.samples)
    return [int(i * usable / count) for i in range(count)]


def vehicle(recording: Recording, fault: Fault) -> Vehicle:
    """What its owner would have configured."""
    house = replace(recording.battery, rated_capacity_ah=recording.battery.rated_capacity_ah * fault.label)
    return Vehicle(house, Battery("starter", "agm", 60.0))


def _charges(recording: Recording) -> frozenset[float]:
    """Times of the readings while the battery is charged, for three minutes or more: braking within a drive switches no board off."""
    least_a, found, run = 0.004 * recording.battery.rated_capacity_ah, set(), []
    for s in (*recording.samples, None):
        if s is not None and (s.house_current_a or 0.0) > least_a:
            run.append(s.at_s)
            continue
        if run and run[-1] - run[0] >= CHARGE_S:
            found.update(run)
        run = []
    return frozenset(found)


def spoilt(recording: Recording, start: int, hours: float, fault: Fault) -> Iterator[Minute]:
    """The minutes of a log begun at a sample, as meters with this fault see them."""
    end_s = recording.samples[start].at_s + hours * 3600
    dark = _charges(recording) if fault.charges_unseen else frozenset()

    def samples() -> Iterator[Sample]:
        next_s = 0.0
        for s in recording.samples[start:]:
            if s.at_s > end_s:
                return
            if s.at_s < next_s:
                continue
            next_s = s.at_s + fault.every_s if fault.every_s else 0.0
            volts, amps = s.house_voltage_v, s.house_current_a
            if s.at_s in dark:
                continue
            yield replace(
                s,
                house_voltage_v=None if volts is None else volts * fault.voltage_gain + fault.voltage_offset_v,
                house_current_a=None if amps is None else amps * fault.current_gain + fault.offset_a,
                house_temperature_c=None if fault.no_thermometer else s.house_temperature_c)

    return minutes(samples())


def tripped(recording: Recording, at: int, hours: float = 2.0, open_v: float = 14.4) -> Recording:
    """The same with the battery's protection opening at a sample, for some hours: no current flows, and the meter sees
    the charger's voltage (it was charging) or none at all (it was not). It closes again where it was."""
    begin_s, span_s = recording.samples[at].at_s, hours * 3600
    charging = (recording.samples[at].house_current_a or 0.0) > 0.0
    volts = open_v if charging else 0.0
    opened, t = [], begin_s
    while t + 30.0 < begin_s + span_s:
        t += 30.0
        opened.append(replace(recording.samples[at], at_s=t, house_voltage_v=volts, house_current_a=0.0))
    later = [replace(s, at_s=s.at_s + span_s) for s in recording.samples[at + 1:]]
    return replace(
        recording, samples=(*recording.samples[:at + 1], *opened, *later),
        charge_frac=(*recording.charge_frac[:at + 1], *[recording.charge_frac[at]] * len(opened), *recording.charge_frac[at + 1:]),
        capacity_ah=(*recording.capacity_ah[:at + 1], *[recording.capacity_ah[at]] * len(opened), *recording.capacity_ah[at + 1:]))
