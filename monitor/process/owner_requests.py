"""What the owner asked for from a page or a command: a pure fold over what the daemon keeps."""
from collections.abc import Callable
from dataclasses import fields, replace
from math import hypot

from monitor.alerts import rules
from monitor.battery.label import CHEMISTRIES, CurrentSensor
from monitor.commissioning import steps
from monitor.estimation import house_charge
from monitor.findings import Condition, Event
from monitor.logbook.entries import Entry, add_entry
from monitor.process import channel_requests, load_names, undo
from monitor.process.requests_kept import Kept, Moment, Outcome
from monitor.store import saving
from monitor.store.batch import Batch
from monitor.store.requests import Request
from monitor.store.state import State
from monitor.usage import found_loads, run_kinds
from monitor.wear import battery_history, charge_tested, health
from monitor.wear.battery_history import Which
from monitor.wear.verdict import CapacityTest
from monitor.wear.watched_test import begin_test

#: Fewest readings of the house current that a zero is taken from.
LEAST_READINGS = 20
DAY_S = 86400.0
#: A load is steady while the current stays within this part of it, and this besides [A]; common practice of comparing two meters.
STEADY_FRAC, STEADY_A = 0.05, 0.2


def carry_out(kept: Kept, request: Request, now: Moment) -> Outcome:
    """Does what was asked. What cannot be done changes nothing and becomes an event that says why.

    kept: what the daemon keeps; request: what was asked, by its kind and values; now: the present.
    """
    try:
        before = undo.remember_before(request.kind, request.values, kept, now)
        done = _DO[request.kind](kept, now, **request.values)
        only_tried = request.kind in channel_requests.DO and done.kept is kept
        if before is not None and done.batch is not None and not only_tried:
            done = _with_entry(kept, request, now, done, before)
        if done.changes or done.batch is None or request.kind == "undo":
            return done  # these name who asked in their own words
        named = tuple(replace(e, message=e.message + asker(request.by)) for e in done.batch.events)
        return replace(done, batch=replace(done.batch, events=named))
    except (KeyError, ValueError, TypeError) as error:
        why = error.args[0] if error.args else error
        return Outcome(kept, refusal(request, error, now.at_s), refused=f"{why}.")


def _with_entry(kept: Kept, request: Request, now: Moment, done: Outcome, before: undo.Before) -> Outcome:
    """What was done, as an entry of the owner's that can be undone.

    kept: as it was before; before: what the entry is about, and what was there
    """
    assert done.batch is not None
    event, (subject, was) = done.batch.events[-1], before
    entries = add_entry(kept.entries, Entry(0, request.kind, subject, event.at_s, now.utc_s, request.by, event.message, was))
    return replace(done, kept=replace(done.kept, entries=entries), entry=kept.entries.next_id,
                   remember=(*done.remember, ("entries", saving.to_text(entries))))


def asker(by: str) -> str:
    """Who asked, to be added to a sentence."""
    return f" (asked by {by})" if by else ""


def refusal(request: Request, error: Exception, at_s: float) -> Batch:
    """The event that says why a request was not carried out.

    request: what was asked; error: why not; at_s: the log's time [s].
    """
    why = error.args[0] if error.args else error
    return Batch(events=(Event(at_s, "request_refused", "vehicle", f"Asked for {request.kind.replace('_', ' ')}; not done: {why}."
                                   + asker(request.by)),))


def _acknowledge(kept: Kept, now: Moment, alert: int) -> Outcome:
    return _alerts(kept, rules.acknowledge(kept.state.alerts, alert, now.at_s, now.by), "marked as seen", now.by)


def _shelve(kept: Kept, now: Moment, alert: int, for_s: float) -> Outcome:
    return _alerts(kept, rules.shelve(kept.state.alerts, alert, now.at_s + for_s, now.at_s), f"remind again in {for_s / 3600:g} h", now.by)


def _alerts(kept: Kept, alerts: rules.AlertsState, what: str, by: str) -> Outcome:
    """what: what was done to them, in words."""
    state = replace(kept.state, alerts=replace(alerts, news=()))
    events = tuple(Event(change.at_s, f"alert_{change.what}", change.alert.battery,
                         f"Alert {change.alert.id} ({change.alert.kind.replace('_', ' ')}) was {what} by {by or 'somebody'}.",
                         (("alert", float(change.alert.id)),)) for change in alerts.news)
    return Outcome(replace(kept, state=state), Batch(state=state, alerts=tuple(change.alert for change in alerts.news), events=events),
                   changes=alerts.news)


