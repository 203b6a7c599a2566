"""What voltage and current tell of a lithium battery's charge to a listener who knows the very cell: a yardstick.

    python -m tests.benchmarks.bench_lithium_limit [FOLDER] [--starts 8] [--hours 36]

The recordings of bench_measured (without a folder those that are part of the tests), begun at any moment, until the first end. The
listener has the cell's own measured curve, its capacity and its temperatures, a voltmeter that is sure to 25 mV, and what remains: the
cell itself lies 10 mV off its curve, with three tenths of what makes differ by in shape and place of the step (one sigma). Charge is a
grid of 600 places, everything else a Kalman filter at each, and every window counts in full. Columns as in bench_measured.
"""
import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from math import exp, sqrt, tanh
from pathlib import Path
from typing import Any

import numpy as np

from monitor.battery import rest_curves
from monitor.estimation import predict, prior, surroundings, update
from monitor.estimation.observations import reading, rest, steep_end
from monitor.estimation.surroundings import Surroundings
from monitor.estimation.window import RATE_S, STEP_S, USUAL_C
from monitor.parameters import table
from monitor.sample import Minute
from tests.benchmarks.bench_measured import EMPTY_FRAC, FULL_FRAC, RECORDINGS
from tests.benchmarks.measured import FAULTS, Fault, Recording, load_all, spoilt, starts

CELL = table("battery", "lithium_cell")
SHAPE = np.array(CELL.numbers("shape_v"))
GRID = np.linspace(-0.02, 1.02, 601)
PLACES = np.linspace(rest_curves.LOW, rest_curves.HIGH, rest_curves.STEPS + 1)
#: Of what makes differ by, what a cell differs by from the curve measured on it; height of the curve [V].
OWN_PART, OWN_LEVEL_V = 0.3, 0.010
LEVEL, HYSTERESIS, SLOW, STEP, KINETIC, ACTIVATION, RESISTANCE, SHAPES = range(8)


@dataclass
class Window:
    """Means over a quarter of an hour: length, charge in [Ah], voltage, current, filtered current and warmth."""

    hours: float
    net_ah: float
    volts: float
    amps: float
    rate_a: float
    warmth_c: float


def windows(minutes: Iterator[Minute]) -> Iterator[tuple[Window, float]]:
    """The quarters of an hour of a log, each with the time of its end."""
    last, held, begin_s, net_ah, rate_a = None, [], None, 0.0, 0.0
    for minute in minutes:
        for s in minute.samples:
            amps = s.house_current_a or 0.0
            if last is not None:
                step_s, mean_a = s.at_s - last.at_s, 0.5 * (amps + (last.house_current_a or 0.0))
                net_ah += mean_a * step_s / 3600.0
                rate_a += (1.0 - exp(-step_s / RATE_S)) * (mean_a - rate_a)
            begin_s, last = s.at_s if begin_s is None else begin_s, s
            held.append((s.house_voltage_v, amps, USUAL_C if s.house_temperature_c is None else s.house_temperature_c))
        if last is not None and begin_s is not None and last.at_s - begin_s >= STEP_S:
            volts, amps, warmth = np.mean(held, axis=0)
            yield Window((last.at_s - begin_s) / 3600.0, net_ah, volts, amps, rate_a, warmth), minute.end_s
            held, begin_s, net_ah = [], last.at_s, 0.0


