"""Resistance out of a load going off, on pulses that somebody else recorded."""
import csv
from itertools import groupby
from pathlib import Path

import pytest

from monitor.usage import load_off
from monitor.usage.load_off import LoadOffState

#: The record is of a cell of about 3.2 mAh; its pulses are 1C.
CELL_AH = 0.0032


def _pulses() -> list[list[tuple[float, float, float]]]:
    lines = [line for line in (Path(__file__).parent / "pulse_ends.csv").read_text().splitlines() if not line.startswith("#")]
    rows = [(int(r["pulse"]), float(r["seconds"]), float(r["current_ma"]) / 1000, float(r["voltage_v"])) for r in csv.DictReader(lines)]
    return [[row[1:] for row in group] for _, group in groupby(rows, key=lambda row: row[0])]


def _bins(rows: list[tuple[float, float, float]], length_s: float, offset_s: float):
    """Means over equal spans, as a meter that reads seldom shows them: (end, volts, amperes)."""
    for _, group in groupby(rows, key=lambda row: (row[0] + offset_s) // length_s):
        kept = list(group)
        yield kept[-1][0], sum(v for _, _, v in kept) / len(kept), sum(a for _, a, _ in kept) / len(kept)


@pytest.mark.parametrize("length_s", [0.9, 1.5, 2.0])
def test_the_ohmic_part_of_recorded_pulses_is_found(length_s: float) -> None:
    """ampworks 0.1.0, bundled hybrid pulse record (BSD 3-Clause): the jump within 1 ms, against our split of short means.

    These cells are far from steady after 30 s of load: 0.85 mV a second, so means of several seconds would read low.
    A fridge runs for minutes.
    """
    misses = []
    for rows in _pulses():
        before, after = [r for r in rows if r[0] <= 0][-1], [r for r in rows if r[0] > 0][0]
        jump_ohm = (after[2] - before[2]) / (after[1] - before[1])
        held, found = LoadOffState(), []
        for at_s, volts, amps in _bins(rows, length_s, 0.0):
            held, step = load_off.add(held, at_s, volts, amps, CELL_AH)
            found += [step] if step else []
        (step,) = found
        misses.append((step.ohm - (step.slope_ohm or 0.0) * step.root_age) / jump_ohm - 1)
    assert len(misses) == 9
    assert max(abs(m) for m in misses[:-1]) < 0.05, misses      # the last pulse ends where the cell is empty
    assert abs(misses[-1]) < 0.10, misses
