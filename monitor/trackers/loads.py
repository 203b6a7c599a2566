"""Who took the charge: net current split into load and harvest, and the loads told apart."""
from dataclasses import dataclass, replace

from monitor.battery import Vehicle
from monitor.findings import Answer, ChargeFindings, Condition, Estimate, Event, JoinFindings, NotYet
from monitor.sample import Minute
from monitor.trackers import harvest, history, solar_clock
from monitor.trackers.harvest import Half, Sky
from monitor.trackers.history import DAY_SLOTS, SLOT_S, History
from monitor.trackers.solar_clock import SolarClock


@dataclass(frozen=True, slots=True)
class Slot:
    """The half hour being filled."""

    number: int
    covered_s: float = 0.0
    net_as: float = 0.0
    solar_as: float = 0.0
    solar_s: float = 0.0
    curtailed_s: float = 0.0
    apart_s: float = 0.0        # engine, mains, or loads cut off: not this vehicle's ordinary life


@dataclass(frozen=True, slots=True)
class Held:
    """Everything the loads tracker carries from minute to minute."""

    slot: Slot | None = None
    past: History = History()
    sky: Sky = Sky()
    clock: SolarClock = SolarClock()
    hour_known: bool = False
    paused_slot: int | None = None      # the first slot after a pause of unsure length
    temperature_c: float | None = None
    high_today: bool = False            # the charger has reached its absorption voltage since dawn
    curtailed: bool = False
    load_a: float | None = None         # of the last whole half hour
    harvest_a: float | None = None
    drive_charge_a: float | None = None     # into the house battery while the engine ran, not yet tapering
    drive_h: float = 0.0
    news: tuple[Event, ...] = ()


@dataclass(frozen=True, slots=True)
class Findings:
    """Who took the charge. Currents in amperes, positive; loads leave the battery, harvest enters."""

    harvest_a: Answer
    load_a: Answer
    base_a: Answer
    load_ah_per_day: Answer
    harvest_ah_per_day: Answer
    curtailed: bool = False
    sun_rises_solar_hour: float | None = None
    sun_leaves_solar_hour: float | None = None
    solar_hour: float | None = None


def begin(vehicle: Vehicle) -> Held:
    """Nothing seen yet."""
    return Held()


def update(held: Held, minute: Minute, vehicle: Vehicle, join: JoinFindings, charge: ChargeFindings) -> Held:
    """One minute further; at the end of each half hour the split is made and remembered."""
    clock, paused = held.clock, held.paused_slot
    if minute.hour is not None and not held.hour_known:
        clock = solar_clock.told(clock, minute.end_s, minute.hour)
        held = replace(held, hour_known=True)
    if minute.gap_doubt_s > SLOT_S / 2 and minute.hour is None:
        clock = solar_clock.doubted(clock, minute.gap_doubt_s)
        paused = solar_clock.slot_of(clock, minute.end_s)
    number = solar_clock.slot_of(clock, minute.end_s)
    slot = held.slot
    if slot is None or slot.number != number:
        if slot is not None:
            held = _close(replace(held, clock=clock), slot, charge, vehicle)
            clock = held.clock
        number = solar_clock.slot_of(clock, minute.end_s)
        slot = Slot(number)
    raw_a = minute.house_current_a
    temperature_c = minute.ambient_temperature_c
    if temperature_c is None:
        temperature_c = minute.house_temperature_c
    if temperature_c is None:
        temperature_c = held.temperature_c
    curtailed, high, drive_a, drive_h = held.curtailed, held.high_today, held.drive_charge_a, held.drive_h
    if raw_a is not None and minute.covered_s > 0:
        sensor = vehicle.current_sensor
        current_a = (raw_a - sensor.offset_a) * sensor.gain
        running = join.engine in ("running", "cranking")
        curtailed, high = _curtailed(minute, vehicle, current_a, high)
        span = minute.covered_s
        slot = Slot(
            number, slot.covered_s + span, slot.net_as + current_a * span,
            slot.solar_as + (minute.solar_current_a or 0.0) * span,
            slot.solar_s + (span if minute.solar_current_a is not None else 0.0),
            slot.curtailed_s + (span if curtailed else 0.0),
            slot.apart_s + (span if running or _cut_off(minute, charge) else 0.0),
        )
        if running and current_a > 0.5 and not curtailed:
            drive_h += span / 3600
            drive_a = current_a if drive_a is None else drive_a + min(span / 3600 / min(drive_h, 3.0), 1.0) * (
                current_a - drive_a)
    return Held(slot, held.past, held.sky, clock, held.hour_known, paused, temperature_c, high, curtailed,
                held.load_a, held.harvest_a, drive_a, drive_h)


def _curtailed(minute: Minute, vehicle: Vehicle, current_a: float, high: bool) -> tuple[bool, bool]:
    """Whether the charger holds back what the sun could give, and whether it has today."""
    battery, volts = vehicle.house, minute.house_voltage_v
    if volts is None:
        return False, high
    absorption_v = battery.absorption_v or (14.4 if battery.lead_acid else 14.2)
    if volts > absorption_v - 0.12:
        return True, True
    float_v = battery.float_v or (13.6 if battery.lead_acid else 13.5)
    in_float = high and abs(volts - float_v) < 0.12 and abs(current_a) < 0.04 * battery.rated_capacity_ah
    return in_float, high


