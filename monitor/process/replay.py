"""Runs the trackers over a recording, exactly as the daemon does, and writes what they concluded."""
import csv
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from drivers.recorded import COLUMNS, columns
from monitor import dependence, pipeline
from monitor.alerts import rules
from monitor.battery.label import Vehicle
from monitor.findings import Answer, Condition, Estimate
from monitor.pipeline import Findings
from monitor.sample import Minute, Sample
from monitor.sampling import recording_judge, sensor_alerts
from monitor.sampling.gather import minutes

ESTIMATES = ("t_s", "soc", "soc_low", "soc_high", "capacity_ah", "capacity_low_ah", "capacity_high_ah",
             "house_resistance_ohm", "isolator", "engine", "starter_soc")
EVENTS = ("t_s", "kind", "battery", "message")
FORECASTS = ("t_issued_s", "t_predicted_s", "t_low_s", "t_high_s", "probability_before_sun")


@dataclass(frozen=True, slots=True)
class ReplayStep:
    """One minute of the replay."""

    findings: Findings
    alerts: rules.AlertsState


def samples(path: Path, start: datetime | None, capacity_ah: float) -> Iterator[Sample]:
    """The rows of a recording as samples, judged as the daemon judges readings.

    Parameters
    ----------
    path : the recording
    start : local time of second 0 (None: local midnight)
    capacity_ah : rated capacity of the house battery [Ah]
    """
    first_hour = 0.0 if start is None else start.hour + start.minute / 60 + start.second / 3600
    for t, house_v, house_a, starter_v, house_temp_c in recording_judge.judge(columns(path), str(path), capacity_ah):
        yield Sample(t, house_v, house_a, starter_v, house_temp_c, None, None, None, None,
                     (first_hour + t / 3600) % 24.0)


def steps(path: Path, vehicle: Vehicle, start: datetime | None = None, parts: frozenset[str] = pipeline.EVERYTHING) -> Iterator[ReplayStep]:
    """Every minute of a recording, through the trackers and the alert rules.

    path: the recording; vehicle: both batteries' labels and what is known around them; start: local time of its
    beginning, None: no clock is known; parts: what is worked out (`pipeline.step`).
    """
    held, alerts = pipeline.begin(vehicle), rules.begin()
    measured_s: dict[str, float] = {}
    for minute in minutes(samples(path, start, vehicle.house.rated_capacity_ah)):
        held, found = pipeline.step(held, minute, vehicle, parts)
        alerts = rules.update(alerts, (*found.conditions, *dependence.hold_back_lost(_silences(measured_s, minute), found.protection)),
                              found.at_s)
        yield ReplayStep(found, alerts)


def _silences(measured_s: dict[str, float], minute: Minute) -> tuple[Condition, ...]:
    """What the sampler would say of columns that have fallen blank; measured_s holds when each was last filled."""
    blank = {}
    for quantity in COLUMNS.values():
        if getattr(minute, quantity) is not None:
            measured_s[quantity] = minute.end_s
        elif quantity in measured_s:
            blank[quantity] = ("the recording has no value", minute.end_s - measured_s[quantity])
    return sensor_alerts.conditions(blank, {}) if blank else ()


def run(path: Path, vehicle: Vehicle, *, start: datetime | None = None, every_s: float = 60.0,
        estimates: Path | None = None, events: Path | None = None, forecasts: Path | None = None,
        progress: Callable[[float], None] | None = None) -> ReplayStep | None:
    """Replay a recording into CSV files; returns the last step, or None where the recording is empty.

    path: the recording; vehicle: both batteries' labels and more; start: local time of its beginning, None: no clock is known;
    every_s: between rows of estimates [s]; estimates, events, forecasts: files to be written, None: not that one; progress: is
    given the log's time [s].

    Raises
    ------
    CannotOpen, ReadFailed : of the recording (drivers/errors.py)
    OSError : of a file to be written
    """
    with ExitStack() as stack:
        def sheet(target: Path | None, header: tuple[str, ...]):
            if target is None:
                return None
            writer = csv.writer(stack.enter_context(open(target, "w", newline="", encoding="utf-8")))
            writer.writerow(header)
            return writer

        to_estimates, to_events = sheet(estimates, ESTIMATES), sheet(events, EVENTS)
        to_forecasts = sheet(forecasts, FORECASTS)
        due_estimate = due_forecast = float("-inf")
        step = None
        for step in steps(path, vehicle, start, pipeline.ALL):    # none of the sheets has what a load took
            at_s = step.findings.at_s
            if to_estimates and at_s >= due_estimate:
                to_estimates.writerow(_estimate_row(step.findings))
                due_estimate = (at_s // every_s + 1) * every_s
            if to_forecasts and at_s >= due_forecast:
                to_forecasts.writerow(_forecast_row(step.findings))
                due_forecast = (at_s // 3600 + 1) * 3600.0
            if to_events:
                for event in step.findings.news:
                    to_events.writerow((f"{event.at_s:g}", event.kind, event.battery, event.message))
                for change in step.alerts.news:
                    if change.what == "raised":
                        alert = change.alert
                        to_events.writerow((f"{change.at_s:.0f}", alert.kind, alert.battery, f"{alert.seen} {alert.means}"))
            if progress:
                progress(at_s)
        return step


def _estimate_row(found: Findings) -> tuple[str, ...]:
    charge, join = found.charge, found.join
    return (f"{found.at_s:.0f}", *_three(charge.charge_frac, 4), *_three(charge.capacity_ah, 2),
            _value(charge.resistance_ohm, 5), join.isolator, join.engine, _value(found.starter.charge_frac, 4))


def _forecast_row(found: Findings) -> tuple[str, ...]:
    forecast = found.forecast
    times = [forecast.reserve_in_s, forecast.reserve_in_low_s, forecast.reserve_in_high_s]
    return (f"{found.at_s:.0f}", *("" if t is None else f"{found.at_s + t:.0f}" for t in times),
            "" if forecast.probability_before_sun is None else f"{forecast.probability_before_sun:.3f}")


def _three(answer: Answer, digits: int) -> tuple[str, str, str]:
    if not isinstance(answer, Estimate):
        return "", "", ""
    return f"{answer.value:.{digits}f}", f"{answer.low:.{digits}f}", f"{answer.high:.{digits}f}"


def _value(answer: Answer, digits: int) -> str:
    return f"{answer.value:.{digits}f}" if isinstance(answer, Estimate) else ""
