"""Fills a log with a few plausible days of a camper, through the real trackers and the real transaction."""
from math import cos, pi
from pathlib import Path
from random import Random

from monitor import pipeline
from monitor.alerts import rules
from monitor.battery.label import Battery, Vehicle
from monitor.findings import Condition, Event
from monitor.logbook.rows import logged_minute
from monitor.sample import Sample
from monitor.sampling.gather import Gathering, minutes
from monitor.store import saving
from monitor.store.batch import Batch, Gap, TimeLabel
from monitor.store.open_log import OpenLog
from monitor.store.state import State
from monitor.store.write_queue import WriteQueue

#: 2026-06-21 00:00 UTC, the moment of second 0 of the fixture's line of time
BEGINS_UTC_S = 1782000000.0
VEHICLE = Vehicle(Battery("house", "agm", 60.0, absorption_v=14.4, float_v=13.6), Battery("starter", "agm", 70.0))


def samples(days: float, beat_s: float = 20.0, seed: int = 1):
    """A fridge at night, sun by day, a drive each morning at nine. Not a model of anything: rows to look at."""
    chance = Random(seed)
    charge_ah = 45.0
    for i in range(1, int(days * 86400 / beat_s) + 1):
        at_s = i * beat_s
        hour = at_s / 3600 % 24
        driving = 9.0 <= hour < 9.5
        sun_a = max(0.0, 9.0 * -cos(hour * pi / 12)) if 6 < hour < 18 else 0.0
        current_a = sun_a - (4.0 if at_s % 1800 < 600 else 0.5) + (15.0 if driving else 0.0)
        if charge_ah > 59.0:
            current_a = min(current_a, 0.4)
        charge_ah = min(60.0, charge_ah + current_a * beat_s / 3600)
        house_v = 11.9 + 0.9 * charge_ah / 60 + 0.04 * current_a + chance.gauss(0, 0.003)
        starter_v = house_v + 0.15 if driving else 12.72 + chance.gauss(0, 0.003)
        yield Sample(at_s, round(min(house_v, 14.4), 3), round(current_a + chance.gauss(0, 0.02), 3), round(starter_v, 3),
                     round(21 - 5 * cos((hour - 3) * pi / 12), 2), hour=hour)


def fill(database: Path, days: float = 2.0, beat_s: float = 20.0, seed: int = 1, simulated: bool = True) -> Path:
    """Makes a log of so many days, with a silence, an event of it, an open alert and one that cleared."""
    log = OpenLog(database, {"simulated": str(int(simulated)), "vehicle": saving.to_text(VEHICLE)})
    try:
        held, alerts = pipeline.begin(VEHICLE), rules.begin()
        pending = WriteQueue()
        pending.add(Batch(labels=(TimeLabel(0.0, "the-first-boot", BEGINS_UTC_S, 0.0, True, "fixture"),)))
        quiet_s = (days * 86400 - 7200, days * 86400 - 5400)  # the cable of the starter sensor is off
        for minute in minutes(_with_silence(samples(days, beat_s, seed), *quiet_s)):
            before = held.counts.total
            held, found = pipeline.step(held, minute, VEHICLE)
            script = _scripted(minute.end_s, days * 86400)
            seen = (*(c for c in found.conditions if c.kind not in {s.kind for s in script}), *script)
            alerts = rules.update(alerts, seen, minute.end_s)
            pending.add(Batch(minute.samples, (logged_minute(minute, found, before),), State(held, alerts, Gathering()), found.news,
                              tuple(change.alert for change in alerts.news)))
            if len(pending.minutes) >= 720:
                log.write(pending)
                pending = WriteQueue()
        pending.add(Batch(gaps=(Gap("starter_voltage_v", "adc at 0x48 does not answer", *quiet_s, 90),),
                          events=(Event(quiet_s[0], "sensor_lost", "starter", "The starter voltage is not measured."),)))
        log.write(pending)
    finally:
        log.close()
    return database


def _with_silence(rows, from_s: float, until_s: float):
    for s in rows:
        lost = from_s < s.at_s <= until_s
        yield Sample(s.at_s, s.house_voltage_v, s.house_current_a, None if lost else s.starter_voltage_v,
                     s.house_temperature_c, hour=s.hour)


def _scripted(at_s: float, end_s: float) -> tuple[Condition, ...]:
    """One alert that came and went, and one that is open at the end."""
    return (
        Condition("sensor_lost", "starter", end_s - 7200 < at_s <= end_s - 5400, "medium", "The starter sensor was silent.",
                  "Nothing is known of the starter battery meanwhile.", "Look at its plug.", "It answers again."),
        Condition("house_low", "house", at_s > end_s - 3600, "high", "The house battery is at 31 %.",
                  "The reserve is near.", "Switch the fridge to its low step.", "It is above 40 % again.",
                  figures=(("charge_frac", 0.31),)),
    )