def _battery_replaced(kept: Kept, now: Moment, battery: str, rated_capacity_ah: float | None = None, label: str = "",
                      chemistry: str | None = None, at_utc_s: float | None = None) -> Outcome:
    """What was learnt of the old battery is put aside; everything else goes on."""
    which = _check_place(battery)
    if chemistry is not None and chemistry not in CHEMISTRIES:
        raise ValueError(f"no chemistry {chemistry!r:.20}; flooded, agm, gel or lfp")
    plate = getattr(kept.vehicle, battery)
    if rated_capacity_ah is not None:
        plate = replace(plate, rated_capacity_ah=float(rated_capacity_ah))
    if chemistry is not None and chemistry != plate.chemistry:
        # the charger's voltages were those of the old kind
        plate = replace(plate, chemistry=chemistry, absorption_v=None, float_v=None, equalise_v=None, acid_density_kg_l=None)
    vehicle = replace(kept.vehicle, house=plate) if battery == "house" else replace(kept.vehicle, starter=plate)
    when = now.utc_s if at_utc_s is None else at_utc_s
    history = battery_history.replace_battery(kept.history, which, kept.vehicle, vehicle, when, label)
    trackers = kept.state.watch
    state = replace(kept.state, watch=channel_requests.begin_battery_anew(trackers, now.begin(vehicle), battery, vehicle))
    words = f", {label}" if label else ""
    remember = [("batteries", saving.to_text(history))]
    if vehicle != kept.vehicle:
        words += f". Its label says {plate.rated_capacity_ah:g} Ah, {plate.chemistry}; write that into the configuration too"
        remember.append(("vehicle", saving.to_text(vehicle)))
    event = Event(now.at_s, "battery_replaced", which, f"A new {battery} battery was put in{words}.",
                  (("rated_capacity_ah", plate.rated_capacity_ah),))
    return Outcome(replace(kept, state=state, vehicle=vehicle, history=history), Batch(state=state, events=(event,)), tuple(remember))


def _battery_described(kept: Kept, now: Moment, battery: str, label: str | None = None,
                       installed_utc_s: float | None = None) -> Outcome:
    which = _check_place(battery)
    history = battery_history.describe_battery(kept.history, which, kept.vehicle, label, installed_utc_s)
    words = f": {battery_history.check_label(label)}" if label else ""
    event = Event(now.at_s, "battery_described", which, f"The owner recorded the {battery} battery{words}.")
    return Outcome(replace(kept, history=history), Batch(events=(event,)), (("batteries", saving.to_text(history)),))


def _capacity_tested(kept: Kept, now: Moment, capacity_ah: float, low_ah: float, high_ah: float, reached_end: int,
                     ended_utc_s: float, sigma_ln: float | None = None) -> Outcome:
    """A capacity test counts in the verdict from now on, and for the charge estimate."""
    vehicle, trackers = kept.vehicle, kept.state.watch
    if not 0 < low_ah <= capacity_ah <= high_ah < 5 * vehicle.house.rated_capacity_ah:
        raise ValueError(f"{low_ah:g} to {high_ah:g} Ah around {capacity_ah:g} Ah is no result of a capacity test")
    test = CapacityTest(now.at_s + min(ended_utc_s - now.utc_s, 0.0), float(capacity_ah), float(low_ah), float(high_ah), bool(reached_end),
                        None if sigma_ln is None else float(sigma_ln))
    if isinstance(getattr(trackers, "health", None), health.HealthState):
        before = trackers.health.test
        if before is not None and abs(before.at_s - test.at_s) < 60:
            return Outcome(kept)  # the same test asked for twice
        trackers = replace(trackers, health=health.note_capacity_test(trackers.health, test, vehicle))
    if isinstance(getattr(trackers, "charge", None), house_charge.HouseState):
        trackers = replace(trackers, charge=charge_tested.apply_capacity_test(trackers.charge, test))
    state = replace(kept.state, watch=trackers)
    found = f"{capacity_ah:.0f} Ah ({low_ah:.0f} to {high_ah:.0f})" if reached_end else f"at least {low_ah:.0f} Ah"
    event = Event(now.at_s, "capacity_test", "house", f"A capacity test of the house battery gave {found}.",
                  tuple((f.name, float(getattr(test, f.name))) for f in fields(test) if getattr(test, f.name) is not None))
    return Outcome(replace(kept, state=state), Batch(state=state, events=(event,)))


