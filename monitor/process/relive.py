"""Lives through a log again, in a process of its own beside the daemon: what the trackers would hold, had they seen it all.

`python -m monitor.process.relive DATABASE PARTS` reads the vehicle from its standard input, says on its standard output how far it is,
and last what the trackers hold and up to which moment. Minutes for the far past, raw readings for the latest weeks.
"""
import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from monitor import pipeline
from monitor.battery.label import Vehicle
from monitor.logbook.entries import UNDONE
from monitor.logbook.rows import WANTED, minute_of
from monitor.process import channel_requests
from monitor.sample import Minute, Sample
from monitor.sampling import gather
from monitor.store import reading, saving
from monitor.store.reading import Span
from monitor.store.sample_rows import sample_of
from monitor.store.view import View, open_view
from monitor.wear import charge_tested, health
from monitor.wear.verdict import CapacityTest

#: The latest so many seconds are lived through from raw readings: edges, starts and steps are in no minute.
RAW_S = 21 * 86400.0
#: So many minutes are lived through together (choice: by 20 to 60 all of the time is gained that can be).
TOGETHER = 60
#: Progress is told after so many minutes.
TOLD_EVERY = 1440
#: Forecasts are judged by the latest nights alone; before these they need not be made again [s].
FORECAST_S = 40 * 86400.0


def relive(database: Path, vehicle: Vehicle, parts: frozenset[str] = pipeline.ALL,
           progress: Callable[[float], None] = lambda _: None) -> tuple[Any, float]:
    """(what the trackers hold, up to which moment [s]) after everything the log has.

    Parameters
    ----------
    database : a log, written to or not
    vehicle : as it is known today, for all of the past; batteries that were replaced begin anew where the log says so
    parts : the trackers that are wanted; what they rest on lives along, the others stay at their beginning
    progress : told the part of the log that is behind [0..1]

    Raises
    ------
    monitor.store.reading.NoLog, sqlite3.Error : the log cannot be read
    """
    states, wanted = pipeline.begin(vehicle), pipeline.with_dependencies(parts)
    early = wanted - {"forecast"}
    with open_view(database) as log:
        first, last = log.ends()
        if first is None or last is None:
            return states, 0.0
        end_s = first / 1000
        forecast_s, count = last / 1000 - FORECAST_S, 0
        for told, minutes in told_and_runs(log, last, forecast_s):
            for one in told:
                states = tell(states, one, vehicle)
            end_s = minutes[-1].end_s
            states = pipeline.relive(states, minutes, vehicle, wanted if end_s > forecast_s else early)
            count += len(minutes)
            if count // TOLD_EVERY > (count - len(minutes)) // TOLD_EVERY:
                progress((end_s - first / 1000) / max((last - first) / 1000, 1.0))
    return states, end_s


def told_and_runs(log: View, last_ms: int, apart_s: float = float("-inf")) -> Iterator[tuple[list[str | CapacityTest], list[Minute]]]:
    """Every minute of a log up to a moment [ms] in runs, each with what the owner told before it (`tell`) and nothing within it.

    log: opened; last_ms: the moment; apart_s: a moment that no run goes beyond [s]
    """
    before: list[str | CapacityTest] = []
    run: list[Minute] = []
    for told, minute in told_and_minutes(log, last_ms):
        if run and (told or len(run) >= TOGETHER or run[-1].end_s <= apart_s < minute.end_s):
            yield before, run
            before, run = [], []
        before += told
        run.append(minute)
    if run:
        yield before, run


def told_and_minutes(log: View, last_ms: int) -> Iterator[tuple[list[str | CapacityTest], Minute]]:
    """Every minute of a log up to a moment [ms], with what the owner told since the one before (`tell`)."""
    told = _told_by_owner(log)
    for minute in minutes_of(log, last_ms):
        now = []
        while told and told[0][0] <= minute.start_s * 1000:
            now.append(told.pop(0)[1])
        yield now, minute


