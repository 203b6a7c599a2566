"""Dividers, the way the current counts and which battery is which, put right by the owner while the daemon runs: a pure fold."""
from collections.abc import Callable
from dataclasses import replace
from statistics import fmean
from typing import Any

from monitor.battery.label import CurrentSensor, Vehicle
from monitor.commissioning import steps
from monitor.commissioning.identify_batteries import identify_batteries
from monitor.estimation import house_charge
from monitor.findings import Event
from monitor.logbook.entries import Entry
from monitor.process.requests_kept import LEARNT, Kept, Moment, Outcome
from monitor.sampling.correction import ChannelCorrection, Corrections
from monitor.store import saving
from monitor.store.batch import Batch

#: A comparison takes the readings of so many seconds, or of a slow instrument the latest so many of the last few minutes.
LATEST_S, SLOW_S, LEAST_READINGS = 15.0, 300.0, 3
#: The load was switched on at most so long ago; the current just before it is looked at for so long [s].
SWITCHED_S, BEFORE_S = 180.0, 10.0
#: A start of the engine is looked for in the last minutes [s].
START_S = 600.0
#: A voltage that was wrong by more than this has taught the estimators something wrong (40 to 60 mV of 12 V; choice).
ANEW_FRAC = 0.005
#: What is learnt from the house current.
CURRENT_LEARNT = ("charge", "loads", "found_loads", "forecast", "health", "limits", "plausibility", "protection")


def calibrate_divider(kept: Kept, now: Moment, battery: str, meter_v: float, digit_v: float, limit_frac: float) -> Outcome:
    """A voltage is what a multimeter shows at the posts.

    kept: what the daemon keeps; now: the present; battery: whose; meter_v, digit_v: what the meter shows and its last
    digit [V]; limit_frac: the meter's limit of error
    """
    quantity = _voltage_of(battery)
    if not 0 < limit_frac < 0.2 or not 0 <= digit_v <= 1:
        raise ValueError(f"a meter with a limit of error of {100 * limit_frac:g} % and a last digit of {digit_v:g} V is of no use")
    configured, channel = _channel(now, quantity)
    shown = _reading_of(now, quantity)
    found = steps.voltage_factor(steps.Meter(meter_v, digit_v), shown, limit_frac)
    before = kept.corrections.of(configured, channel)
    row = ChannelCorrection(configured, channel, (before.factor if before else 1.0) * found.value, found.sigma / found.value)
    vehicle = _with_doubt(kept.vehicle, battery, row.sigma_frac)
    anew = before is None and now.is_unknown(quantity) or abs(found.value - 1.0) > ANEW_FRAC
    state = replace(kept.state, watch=begin_battery_anew(kept.state.watch, now.begin(vehicle), battery, vehicle)) if anew else kept.state
    said = (f"The {battery} voltage was {shown.mean:.2f} V where the multimeter shows {meter_v:g} V; from now on it is multiplied by "
            f"{row.factor:.4g} (give or take {196 * row.sigma_frac:.1f} %)." if row.sigma_frac is not None else "")
    event = Event(now.at_s, "voltage_corrected", "house" if battery == "house" else "starter",
                  said + (f" What was learnt of the {battery} battery's voltage begins anew." if anew else ""),
                  (("factor", row.factor), ("anew", float(anew))))
    return _outcome_with(replace(kept, vehicle=vehicle, state=state), kept.corrections.put(row), event)


def calibrate_direction(kept: Kept, now: Moment, discharging: int) -> Outcome:
    """The way the current counts, from a load (discharging) or a charger that was just switched on.

    kept: what the daemon keeps; now: the present; discharging: a load is on, not a charger
    """
    current_a, before_a = _find_current_step(now)
    sign = steps.direction(current_a, before_a, bool(discharging))
    what = "load" if discharging else "charger"
    seen = (f"With the {what} on the house current shows {current_a:+.2f} A"
            + ("" if before_a is None else f", {before_a:+.2f} A before it was switched on"))
    if sign > 0:
        return Outcome(kept, Batch(events=(Event(now.at_s, "current_tried", "house", f"{seen}: it counts the right way."),)))
    configured, channel = _channel(now, "house_current_a")
    before = kept.corrections.of(configured, channel)
    row = ChannelCorrection(configured, channel, -(before.factor if before else 1.0))
    sensor = _reverse_sensor(kept.vehicle)
    vehicle = replace(kept.vehicle, current_sensor=sensor)
    state = replace(kept.state, watch=begin_current_anew(kept.state.watch, now.begin(vehicle)))
    event = Event(now.at_s, "current_turned", "house", f"{seen}: it counted the wrong way round, and is turned round from now on. What was "
                  "learnt by it begins anew.", (("factor", row.factor),))
    done = _outcome_with(replace(kept, vehicle=vehicle, state=state), kept.corrections.put(row), event)
    return replace(done, remember=(*done.remember, ("calibration", saving.to_text(sensor))))