def _begin_capacity_test(kept: Kept, now: Moment, stop_v: float | None, to_reserve: int) -> Outcome:
    """The daemon follows a test from now on, until it ends or somebody ends it."""
    if kept.test is not None and kept.test.at_work:
        raise ValueError("a capacity test is being followed already; end it first")
    test = begin_test(kept.vehicle, now.at_s, now.by, stop_v, bool(to_reserve))
    event = Event(now.at_s, "capacity_test_begun", "house",
                  f"A capacity test of the house battery is followed; it ends at {test.stop_v:g} V"
                  + (" or at the reserve." if test.stop_frac is not None else "."))
    return Outcome(replace(kept, test=test), Batch(events=(event,)))


def _end_capacity_test(kept: Kept, now: Moment) -> Outcome:
    """The test is followed no further; nothing of it counts."""
    if kept.test is None or not kept.test.at_work:
        raise ValueError("no capacity test is being followed")
    test = replace(kept.test, over=f"{now.by or 'somebody'} ended it", over_s=now.at_s)
    event = Event(now.at_s, "capacity_test_left", "house",
                  f"The capacity test was ended after {test.run.drawn_ah:.0f} Ah; nothing of it counts.")
    return Outcome(replace(kept, test=test), Batch(events=(event,)))


def _test_alerts(kept: Kept, now: Moment) -> Outcome:
    """A test message goes out like any alert, by every channel, and is tried again like any other."""
    by = now.by or "somebody"
    condition = Condition("test", "vehicle", True, "low", "This is a test.", f"Nothing is wrong: {by} asked for it.", "",
                          "It is not an alert and needs no clearing.")
    event = Event(now.at_s, "test_message", "vehicle", f"A test message goes out by every channel; {by} asked for it.")
    return Outcome(kept, Batch(events=(event,)), changes=rules.update(rules.begin(), (condition,), now.at_s).news)


def _name_load(kept: Kept, now: Moment, load: int, name: str) -> Outcome:
    """A load that was found by its steps gets a name, another, or none."""
    tracker = getattr(kept.state.watch, "found_loads", None)
    found = tracker.found if isinstance(tracker, found_loads.FoundLoadsState) else ()
    vehicle = kept.vehicle
    before = run_kinds.find_named(found, vehicle.named_loads).get(load, "")
    named = load_names.rename(found, vehicle.named_loads, load, name)
    amps = next(one.current_a for one in found if one.number == load)
    now_called = named[-1].name if name.strip() else ""
    said = f'is "{now_called}"' if now_called else f'is no longer "{before}"'
    event = Event(now.at_s, "load_named", "house", f"The load of {amps:.1f} A {said}.", (("load", float(load)), ("current_a", amps)))
    vehicle = replace(vehicle, named_loads=named)
    return Outcome(replace(kept, vehicle=vehicle), Batch(state=kept.state, events=(event,)),
                   (("load_names", load_names.to_text(named)), ("vehicle", saving.to_text(vehicle))))


def _calibrate_zero(kept: Kept, now: Moment, minutes: float) -> Outcome:
    """The mean of what the shunt showed over the last minutes becomes its zero."""
    seen = now.currents_since(now.at_s - 60 * minutes)
    if len(seen) < LEAST_READINGS:
        raise ValueError(f"the house current was measured only {len(seen)} times in these {minutes:g} minutes")
    found = steps.zero(steps.show_reading(seen))
    board, sensor = kept.vehicle.board, kept.vehicle.current_sensor
    drawn_a = board.house_a / sensor.gain       # the board is a load that was on, seen by the shunt or not
    sensor = replace(sensor, offset_a=found.value + drawn_a, offset_sigma_a=hypot(found.sigma, board.current_sigma_a if drawn_a else 0.0))
    state = apply_zero(kept.state, sensor)
    event = Event(now.at_s, "calibrated", "house", f"The shunt's zero is {found.value + drawn_a:+.3f} A from {len(seen)} readings"
                  + (f", {board.house_a:g} A of this board counted as drawn." if drawn_a else "."),
                  (("offset_a", sensor.offset_a), ("offset_sigma_a", sensor.offset_sigma_a)))
    return Outcome(replace(kept, state=state, vehicle=replace(kept.vehicle, current_sensor=sensor)), Batch(state=state, events=(event,)),
                   (("calibration", saving.to_text(sensor)),))