def minutes_of(log: View, last_ms: int) -> Iterator[Minute]:
    """Every minute of a log up to a moment [ms]: rows of minutes first, then minutes gathered anew from raw readings."""
    dating = Dating(log.labels)
    raw_from = max(last_ms - round(RAW_S * 1000), -1)
    firsts = next((hour[0][0] for hour in log.raw(raw_from, last_ms) if hour), last_ms)
    raw_from = firsts // 60_000 * 60_000
    before: Sample | None = None
    for row in log.rows_of_level("minutes", -(2**62), raw_from, WANTED):
        minute = minute_of(row, *dating.of(row[0]))
        before = minute.samples[-1]
        yield minute
    yield from gather.minutes((sample_of(raw, *dating.of(raw[0])) for hour in log.raw(raw_from, last_ms) for raw in hour), before)


class Dating:
    """Hour of the day and day of the year of moments that come in order, where a clock was trusted."""

    def __init__(self, labels: list[Span]) -> None:
        self._labels, self._place = labels, 0
        self._zone_s, self._zone_until = 0.0, float("-inf")

    def of(self, at_ms: int) -> tuple[float | None, float | None]:
        """(local hour, day of the year) of a moment of the line of time [ms]."""
        if not self._labels:
            return None, None
        while self._place + 1 < len(self._labels) and self._labels[self._place + 1].at_ms <= at_ms:
            self._place += 1
        label = self._labels[self._place]
        if not label.utc_trusted:
            return None, None
        utc_s = (at_ms + label.utc_offset_ms) / 1000
        if not self._zone_until - 3600 <= utc_s < self._zone_until:  # the zone is asked once in an hour of the log
            self._zone_s, self._zone_until = time.localtime(utc_s).tm_gmtoff or 0, utc_s // 3600 * 3600 + 3600
        return (utc_s + self._zone_s) / 3600 % 24, 1 + utc_s / 86400 % 365.2425


def _told_by_owner(log: View) -> list[tuple[int, str | CapacityTest]]:
    """What the owner told and did not undo, in order: (moment [ms], whose trackers begin anew, or a capacity test).

    Anew begins a battery that was replaced, or whose voltage was corrected by more than a little, and all that rests on a current
    that was turned round ("current").
    """
    rows = log.rows("events", f"where kind in ('battery_replaced', 'capacity_test', 'voltage_corrected', 'voltages_exchanged', "
                    f"'current_turned', '{UNDONE}') order by at_ms, id")
    figures = [(row, dict(json.loads(row[5]))) for row in rows]
    undone = {round(1000 * given["of_at_s"]) for row, given in figures if row[2] == UNDONE and "of_at_s" in given}
    needed = {f.name for f in fields(CapacityTest)} - CapacityTest.ADDED_LATER
    found: list[tuple[int, str | CapacityTest]] = []
    for row, given in figures:
        if row[2] == UNDONE or row[1] in undone:
            continue
        if row[2] == "battery_replaced" or row[2] == "voltage_corrected" and given.get("anew"):
            found.append((row[1], str(row[3])))
        elif row[2] == "voltages_exchanged":
            found += [(row[1], "house"), (row[1], "starter")]
        elif row[2] == "current_turned":
            found.append((row[1], "current"))
        elif needed <= given.keys():
            known = {f.name: given[f.name] for f in fields(CapacityTest) if f.name in given}
            found.append((row[1], CapacityTest(**{**known, "reached_end": bool(given["reached_end"])})))
    return found


def tell(states: Any, told: str | CapacityTest, vehicle: Vehicle) -> Any:
    """What the trackers hold after the owner told of something that begins trackers anew, or of a capacity test.

    states: what they held; told: as told_and_minutes gives it; vehicle: as it is known today.
    """
    fresh = pipeline.begin(vehicle)
    if isinstance(told, CapacityTest):
        return replace(states, health=health.note_capacity_test(states.health, told, vehicle),
                       charge=charge_tested.apply_capacity_test(states.charge, told))
    if told == "current":
        return channel_requests.begin_current_anew(states, fresh)
    return channel_requests.begin_battery_anew(states, fresh, told, vehicle)


def main() -> None:
    """The process of its own: polite to everything else on the board."""
    os.nice(19)
    vehicle = saving.from_text(Vehicle, sys.stdin.read())

    def say(**words: Any) -> None:
        print(json.dumps(words), flush=True)

    try:
        states, until_s = relive(Path(sys.argv[1]), vehicle, frozenset(sys.argv[2].split(",")), lambda done: say(part=round(done, 4)))
    except (reading.NoLog, OSError, ValueError) as error:
        say(failed=str(error))
        return
    say(states=saving.to_text(states), until_s=until_s)


if __name__ == "__main__":
    main()
