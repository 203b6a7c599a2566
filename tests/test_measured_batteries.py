"""Charge on recordings of real batteries, without what was measured on the make at hand: errors, and coverage two-sided.

The cells are not ours: tests/recordings/measured/README.md. The benchmark bench_measured has more starts, and every fault.
"""
from pathlib import Path

import pytest

from tests.benchmarks.bench_measured import SLOW_BRANCHES, Sums, run, trip
from tests.benchmarks.measured import FAULTS, Fault, Recording, load, slow_branches, starts

RECORDINGS = Path(__file__).parent / "recordings" / "measured"
TRACKER = "monitor.estimation.lithium_charge"   # serves lithium, through house_charge
NO_FAULT = FAULTS[0]


def figures(names: list[str], count: int, hours: float, fault: Fault = NO_FAULT) -> dict[str, Sums]:
    """Sums by phase over so many starts of each recording; the tracker does without the make's own curve."""
    return sums([load(RECORDINGS / name) for name in names], count, hours, fault)


def sums(recordings: list[Recording], count: int, hours: float, fault: Fault = NO_FAULT) -> dict[str, Sums]:
    found = {phase: Sums() for phase in ("before", "full", "empty")}
    for recording in recordings:
        for start in starts(recording, count):
            result = run(TRACKER, recording, start, hours, fault, unlike=True)
            for phase, total in found.items():
                if ("all", phase) in result.sums:
                    total.merge(result.sums["all", phase])
    return found


def rms_pct(sums: Sums) -> float:
    return 100 * (sums.squares / sums.count) ** 0.5


@pytest.mark.slow
def test_begun_at_any_moment_warm() -> None:
    """All that were measured at 5 °C and more, each without its own make's curve, judged together."""
    found = figures(["lfp-cell-b-ladder-1", "lfp-cell-b-ladder-3", "lfp-cell-c-never-full-25c", "lfp-cell-d-+25c", "lfp-cell-d-+05c"],
                    3, 24.0)
    before, full, empty = found["before"], found["full"], found["empty"]
    assert before.silent < 0.025 * (before.count + before.silent)    # minutes, not hours, until it says something
    assert rms_pct(before) < 8.5 and before.covered / before.count >= 0.95 and 5 < 100 * before.width / before.count < 36
    # wider than the goals of 7 and 10: a battery seen from one end only keeps the doubt of its capacity until it meets the step
    assert rms_pct(full) < 2.5 and full.covered / full.count >= 0.95 and 4 < 100 * full.width / full.count < 14.5
    assert rms_pct(empty) < 3.0 and empty.covered / empty.count >= 0.95 and 4 < 100 * empty.width / empty.count < 13


@pytest.mark.slow
def test_never_full_and_never_empty() -> None:
    before = figures(["lfp-cell-c-never-full-25c"], 3, 20.0)["before"]
    assert rms_pct(before) < 6.5 and before.covered / before.count >= 0.95


@pytest.mark.slow
def test_rests_of_two_hours_at_every_tenth() -> None:
    found = figures(["lfp-cell-b-ladder-1"], 3, 24.0)
    before = found["before"]
    assert rms_pct(before) < 9.0 and before.covered / before.count >= 0.92


@pytest.mark.slow
def test_in_the_cold_it_says_that_it_does_not_know() -> None:
    before = figures(["lfp-cell-d--05c"], 3, 20.0)["before"]
    assert rms_pct(before) < 12.5 and before.covered / before.count >= 0.95 and 100 * before.width / before.count < 50


@pytest.mark.slow
@pytest.mark.parametrize(("temperature_c", "most_rms", "least_covered"), [
    (-15, 10.5, 0.93), (-5, 9.5, 0.93), (15, 8.5, 0.95), (35, 8.5, 0.95)])
def test_begun_anywhere_on_slow_branches_from_cold_to_warm(temperature_c: int, most_rms: float, least_covered: float) -> None:
    """Down and up at C/30, of a cell without whose make the tracker does; the coldest was never looked at while the curves were made."""
    recordings = [r for r in slow_branches(SLOW_BRANCHES) if r.samples[0].house_temperature_c == temperature_c]
    before = sums(recordings, 8, 36.0)["before"]
    assert len(recordings) == 1 and before.count > 5000
    assert rms_pct(before) < most_rms and before.covered / before.count >= least_covered and 10 < 100 * before.width / before.count < 44


@pytest.mark.slow
def test_switched_on_full_at_rest_it_does_not_rule_out_full() -> None:
    """At 13.4 V under a small load: it stood across the rise to full, and 70 % of what was said there was beyond the truth."""
    for recording in slow_branches(SLOW_BRANCHES)[3::2]:      # 15 and 35 °C
        told = run(TRACKER, recording, 0, 16.0, NO_FAULT, unlike=True).sums["all", "full"]
        assert told.covered / told.count >= 0.95 and rms_pct(told) < 8.0


@pytest.mark.slow
def test_charges_that_nobody_logged_are_noticed_by_a_voltage_that_nothing_explains() -> None:
    """Of a battery once seen empty: before, half of what was said afterwards was wrong and sure, by 30 points."""
    fault = next(f for f in FAULTS if f.charges_unseen)
    empty = figures(["lfp-cell-b-ladder-1", "lfp-cell-b-ladder-3"], 2, 30.0, fault)["empty"]
    assert rms_pct(empty) < 13.0 and empty.covered / empty.count >= 0.85 and 10 < 100 * empty.width / empty.count < 42


@pytest.mark.slow
@pytest.mark.parametrize("fault", [f for f in FAULTS if f.name in ("voltmeter -40 mV", "label +25 %", "shunt +80 mA")],
                         ids=lambda f: f.name)
def test_with_a_meter_or_a_label_off(fault: Fault) -> None:
    found = figures(["lfp-cell-d-+25c"], 3, 24.0, fault)
    before = found["before"]
    assert rms_pct(before) < 15.0 and before.covered / before.count >= 0.95 and 100 * before.width / before.count < 56


@pytest.mark.slow
def test_a_protection_that_opens_is_taken_for_neither_end() -> None:
    recording = load(RECORDINGS / "lfp-cell-d-+25c")
    outcomes = [trip(TRACKER, recording, at, unlike=True) for at in starts(recording, 12)
                if 0.05 < recording.charge_frac[at] < 0.95 and abs(recording.samples[at].house_current_a or 0.0) > 2.0]
    assert len(outcomes) >= 4 and not [o for o in outcomes if o[3]]