def _cut_off(minute: Minute, charge: ChargeFindings) -> bool:
    """Whether the battery is so flat that loads have switched themselves off: what they would take is not seen."""
    return isinstance(charge.charge_frac, Estimate) and charge.charge_frac.high < 0.08 or (
        minute.house_voltage_v is not None and minute.house_voltage_v < 10.9)


def _close(held: Held, slot: Slot, charge: ChargeFindings, vehicle: Vehicle) -> Held:
    """The half hour is over: split it, learn from it, keep it."""
    load_a: float | None = None
    harvest_a: float | None = None
    sky, past = held.sky, held.past
    if slot.covered_s > 0.6 * SLOT_S and slot.apart_s < 0.1 * slot.covered_s:
        offset_a = _offset_a(charge)
        half = Half(
            slot.number, slot.net_as / slot.covered_s - offset_a,
            slot.solar_as / slot.solar_s if slot.solar_s > 0.9 * slot.covered_s else None,
            slot.curtailed_s > 0.3 * slot.covered_s, held.temperature_c)
        load_a, harvest_a = harvest.split(sky, half)
        if half.solar_a is None and sky.learnt and harvest.dark(sky, slot.number) and half.net_a > 0.5:
            load_a = None  # charged in the dark: mains
        if solar_clock.settled(held.clock):
            sky = harvest.seen(sky, half, harvest_a)
        kept_harvest = harvest.potential_a(sky, half, harvest_a)
    else:
        kept_harvest = None
    past = history.add(past, slot.number, load_a, kept_harvest, held.temperature_c)
    clock, paused, high = held.clock, held.paused_slot, held.high_today
    if slot.number % DAY_SLOTS == DAY_SLOTS - 1:
        high = False
        before = clock.shift_slots
        clock, past, paused = _midnight(clock, past, paused)
        sky = harvest.new_day(harvest.turned(sky, clock.shift_slots - before))
    return replace(held, past=past, sky=sky, clock=clock, paused_slot=paused, high_today=high,
                   load_a=load_a if load_a is not None else held.load_a, harvest_a=harvest_a)


def _offset_a(charge: ChargeFindings) -> float:
    return charge.current_offset_a.value if isinstance(charge.current_offset_a, Estimate) else 0.0


def _midnight(clock: SolarClock, past: History, paused: int | None) -> tuple[SolarClock, History, int | None]:
    """Look where noon was in the day that ends, and renumber the slots if it was not at 24."""
    day = past.harvest_a[-DAY_SLOTS:]
    if len(day) < DAY_SLOTS or day.count(None) > 10:
        return clock, past, paused
    middle_s = solar_clock.middle_of(
        tuple(value or 0.0 for value in day), past.next_slot - DAY_SLOTS, clock.shift_slots)
    if middle_s is None:
        return clock, past, paused
    clock = solar_clock.day_seen(clock, middle_s)
    shift = solar_clock.due_shift(clock)
    if shift:
        clock = replace(clock, shift_slots=clock.shift_slots + shift)
        past = history.renumbered(past, shift, paused)
        paused = None
    return clock, past, paused


def findings(held: Held, vehicle: Vehicle) -> Findings:
    """What is known now."""
    days = len(held.past.load_a) / DAY_SLOTS
    waiting = NotYet("a first half hour has to pass")
    night = NotYet("one night has to pass")
    sky = held.sky
    base = night if sky.night_load_a is None or sky.nights < 6 else Estimate(
        sky.night_load_a, 0.8 * sky.night_load_a, 1.2 * sky.night_load_a, "learnt")
    solar = held.slot.number % DAY_SLOTS / 2 if held.slot and solar_clock.settled(held.clock) else None
    return Findings(
        harvest_a=_roughly(held.harvest_a, 0.15) if held.harvest_a is not None else waiting,
        load_a=_roughly(held.load_a, 0.15) if held.load_a is not None else waiting,
        base_a=base,
        load_ah_per_day=_per_day(held.past.load_a, days), harvest_ah_per_day=_per_day(held.past.harvest_a, days),
        curtailed=held.curtailed,
        sun_rises_solar_hour=sky.rise / 2 if sky.learnt else None,
        sun_leaves_solar_hour=sky.set / 2 if sky.learnt else None, solar_hour=solar,
    )


def _roughly(value: float, part: float) -> Estimate:
    return Estimate(value, value * (1 - part), value * (1 + part), "measured")


def _per_day(values: tuple[float | None, ...], days: float) -> Answer:
    recent = [v for v in values[-7 * DAY_SLOTS:] if v is not None]
    if days < 1 or len(recent) < 0.7 * DAY_SLOTS:
        return NotYet("one whole day has to pass")
    mean = 24 * sum(recent) / len(recent)
    return Estimate(mean, 0.9 * mean, 1.1 * mean, "learnt")


def conditions(held: Held, vehicle: Vehicle) -> tuple[Condition, ...]:
    """Nothing yet that deserves an alert."""
    return ()


def driving(held: Held) -> bool:
    """Whether the engine charged during a good part of the present half hour."""
    return held.slot is not None and held.slot.apart_s > 0.3 * max(held.slot.covered_s, 1.0)


def sun_carries(held: Held) -> bool:
    """Whether the sun gave more than the loads took in the last whole half hour."""
    return held.harvest_a is not None and held.load_a is not None and held.harvest_a > held.load_a


def sheddable(held: Held) -> tuple[tuple[str, float], ...]:
    """What could be left off tonight, with its mean current [A]."""
    return ()


def lights_out_solar_hour(held: Held) -> float | None:
    """When the lights usually go out, None until learnt."""
    return None
