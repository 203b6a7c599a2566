"""What the owner asked for from a page or a command, carried out between two beats."""
import logging
from dataclasses import fields, replace
from typing import Any

from monitor.alerts import rules
from monitor.battery.label import CHEMISTRIES, CurrentSensor
from monitor.commissioning import steps
from monitor.estimation import charge
from monitor.findings import Event
from monitor.planning import battery_history
from monitor.store import saving
from monitor.store.batch import Batch
from monitor.store.requests import Request
from monitor.wear import charge_tested, health
from monitor.wear.verdict import CapacityTest

log = logging.getLogger("ampledger.requests")


def carry_out(daemon: Any, request: Request, at_s: float) -> Batch | None:
    """Does what was asked; returns what is to be logged, or None where nothing changed."""
    try:
        return _DO[request.kind](daemon, at_s, **request.values)
    except (KeyError, ValueError, TypeError) as error:
        log.warning("asked for %s, not done: %s", request.kind, error.args[0] if error.args else error)
        return Batch(events=(Event(at_s, "request_refused", "vehicle", f"Asked for {request.kind.replace('_', ' ')}; not done: "
                                   f"{error.args[0] if error.args else error}."),))


def _acknowledge(daemon: Any, at_s: float, alert: int) -> Batch:
    return _alerts(daemon, rules.acknowledge(daemon.state.alerts, alert, at_s))


def _shelve(daemon: Any, at_s: float, alert: int, for_s: float) -> Batch:
    return _alerts(daemon, rules.shelve(daemon.state.alerts, alert, at_s + for_s, at_s))


def _alerts(daemon: Any, held: rules.AlertsState) -> Batch:
    daemon.state = replace(daemon.state, alerts=replace(held, news=()))
    return Batch(state=daemon.state, alerts=tuple(change.alert for change in held.news))


def _battery_replaced(daemon: Any, at_s: float, battery: str, rated_capacity_ah: float | None = None, label: str = "",
                      chemistry: str | None = None, at_utc_s: float | None = None) -> Batch:
    """What was learnt of the old battery is put aside; everything else goes on."""
    _place(battery)
    if chemistry is not None and chemistry not in CHEMISTRIES:
        raise ValueError(f"no chemistry {chemistry!r:.20}; flooded, agm, gel or lfp")
    before, vehicle = daemon.vehicle, daemon.vehicle
    plate = getattr(vehicle, battery)
    if rated_capacity_ah is not None:
        plate = replace(plate, rated_capacity_ah=float(rated_capacity_ah))
    if chemistry is not None and chemistry != plate.chemistry:
        # the charger's voltages were those of the old kind
        plate = replace(plate, chemistry=chemistry, absorption_v=None, float_v=None, equalise_v=None)
    vehicle = replace(vehicle, **{battery: plate})
    when = _utc_s(daemon, at_s) if at_utc_s is None else at_utc_s
    lives = battery_history.replace_battery(daemon.lives, battery, before, vehicle, when, label)
    if vehicle != before:
        daemon.vehicle = vehicle
        daemon.writer.remember("vehicle", saving.to_text(vehicle))
    _keep(daemon, lives)
    fresh, held = daemon.begin_trackers(vehicle), daemon.state.watch
    names = {"house": ("charge", "health", "limits"), "starter": ("starter",)}[battery]
    begun = {name: getattr(fresh, name) for name in names if hasattr(held, name)}
    if isinstance(begun.get("charge"), charge.ChargeState):
        begun["charge"] = charge.replaced(held.charge, vehicle)  # the shunt and the habits belong to the vehicle
    held = replace(held, **begun)
    daemon.state = replace(daemon.state, watch=held)
    words = f", {label}" if label else ""
    if vehicle != before:
        words += f". Its label says {plate.rated_capacity_ah:g} Ah, {plate.chemistry}; write that into the configuration too"
    return Batch(state=daemon.state, events=(Event(at_s, "battery_replaced", battery, f"A new {battery} battery was put in{words}.",
                                                   (("rated_capacity_ah", plate.rated_capacity_ah),)),))


def _battery_described(daemon: Any, at_s: float, battery: str, label: str | None = None,
                       installed_utc_s: float | None = None) -> Batch:
    _place(battery)
    _keep(daemon, battery_history.describe_battery(daemon.lives, battery, daemon.vehicle, label, installed_utc_s))
    return Batch(events=(Event(at_s, "battery_described", battery, f"The owner told of the {battery} battery"
                               f"{f': {battery_history.check_label(label)}' if label else ''}."),))