class Listener:
    """Belief on the grid: weight of each place, and there mean and covariance of what else is not known."""

    def __init__(self, make: str, capacity_ah: float, rated_ah: float, rate_per_h: float) -> None:
        family, size, count = rest_curves.single(make), SHAPES + len(SHAPE), len(GRID)
        self.curve, self.gap = np.array(family.whole.values), np.array(family.rest_gap.values)
        self.capacity_ah, self.counted, self.weights = capacity_ah, 0.0, np.zeros(count)
        mean, self.cov = np.zeros(size), np.zeros((size, size))
        mean[HYSTERESIS], hysteresis = prior.hysteresis(tanh(rate_per_h / prior.FLOWING_PER_H))
        mean[RESISTANCE] = CELL.number("resistance_ohm_ah") / rated_ah
        sigmas = {LEVEL: sqrt(OWN_LEVEL_V**2 + CELL.sigma("voltmeter_v") ** 2), HYSTERESIS: hysteresis, SLOW: 2.0 * CELL.sigma("slow_v"),
                  STEP: OWN_PART * CELL.sigma("axis_step_frac"), KINETIC: CELL.sigma("kinetic_ln"), ACTIVATION: 1.0,
                  RESISTANCE: CELL.sigma("resistance_ohm_ah") / rated_ah}
        for i, sigma in sigmas.items():
            self.cov[i, i] = sigma * sigma
        apart = (SHAPE[:, :1] - SHAPE[:, 0]) / CELL.number("shape_length_frac")
        self.cov[SHAPES:, SHAPES:] = OWN_PART**2 * np.outer(SHAPE[:, 1], SHAPE[:, 1]) * np.exp(-0.5 * apart**2)
        self.mean, self.cov = np.repeat(mean[None], count, 0), np.repeat(self.cov[None], count, 0)

    def hear(self, w: Window) -> tuple[float, float, float]:
        """Low end, median and high end of the charge after a window."""
        self.counted += w.net_ah / self.capacity_ah
        turned = exp(-abs(w.net_ah) / self.capacity_ah / predict.MEMORY_FRAC)
        keep = np.ones(self.mean.shape[1])
        keep[HYSTERESIS] = turned * exp(-w.hours / predict.REST_H)
        keep[SLOW] = exp(-w.hours / predict.SLOW_H)
        self.mean *= keep
        self.mean[:, HYSTERESIS] += (1.0 - turned) * np.sign(w.net_ah)
        self.cov *= np.outer(keep, keep)
        self.cov[:, SLOW, SLOW] += predict.SLOW_V**2 * (1.0 - keep[SLOW] ** 2)
        self.cov[:, HYSTERESIS, HYSTERESIS] += (predict.TURNED * (1.0 - turned)) ** 2
        charge = GRID + self.counted
        expected, slopes, white = self._expect(
            charge, surroundings.look(w.volts, w.amps, w.rate_a / self.capacity_ah, w.warmth_c))
        cross = np.einsum("nij,nj->ni", self.cov, slopes)
        spread, miss = np.einsum("ni,ni->n", cross, slopes) + white, w.volts - expected
        gain = cross / spread[:, None]
        self.mean += gain * miss[:, None]
        self.cov -= gain[:, :, None] * cross[:, None, :]
        likely = -0.5 * miss**2 / spread - 0.5 * np.log(2.0 * np.pi * spread)
        self.weights += np.logaddexp(np.log(1.0 - update.OUTLIERS) + likely, np.log(update.OUTLIERS / update.SPAN_V))
        self.weights -= self.weights.max()
        self.weights[(charge < 0.0) | (charge > 1.0)] = -80.0
        shares = np.cumsum(np.exp(self.weights))
        low, middle, high = np.interp([0.025, 0.5, 0.975], shares / shares[-1], charge)
        return float(low), float(middle), float(high)

    def _expect(self, charge: Any, now: Surroundings) -> tuple[Any, Any, Any]:
        """Voltage expected at each place, its slopes, and what is new in each window [V2]."""
        at_step = np.clip(1.0 - np.abs(charge - rest_curves.STEP) / rest_curves.STEP_REACH, 0.0, 1.0)
        place = charge + now.shift_frac + at_step * self.mean[:, STEP]
        near = steep_end.SLOPE_STEP
        steep = (np.interp(place + near, PLACES, self.curve) - np.interp(place - near, PLACES, self.curve)) / (2.0 * near)
        gap = np.interp(np.clip(charge, 0.0, 1.0), PLACES, self.gap)
        kinetic = now.kinetic_v * np.exp(np.clip(self.mean[:, KINETIC] + now.kinetic_factor * self.mean[:, ACTIVATION], -2.0, 2.0))
        slopes = np.zeros_like(self.mean)
        slopes[:, LEVEL], slopes[:, HYSTERESIS], slopes[:, SLOW], slopes[:, STEP] = 1.0, gap, 1.0, at_step * steep
        slopes[:, KINETIC], slopes[:, ACTIVATION], slopes[:, RESISTANCE] = kinetic, now.kinetic_factor * kinetic, now.current_a
        for k, one in enumerate(np.eye(len(SHAPE))):
            slopes[:, SHAPES + k] = np.interp(np.clip(charge, SHAPE[0, 0], SHAPE[-1, 0]), SHAPE[:, 0], one)
        linear = [LEVEL, HYSTERESIS, SLOW, RESISTANCE, *range(SHAPES, slopes.shape[1])]
        expected = np.interp(place, PLACES, self.curve) + kinetic + np.einsum("ni,ni->n", slopes[:, linear], self.mean[:, linear])
        new_v2 = reading.NOISE_V**2 + (reading.RATE_DOUBT_V * now.current_a / self.capacity_ah) ** 2
        return expected, slopes, new_v2 + ((rest.SHIFT_DOUBT * now.shift_frac) ** 2 + rest.AXIS_FRAC**2) * steep**2