def identify_by_start(kept: Kept, now: Moment) -> Outcome:
    """Which battery is which, from a start of the engine in the last minutes; the two change names where they are wrong."""
    volts = [dict(now.readings_since(quantity, now.at_s - START_S)) for quantity in ("house_voltage_v", "starter_voltage_v")]
    rows = [(at_s, volts[0][at_s], volts[1][at_s]) for at_s in sorted(volts[0].keys() & volts[1].keys())]
    found = identify_batteries(rows)
    if not found.first_starts:
        event = Event(now.at_s, "batteries_tried", "vehicle", f"The battery called starter started the engine ({found.seen}): they are "
                      "called right.")
        return Outcome(kept, Batch(events=(event,)))
    both = now.voltage_channels()
    if not both:
        raise ValueError("the two voltages are not both measured")
    corrections = replace(kept.corrections, exchanged="" if kept.corrections.exchanged == both else both)
    watch = kept.state.watch
    for battery in ("house", "starter"):
        watch = begin_battery_anew(watch, now.begin(kept.vehicle), battery, kept.vehicle)
    event = Event(now.at_s, "voltages_exchanged", "vehicle", f"The battery called house started the engine ({found.seen}): the two "
                  "voltages have changed places from now on. What was learnt of them begins anew.")
    return _outcome_with(replace(kept, state=replace(kept.state, watch=watch)), corrections, event)


def begin_current_anew(trackers: Any, fresh: Any) -> Any:
    """The trackers with everything anew that was learnt from a current of the wrong sign.

    trackers: as they are; fresh: as they begin
    """
    return replace(trackers, **{name: getattr(fresh, name) for name in CURRENT_LEARNT if hasattr(trackers, name)})


def begin_battery_anew(trackers: Any, fresh: Any, battery: str, vehicle: Vehicle) -> Any:
    """The trackers with those of one battery anew; the shunt and the habits belong to the vehicle and stay.

    trackers: as they are; fresh: as they begin; battery: house or starter; vehicle: with it
    """
    begun = {name: getattr(fresh, name) for name in LEARNT[battery] if hasattr(trackers, name)}
    if isinstance(begun.get("charge"), house_charge.HouseState):
        begun["charge"] = house_charge.replace_battery(trackers.charge, vehicle)
    return replace(trackers, **begun)


def remember_channels(kept: Kept) -> tuple[tuple[str, str], ...]:
    """What is there before one of these requests, by name, as text."""
    return (("corrections", saving.to_text(kept.corrections)), ("sensor", saving.to_text(kept.vehicle.current_sensor)),
            ("vehicle", saving.to_text(kept.vehicle)))


def undo_divider(kept: Kept, now: Moment, entry: Entry, before: dict[str, str]) -> Outcome:
    """Puts back the one voltage that was corrected; others stay as they are by now.

    kept: as it is; now: the present; entry: what is undone; before: what was there
    """
    battery = "house" if entry.subject.startswith("house") else "starter"
    was = saving.from_text(Corrections, before["corrections"])
    quantity, _ = _channel(now, _voltage_of(battery))
    rows = (*(r for r in kept.corrections.rows if r.quantity != quantity), *(r for r in was.rows if r.quantity == quantity))
    doubt = getattr(saving.from_text(Vehicle, before["vehicle"]), battery).voltage_sigma_frac
    return _put_back(replace(kept, vehicle=_with_doubt(kept.vehicle, battery, doubt)), replace(kept.corrections, rows=rows),
                     LEARNT[battery])


def undo_direction(kept: Kept, _: Moment, __: Entry, before: dict[str, str]) -> Outcome:
    """Puts back the way the current counted, and the shunt's zero with it.

    kept: as it is; before: what was there
    """
    was = saving.from_text(Corrections, before["corrections"])
    sensor = saving.from_text(CurrentSensor, before["sensor"])
    rows = (*(r for r in kept.corrections.rows if r.quantity != "house_current_a"),
            *(r for r in was.rows if r.quantity == "house_current_a"))
    vehicle = replace(kept.vehicle, current_sensor=sensor)
    done = _put_back(replace(kept, vehicle=vehicle), replace(kept.corrections, rows=rows), CURRENT_LEARNT)
    return replace(done, remember=(*done.remember, ("calibration", saving.to_text(sensor))))


