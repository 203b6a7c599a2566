"""Undoing one of the owner's entries: what was there before is put back; what was learnt since is learnt again from the log."""
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from monitor.alerts import rules
from monitor.battery.label import Battery, CurrentSensor
from monitor.findings import Event
from monitor.logbook.entries import UNDONE, Entry, find_undoable, mark_undone
from monitor.process import channel_requests, load_names
from monitor.process.requests_kept import LEARNT, Kept, Moment, Outcome
from monitor.store import saving
from monitor.store.batch import Batch
from monitor.store.time_labels import Heard
from monitor.wear.battery_history import BatteryHistory
from monitor.wear.verdict import CapacityTest

#: What an entry is about, and what is there before it, by name.
Before = tuple[str, tuple[tuple[str, str], ...]]


def remember_before(kind: str, values: dict[str, Any], kept: Kept, now: Moment) -> Before | None:
    """(what an entry is about, what is there before it), for a kind that can be undone; None for another.

    kind, values : what is asked; kept : what the daemon keeps; now : the present
    """
    if kind in ("battery_replaced", "battery_described"):
        place = str(values.get("battery"))
        mine = BatteryHistory(tuple(life for life in kept.history.lives if life.battery == place))
        return f"{place} battery", (("battery", place), ("lives", saving.to_text(mine)),
                                    ("plate", saving.to_text(getattr(kept.vehicle, place, kept.vehicle.house))))
    if kind in ("calibrate_zero", "calibrate_gain"):
        return "shunt", (("sensor", saving.to_text(kept.vehicle.current_sensor)),)
    if kind in channel_requests.DO:
        about = {"calibrate_divider": f"{values.get('battery')} voltage", "calibrate_direction": "shunt"}
        return about.get(kind, "names of the batteries"), channel_requests.remember_channels(kept)
    if kind == "capacity_tested":
        test = getattr(getattr(kept.state.watch, "health", None), "test", None)
        return "capacity test", (("test", saving.to_text(test) if test is not None else ""),)
    if kind == "set_clock":
        return "clock", (("heard", saving.to_text(Heard(now.said_by_owner()))),)
    if kind == "name_load":
        return "load names", (("named", load_names.to_text(kept.vehicle.named_loads)),)
    if kind in ("acknowledge", "shelve"):
        return f"alert {values.get('alert')}", (("alert", str(values.get("alert"))),)
    return None


def undo(kept: Kept, now: Moment, entry: int) -> Outcome:
    """Puts back what was there before an entry. Raises ValueError or KeyError where that cannot be.

    kept: everything that can be put back; now: the moment, and who asks; entry: its number.
    """
    found = find_undoable(kept.entries, entry)
    back = _BACK[found.kind](kept, now, found, dict(found.before))
    entries = mark_undone(kept.entries, entry, now.utc_s, now.by)
    event = Event(now.at_s, UNDONE, "vehicle", f"Undone by {now.by or 'somebody'}: {found.said}",
                  (("entry", float(entry)), ("of_at_s", found.at_s)))
    batch = back.batch or Batch()
    return replace(back, kept=replace(back.kept, entries=entries), batch=replace(batch, events=(*batch.events, event)),
                   remember=(*back.remember, ("entries", saving.to_text(entries))))


def _battery(kept: Kept, _: Moment, entry: Entry, before: dict[str, str]) -> Outcome:
    place = before["battery"]
    others = tuple(life for life in kept.history.lives if life.battery != place)
    history = BatteryHistory((*others, *saving.from_text(BatteryHistory, before["lives"]).lives))
    remember = [("batteries", saving.to_text(history))]
    vehicle = kept.vehicle
    if entry.kind == "battery_replaced":
        plate = saving.from_text(Battery, before["plate"])
        vehicle = replace(vehicle, house=plate) if place == "house" else replace(vehicle, starter=plate)
        remember.append(("vehicle", saving.to_text(vehicle)))
    return Outcome(replace(kept, history=history, vehicle=vehicle), remember=tuple(remember),
                   relearn=LEARNT[place] if entry.kind == "battery_replaced" else ())


def _sensor(kept: Kept, _: Moment, __: Entry, before: dict[str, str]) -> Outcome:
    sensor = saving.from_text(CurrentSensor, before["sensor"])
    return Outcome(replace(kept, vehicle=replace(kept.vehicle, current_sensor=sensor)), remember=(("calibration", saving.to_text(sensor)),),
                   relearn=("charge",))


def _test(kept: Kept, _: Moment, __: Entry, before: dict[str, str]) -> Outcome:
    held = getattr(kept.state.watch, "health", None)
    if held is None:
        return Outcome(kept)
    test = saving.from_text(CapacityTest, before["test"]) if before["test"] else None
    watch = replace(kept.state.watch, health=replace(held, test=test, first_test=None if test is None else held.first_test))
    return Outcome(replace(kept, state=replace(kept.state, watch=watch)), relearn=("charge", "health"))


def _names(kept: Kept, _: Moment, __: Entry, before: dict[str, str]) -> Outcome:
    vehicle = replace(kept.vehicle, named_loads=load_names.read(before["named"]))
    return Outcome(replace(kept, vehicle=vehicle), remember=(("load_names", before["named"]), ("vehicle", saving.to_text(vehicle))))


def _clock(kept: Kept, now: Moment, _: Entry, before: dict[str, str]) -> Outcome:
    return Outcome(kept, Batch(labels=now.take_back_time(saving.from_text(Heard, before["heard"]).witnesses)))


def _alert(kept: Kept, now: Moment, entry: Entry, before: dict[str, str]) -> Outcome:
    take_back = rules.unacknowledge if entry.kind == "acknowledge" else rules.unshelve
    alerts = take_back(kept.state.alerts, int(before["alert"]), now.at_s)
    state = replace(kept.state, alerts=replace(alerts, news=()))
    batch = Batch(state=state, alerts=tuple(change.alert for change in alerts.news))
    return Outcome(replace(kept, state=state), batch, changes=alerts.news)


_BACK: dict[str, Callable[[Kept, Moment, Entry, dict[str, str]], Outcome]] = {
    "battery_replaced": _battery, "battery_described": _battery, "calibrate_zero": _sensor,
    "calibrate_gain": _sensor, "capacity_tested": _test, "set_clock": _clock, "name_load": _names,
    "acknowledge": _alert, "shelve": _alert, **channel_requests.BACK}