def heard(recording: Recording, start: int, hours: float, fault: Fault) -> list[tuple[float, bool, float]]:
    """Error, whether the interval holds the truth, and its width, a quarter of an hour at a time until the first end."""
    truth = dict(zip([s.at_s for s in recording.samples], recording.charge_frac, strict=True))
    rated = recording.battery.rated_capacity_ah
    listener = Listener(recording.make, sum(recording.capacity_ah) / len(recording.capacity_ah), rated,
                        (recording.samples[start].house_current_a or 0.0) / rated)
    found = []
    for window, end_s in windows(spoilt(recording, start, hours, fault)):
        if not EMPTY_FRAC <= truth[end_s] <= FULL_FRAC:
            break
        low, middle, high = listener.hear(window)
        found.append((middle - truth[end_s], low <= truth[end_s] <= high, high - low))
    return found


def main(arguments: list[str]) -> None:
    """Print a row for each make and fault of the voltmeter."""
    options = argparse.ArgumentParser(prog="bench_lithium_limit")
    options.add_argument("folder", type=Path, nargs="?", default=RECORDINGS)
    options.add_argument("--starts", type=int, default=8)
    options.add_argument("--hours", type=float, default=36.0)
    asked = options.parse_args(arguments)
    recordings = [r for r in load_all([asked.folder]) if not r.battery.lead_acid and r.samples]
    print(f"{'':28}{'rms':>7}{'covers':>8}{'width':>7}{'worst':>7}")
    for fault in (f for f in FAULTS if f.name in ("none", "voltmeter +40 mV", "voltmeter -40 mV")):
        rows = [(r, row) for r in recordings for start in starts(r, asked.starts) for row in heard(r, start, asked.hours, fault)]
        for name in ("5 °C and more", "-5 °C", *sorted({r.make for r in recordings})):
            chosen = [row for r, row in rows if name in (r.make, _warmth(r))]
            if chosen:
                errors, inside, widths = np.array(chosen).T
                print(f"{name + ', ' + fault.name:28}{100 * sqrt(np.mean(errors**2)):7.1f}{inside.mean():8.2f}"
                      f"{100 * widths.mean():7.1f}{100 * abs(errors).max():7.1f}", flush=True)


def _warmth(recording: Recording) -> str:
    celsius = recording.samples[0].house_temperature_c
    return "5 °C and more" if celsius is None or celsius > 2.0 else "-5 °C"


if __name__ == "__main__":
    main(sys.argv[1:])