def undo_names(kept: Kept, _: Moment, __: Entry, before: dict[str, str]) -> Outcome:
    """Lets the two voltages change places again.

    kept: as it is; before: what was there
    """
    was = saving.from_text(Corrections, before["corrections"]).exchanged
    return _put_back(kept, replace(kept.corrections, exchanged=was), (*LEARNT["house"], *LEARNT["starter"]))


def _put_back(kept: Kept, corrections: Corrections, relearn: tuple[str, ...]) -> Outcome:
    return Outcome(replace(kept, corrections=corrections), remember=(("corrections", saving.to_text(corrections)),), relearn=relearn)


def _outcome_with(kept: Kept, corrections: Corrections, event: Event) -> Outcome:
    return Outcome(replace(kept, corrections=corrections), Batch(state=kept.state, events=(event,)),
                   (("corrections", saving.to_text(corrections)),))


def _voltage_of(battery: str) -> str:
    if battery not in ("house", "starter"):
        raise ValueError(f"no battery called {battery!r:.20}; house or starter")
    return f"{battery}_voltage_v"


def _channel(now: Moment, quantity: str) -> tuple[str, str]:
    """(the quantity as the configuration calls it, what it says of the channel)."""
    found = now.channel_of(quantity)
    if found is None:
        raise ValueError(f"nothing measures the {quantity.rpartition('_')[0].replace('_', ' ')}")
    return found


def _reading_of(now: Moment, quantity: str) -> steps.Shown:
    """What a quantity showed just now."""
    pairs = now.readings_since(quantity, now.at_s - SLOW_S)
    late = [value for at_s, value in pairs if at_s > now.at_s - LATEST_S]
    return steps.show_reading(late if len(late) >= LEAST_READINGS else [value for _, value in pairs[-LEAST_READINGS:]])


def _find_current_step(now: Moment) -> tuple[float, float | None]:
    """(the house current now, what it was before it last changed; None where it did not change lately) [A]."""
    pairs = now.readings_since("house_current_a", now.at_s - SWITCHED_S)
    if len(pairs) < LEAST_READINGS:
        raise ValueError("the house current is not measured")
    end_s = pairs[-1][0]
    late = [value for at_s, value in pairs if at_s > end_s - BEFORE_S / 2] if len(pairs) > 20 else [pairs[-1][1]]
    current_a = fmean(late)
    change = next((k for k in range(len(pairs) - 1, -1, -1) if abs(pairs[k][1] - current_a) >= steps.LEAST_STEP_A
                   and abs(pairs[k][1] - current_a) >= 0.25 * abs(current_a)), None)
    if change is None:
        return current_a, None
    steady = [value for at_s, value in pairs[:change + 1] if at_s >= pairs[change][0] - BEFORE_S]
    return current_a, fmean(steady)


def _reverse_sensor(vehicle: Vehicle) -> CurrentSensor:
    """The shunt's word after the current was turned round: what the board drew had been taken off the wrong way."""
    sensor, board = vehicle.current_sensor, vehicle.board
    through_a = board.current_a / sensor.gain if board.supply == "through_shunt" else 0.0
    past_a = board.house_a / sensor.gain if board.supply == "past_shunt" else 0.0  # part of the zero, and not measured
    measured_a = sensor.offset_a - past_a
    return replace(sensor, offset_a=(-measured_a + 2 * through_a if measured_a else 0.0) + past_a)


def _with_doubt(vehicle: Vehicle, battery: str, sigma_frac: float | None) -> Vehicle:
    label: Any = replace(getattr(vehicle, battery), voltage_sigma_frac=sigma_frac)
    return replace(vehicle, house=label) if battery == "house" else replace(vehicle, starter=label)


#: kind of request -> what does it; what undoes it; what it is about
DO: dict[str, Callable[..., Outcome]] = {
    "calibrate_divider": calibrate_divider, "calibrate_direction": calibrate_direction, "identify_by_start": identify_by_start}
BACK: dict[str, Callable[[Kept, Moment, Entry, dict[str, str]], Outcome]] = {
    "calibrate_divider": undo_divider, "calibrate_direction": undo_direction, "identify_by_start": undo_names}