def _capacity_tested(daemon: Any, at_s: float, capacity_ah: float, low_ah: float, high_ah: float, reached_end: int,
                     ended_utc_s: float) -> Batch | None:
    """A capacity test speaks in the verdict from now on, and to the charge tracker."""
    if not 0 < low_ah <= capacity_ah <= high_ah < 5 * daemon.vehicle.house.rated_capacity_ah:
        raise ValueError(f"{low_ah:g} to {high_ah:g} Ah around {capacity_ah:g} Ah is no result of a capacity test")
    test = CapacityTest(at_s + min(ended_utc_s - _utc_s(daemon, at_s), 0.0), float(capacity_ah), float(low_ah), float(high_ah),
                        bool(reached_end))
    held, vehicle = daemon.state.watch, daemon.vehicle
    before = held.health.test if isinstance(getattr(held, "health", None), health.HealthState) else None
    if before is not None and abs(before.at_s - test.at_s) < 60:
        return None  # the same test asked for twice
    if isinstance(getattr(held, "health", None), health.HealthState):
        held = replace(held, health=health.note_capacity_test(held.health, test, vehicle))
    if isinstance(getattr(held, "charge", None), charge.ChargeState):
        held = replace(held, charge=charge_tested.apply_capacity_test(held.charge, test, vehicle))
    daemon.state = replace(daemon.state, watch=held)
    found = f"{capacity_ah:.0f} Ah ({low_ah:.0f} to {high_ah:.0f})" if reached_end else f"at least {low_ah:.0f} Ah"
    return Batch(state=daemon.state, events=(Event(at_s, "capacity_test", "house", f"A capacity test of the house battery gave {found}.",
                                                   tuple((f.name, float(getattr(test, f.name))) for f in fields(test))),))


def _place(battery: str) -> None:
    if battery not in ("house", "starter"):
        raise ValueError(f"no battery called {battery!r}; house or starter")


def _utc_s(daemon: Any, at_s: float) -> float:
    return at_s + daemon.label.utc_offset_s


def _keep(daemon: Any, lives: battery_history.BatteryHistory) -> None:
    daemon.lives = lives
    daemon.writer.remember("batteries", saving.to_text(lives))


def _calibrate_zero(daemon: Any, at_s: float, minutes: float) -> Batch:
    """The mean of what the shunt showed over the last minutes becomes its zero."""
    seen = daemon.currents_since(at_s - 60 * minutes)
    if len(seen) < 20:
        raise ValueError(f"the house current was measured only {len(seen)} times in these {minutes:g} minutes")
    found = steps.zero(steps.show_reading(seen))
    mean = found.value
    sensor = replace(daemon.vehicle.current_sensor, offset_a=mean, offset_sigma_a=found.sigma)
    daemon.vehicle = replace(daemon.vehicle, current_sensor=sensor)
    daemon.writer.remember("calibration", saving.to_text(sensor))
    daemon.state = apply_zero(daemon.state, sensor)
    return Batch(state=daemon.state, events=(Event(at_s, "calibrated", "house", f"The shunt's zero is {mean:+.3f} A from {len(seen)} readings.",
                               (("offset_a", mean), ("offset_sigma_a", sensor.offset_sigma_a))),))


def apply_zero(state: Any, sensor: CurrentSensor) -> Any:
    """The daemon's state after the shunt's zero was measured: what the charge filter had learnt beyond it is put aside."""
    held = state.watch
    if not isinstance(getattr(held, "charge", None), charge.ChargeState):
        return state
    return replace(state, watch=replace(held, charge=charge.calibrated_zero(held.charge, sensor.offset_a, sensor.offset_sigma_a)))


def _set_clock(daemon: Any, at_s: float, utc_s: float, sigma_s: float, asked_boot_s: float, sure: int = 0) -> Batch | None:
    if not 0 < sigma_s < 86400:
        raise ValueError(f"a time that is known to {sigma_s:g} s is of no use")
    labels = daemon.dated_by_owner(utc_s, sigma_s, asked_boot_s, bool(sure))
    if not labels:
        return None
    return Batch(labels=labels, events=(Event(at_s, "clock_set", "vehicle", "The owner said what time it is; the log is dated by it."),))


_DO = {"acknowledge": _acknowledge, "shelve": _shelve, "battery_replaced": _battery_replaced, "battery_described": _battery_described,
       "capacity_tested": _capacity_tested, "calibrate_zero": _calibrate_zero, "set_clock": _set_clock}