def _calibrate_gain(kept: Kept, now: Moment, meter_a: float, digit_a: float, limit_frac: float, minutes: float) -> Outcome:
    """What a meter showed over what the shunt showed, over the last minutes with a steady load on, becomes its gain.

    meter_a, digit_a : what the meter shows and its last digit [A]; limit_frac : the meter's limit of error; minutes : how long
    the load has been on
    """
    seen = now.currents_since(now.at_s - 60 * minutes)
    if len(seen) < LEAST_READINGS:
        raise ValueError(f"the house current was measured only {len(seen)} times in these {minutes:g} minutes")
    if not 0 < limit_frac < 0.2 or not 0 <= digit_a <= abs(meter_a):
        raise ValueError(f"a meter with a limit of error of {100 * limit_frac:g} % and a last digit of {digit_a:g} A is of no use")
    shown, sensor = steps.show_reading(seen), kept.vehicle.current_sensor
    if shown.high - shown.low > STEADY_FRAC * abs(shown.mean) + STEADY_A:
        raise ValueError(f"the current went from {shown.low:.2f} to {shown.high:.2f} A meanwhile: switch on one steady load, wait, and "
                         "try again")
    found = steps.gain(steps.Meter(meter_a, digit_a), shown, steps.Found(sensor.offset_a, sensor.offset_sigma_a), limit_frac)
    if abs(found.value - 1.0) > steps.GAIN_FRAC:
        raise ValueError(f"the shunt shows {shown.mean:.2f} A where the meter shows {meter_a:g} A: that is a wrong scale, no gain; "
                         "`ampledger setup gain` sets the scale in the configuration")
    sensor = replace(sensor, gain=found.value, gain_sigma_frac=found.sigma / found.value)
    event = Event(now.at_s, "calibrated", "house", f"The shunt's gain is {found.value:.4g} (give or take "
                  f"{196 * sensor.gain_sigma_frac:.1f} %): {abs(meter_a):g} A by the meter, "
                  f"{abs(shown.mean - sensor.offset_a):.2f} A by the shunt.",
                  (("gain_ratio", sensor.gain), ("gain_sigma_frac", sensor.gain_sigma_frac)))
    return Outcome(replace(kept, vehicle=replace(kept.vehicle, current_sensor=sensor)), Batch(state=kept.state, events=(event,)),
                   (("calibration", saving.to_text(sensor)),))


def apply_zero(state: State, sensor: CurrentSensor) -> State:
    """The state after the shunt's zero was measured: what the charge estimate had learnt beyond it is put aside."""
    trackers = state.watch
    if not isinstance(getattr(trackers, "charge", None), house_charge.HouseState):
        return state
    calibrated = house_charge.calibrate_zero(trackers.charge, sensor.offset_sigma_a)
    return replace(state, watch=replace(trackers, charge=calibrated))


def _set_clock(kept: Kept, now: Moment, utc_s: float, sigma_s: float, asked_boot_s: float, sure: int = 0) -> Outcome:
    if not 0 < sigma_s < DAY_S:
        raise ValueError(f"a time that is known to {sigma_s:g} s is of no use")
    labels = now.tell_time(utc_s, sigma_s, asked_boot_s, bool(sure))
    if not labels:
        return Outcome(kept)
    return Outcome(kept, Batch(labels=labels, events=(Event(now.at_s, "clock_set", "vehicle",
                                                            "The owner said what time it is; the log is dated by it."),)))


def _relearn(kept: Kept, now: Moment) -> Outcome:
    return Outcome(kept, Batch(events=(Event(now.at_s, "relearning", "vehicle", "Everything is learnt again from the log."),)),
                   relearn=("everything",))


def _check_place(battery: str) -> Which:
    if battery == "house":
        return "house"
    if battery == "starter":
        return "starter"
    raise ValueError(f"no battery called {battery!r}; house or starter")


_DO: dict[str, Callable[..., Outcome]] = {
    "acknowledge": _acknowledge, "shelve": _shelve, "battery_replaced": _battery_replaced, "battery_described": _battery_described,
    "capacity_tested": _capacity_tested, "begin_capacity_test": _begin_capacity_test, "end_capacity_test": _end_capacity_test,
    "test_alerts": _test_alerts, "calibrate_zero": _calibrate_zero, "calibrate_gain": _calibrate_gain, "set_clock": _set_clock,
    "relearn": _relearn, "name_load": _name_load, **channel_requests.DO,
    "undo": undo.undo}
