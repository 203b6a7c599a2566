"""Who took the charge: net current split into load and harvest, and the loads told apart."""
from typing import Any

from monitor.battery.label import Vehicle
from monitor.battery.limits import limits_of
from monitor.findings import Z95, Answer, ChargeFindings, Condition, Estimate, Event, JoinFindings, NotYet
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute
from monitor.usage import current_steps, daylight, fridge, fridge_effort, harvest, history, solar_clock, who_took
from monitor.usage.current_steps import CurrentLevel
from monitor.usage.fridge import BINS, Fridge
from monitor.usage.fridge_effort import Effort
from monitor.usage.harvest import MAINS_A, Half, Sky
from monitor.usage.history import DAY_SLOTS, SLOT_S, History
from monitor.usage.solar_clock import SolarClock
from monitor.usage.who_took import Shares

P = table("usage", "loads")
DRIVE_LEAST_A, DRIVE_MEAN_H, LOST_S = P.number("drive_least_a"), P.number("drive_mean_h"), P.number("lost_s")
BASE_EVERY_S, BASE_HELD_S, BASE_DOWN = P.count("base_every_s"), P.number("base_held_s"), P.number("base_down")
BASE_UP, LIGHTS_A, LIGHTS_SLOT = P.number("base_up"), P.number("lights_a"), P.count("lights_slot")
FRIDGE_ALIKE, HELD_BACK_V, FLOAT_PER_H = P.number("fridge_alike"), P.number("held_back_v"), P.number("float_per_h")
CUT_OFF_FRAC, CUT_OFF_V, COVERED_LEAST = P.number("cut_off_frac"), P.number("cut_off_v"), P.number("covered_least")
APART_MOST, SOLAR_LEAST, CURTAILED_LEAST = P.number("apart_most"), P.number("solar_least"), P.number("curtailed_least")
DAY_C_SHARE, BURSTS_SHARE = P.number("day_c_share"), P.number("bursts_share")
EVENINGS_KEPT, EVENINGS_LEAST, MISSING_MOST = P.count("evenings_kept"), P.count("evenings_least"), P.count("missing_most")
SLOPE_CYCLES, ROUGH_LOW, ROUGH_HIGH = P.count("slope_cycles"), P.number("rough_low"), P.number("rough_high")
FRIDGE_SHED = P.number("fridge_shed")


@dataclass(frozen=True, slots=True)
class LoadSlot:
    """The half hour being filled."""

    number: int
    covered_s: float = 0.0
    net_as: float = 0.0
    solar_as: float = 0.0
    solar_s: float = 0.0
    curtailed_s: float = 0.0
    apart_s: float = 0.0        # engine, mains, or loads cut off: not this vehicle's ordinary life


@dataclass(frozen=True, slots=True)
class LoadsState:
    """Everything the loads tracker carries from minute to minute."""

    slot: LoadSlot | None = None
    past: History = History()
    sky: Sky = Sky()
    clock: SolarClock = SolarClock()
    hour_known: bool = False
    half_day_h: float | None = None     # from place and date, today
    paused_slot: int | None = None      # the first slot after a pause of unsure length
    temperature_c: float | None = None
    high_today: bool = False            # the charger has reached its absorption voltage since dawn
    curtailed: bool = False
    load_a: float | None = None         # of the last whole half hour
    harvest_a: float | None = None
    drive_charge_a: float | None = None     # into the house battery while the engine ran, not yet tapering
    drive_h: float = 0.0
    level: CurrentLevel = CurrentLevel()
    cold: Fridge = Fridge()
    effort: Effort = Effort()
    base_a: float | None = None         # level of the deep night between two runs of the fridge
    day_c: tuple[float | None, ...] = (None,) * BINS
    bursts_as: float = 0.0              # today so far, ampere-seconds
    bursts_ah_per_day: float | None = None
    last_drop: float | None = None      # solar hour (past 12) of the evening's latest step to less load
    lights_out_hours: tuple[float, ...] = ()
    shares: Shares = Shares()
    news: tuple[Event, ...] = ()


@dataclass(frozen=True, slots=True)
class LoadsFindings:
    """Who took the charge. Currents in amperes, positive: loads leave the battery, harvest enters it."""

    load_a: Answer                      # of the last half hour
    harvest_a: Answer
    shares: Shares
    curtailed: bool = False             # the charger holds back what the sun could give
    fridge_running: bool | None = None
    duty_per_k: Answer = NotYet("some days of different warmth have to pass")
    drive_charge_a: Answer = NotYet("no drive has charged the house battery yet")
    sun_rises_solar_hour: float | None = None
    sun_leaves_solar_hour: float | None = None
    solar_hour: float | None = None
    lights_out_solar_hour: float | None = None


def begin() -> LoadsState:
    """Nothing seen yet."""
    return LoadsState()


def update(state: LoadsState, minute: Minute, vehicle: Vehicle, join: JoinFindings, charge: ChargeFindings) -> LoadsState:
    """One minute further; at the end of each half hour the split is made and remembered.

    state: what was kept after the minute before; vehicle: what its owner said of it; join: what is known of engine and isolator;
    charge: what is known of the charge; minute: what was measured.
    """
    clock, paused = state.clock, state.paused_slot
    if minute.hour is not None and not state.hour_known:
        clock = solar_clock.describe_clock(clock, minute.end_s, minute.hour)
        state = replace(state, hour_known=True)
    if minute.gap_doubt_s > SLOT_S / 2 and minute.hour is None:
        clock = solar_clock.note_doubt(clock, minute.gap_doubt_s)
        paused = solar_clock.slot_of(clock, minute.end_s)
    if state.half_day_h is None and minute.year_day is not None and vehicle.latitude_deg is not None:
        half_h = daylight.half_day_h(vehicle.latitude_deg, minute.year_day)
        state = replace(state, half_day_h=half_h, sky=harvest.describe_sky(state.sky, half_h))
    number = solar_clock.slot_of(clock, minute.end_s)
    slot = state.slot
    if slot is None or slot.number != number:
        if slot is not None:
            state = _close(replace(state, clock=clock), slot, charge)
            clock = state.clock
        number = solar_clock.slot_of(clock, minute.end_s)
        slot = LoadSlot(number)
    raw_a = minute.house_current_a
    temperature_c = minute.ambient_temperature_c
    if temperature_c is None:
        temperature_c = minute.house_temperature_c
    if temperature_c is None:
        temperature_c = state.temperature_c
    curtailed, high, drive_a, drive_h = state.curtailed, state.high_today, state.drive_charge_a, state.drive_h
    if raw_a is not None and minute.covered_s > 0:
        current_a = vehicle.current_sensor.corrected_a(raw_a)
        running = join.engine in ("running", "cranking")
        curtailed, high = _is_curtailed(minute, vehicle, current_a, high)
        span = minute.covered_s
        slot = LoadSlot(
            number, slot.covered_s + span, slot.net_as + current_a * span,
            slot.solar_as + (minute.solar_current_a or 0.0) * span,
            slot.solar_s + (span if minute.solar_current_a is not None else 0.0),
            slot.curtailed_s + (span if curtailed else 0.0),
            slot.apart_s + (span if running or _is_cut_off(minute, charge) else 0.0),
        )
        if running and current_a > DRIVE_LEAST_A and not curtailed:
            drive_h += span / 3600
            drive_a = current_a if drive_a is None else drive_a + min(span / 3600 / min(drive_h, DRIVE_MEAN_H), 1.0) * (
                current_a - drive_a)
    hidden = raw_a is None or minute.gap_s > LOST_S or curtailed or join.engine in ("running", "cranking")
    steps = _steps_hidden(state, minute, clock, temperature_c) if hidden else _steps_seen(state, number, minute, clock, temperature_c)
    return replace(state, slot=slot, clock=clock, paused_slot=paused, temperature_c=temperature_c, high_today=high,
                   curtailed=curtailed, drive_charge_a=drive_a, drive_h=drive_h, **steps)


def _steps_hidden(state: LoadsState, minute: Minute, clock: SolarClock, temperature_c: float | None) -> dict[str, Any]:
    """What changes in a minute whose steps of current are not those of the loads, or not seen."""
    if state.level.amperes is None:
        return {}
    return {"level": current_steps.is_lost(state.level), "cold": fridge.hide_runs(state.cold, minute.start_s, clock.noon_s, temperature_c)}


def _steps_seen(state: LoadsState, number: int, minute: Minute, clock: SolarClock, temperature_c: float | None) -> dict[str, Any]:
    """What the current's steps in slot `number` change: the fridge, short bursts, the night's base, the lights going out."""
    size = fridge.amperes(state.cold)
    level, steps, burst_as = current_steps.follow(state.level, minute, size)
    if not steps and not burst_as:
        settled = level.held_s > BASE_HELD_S and (state.cold.running is False or size is None)
        if minute.end_s % BASE_EVERY_S < 60 and harvest.deep_night(number) and settled and level.amperes is not None:
            # Quickly down, slowly up: what draws now and then is not the base.
            seen_a = max(-level.amperes, 0.0)
            gain = BASE_DOWN if state.base_a is not None and seen_a < state.base_a else BASE_UP
            return {"level": level, "base_a": _toward(state.base_a, seen_a, gain)}
        return {"level": level}
    cold = fridge.update_on_step(state.cold, steps, clock.noon_s, temperature_c,
                                 minute.duration_s / max(len(minute.samples), 1))
    drop = state.last_drop
    for step in steps:
        # Lights out: the evening's last step to less load that is not the fridge's.
        if step.by_a > LIGHTS_A and number % DAY_SLOTS >= LIGHTS_SLOT and (size is None or abs(step.by_a - size) > FRIDGE_ALIKE * size):
            drop = solar_clock.hour_of(clock, step.at_s)
    return {"level": level, "cold": cold, "bursts_as": state.bursts_as + burst_as, "last_drop": drop}


def _toward(old: float | None, new: float, gain: float) -> float:
    return new if old is None else old + gain * (new - old)


def _is_curtailed(minute: Minute, vehicle: Vehicle, current_a: float, high: bool) -> tuple[bool, bool]:
    """Whether the charger holds back what the sun could give, and whether it has today."""
    battery, volts = vehicle.house, minute.house_voltage_v
    if volts is None:
        return False, high
    usual = limits_of(battery.chemistry)
    absorption_v = battery.absorption_v or usual.usual_absorption_v
    if volts > absorption_v - HELD_BACK_V:
        return True, True
    float_v = battery.float_v or usual.usual_float_v
    in_float = high and abs(volts - float_v) < HELD_BACK_V and abs(current_a) < FLOAT_PER_H * battery.rated_capacity_ah
    return in_float, high


def _is_cut_off(minute: Minute, charge: ChargeFindings) -> bool:
    """Whether the battery is so flat that loads have switched themselves off: what they would take is not seen."""
    return isinstance(charge.charge_frac, Estimate) and charge.charge_frac.high < CUT_OFF_FRAC or (
        minute.house_voltage_v is not None and minute.house_voltage_v < CUT_OFF_V)


def _close(state: LoadsState, slot: LoadSlot, charge: ChargeFindings) -> LoadsState:
    """The half hour is over: split it, learn from it, keep it."""
    load_a: float | None = None
    harvest_a: float | None = None
    sky, past = state.sky, state.past
    if slot.covered_s > COVERED_LEAST * SLOT_S and slot.apart_s < APART_MOST * slot.covered_s:
        offset_a = _offset_a(charge)
        half = Half(
            slot.number, slot.net_as / slot.covered_s - offset_a,
            slot.solar_as / slot.solar_s if slot.solar_s > SOLAR_LEAST * slot.covered_s else None,
            slot.curtailed_s > CURTAILED_LEAST * slot.covered_s, state.temperature_c)
        load_a, harvest_a = harvest.split(sky, half)
        if half.solar_a is None and sky.learnt and harvest.deep_night(slot.number) and half.net_a > MAINS_A:
            load_a = None  # charged in the dark: mains
        if solar_clock.is_settled(state.clock):
            sky = harvest.note_sun(sky, half, harvest_a)
        kept_harvest = harvest.potential_a(sky, half, harvest_a)
    else:
        kept_harvest = None
    past = history.add(past, slot.number, load_a, kept_harvest, state.temperature_c)
    clock, paused, high = state.clock, state.paused_slot, state.high_today
    bursts_as, per_day, drop, outs, effort = (
        state.bursts_as, state.bursts_ah_per_day, state.last_drop, state.lights_out_hours, state.effort)
    part, half_h = slot.number % DAY_SLOTS * BINS // DAY_SLOTS, state.half_day_h
    day_c = state.day_c
    if state.temperature_c is not None:
        day_c = (*day_c[:part], round(_toward(day_c[part], state.temperature_c, DAY_C_SHARE), 2), *day_c[part + 1:])
    if slot.number % DAY_SLOTS == DAY_SLOTS - 1:
        high, half_h = False, None
        per_day = _toward(per_day, bursts_as / 3600, BURSTS_SHARE)
        outs = (*outs, round(drop, 2))[-EVENINGS_KEPT:] if drop is not None else outs
        bursts_as, drop = 0.0, None
        effort = fridge_effort.day(effort, state.cold)
        before = clock.shift_slots
        clock, past, paused = _midnight(clock, past, paused)
        sky = harvest.new_day(harvest.note_turn(sky, clock.shift_slots - before))
    return replace(state, past=past, sky=sky, clock=clock, half_day_h=half_h, paused_slot=paused, high_today=high,
                   load_a=load_a if load_a is not None else state.load_a, harvest_a=harvest_a, bursts_as=bursts_as,
                   bursts_ah_per_day=per_day, last_drop=drop, lights_out_hours=outs, effort=effort, day_c=day_c,
                   shares=who_took.shares(
                       past, state.cold, day_c, state.base_a, per_day, sky.rise, sky.set, slot.solar_s > 0.0), news=())


def _offset_a(charge: ChargeFindings) -> float:
    return charge.current_offset_a.value if isinstance(charge.current_offset_a, Estimate) else 0.0


def _midnight(clock: SolarClock, past: History, paused: int | None) -> tuple[SolarClock, History, int | None]:
    """Look where noon was in the day that ends, and renumber the slots if it was not at 24."""
    day = past.harvest_a[-DAY_SLOTS:]
    if len(day) < DAY_SLOTS or day.count(None) > MISSING_MOST:
        return clock, past, paused
    middle_s = solar_clock.middle_of(
        tuple(value or 0.0 for value in day), past.next_slot - DAY_SLOTS, clock.shift_slots)
    if middle_s is None:
        return clock, past, paused
    clock = solar_clock.day_seen(clock, middle_s)
    shift = solar_clock.due_shift(clock)
    if shift:
        clock = replace(clock, shift_slots=clock.shift_slots + shift)
        past = history.renumber(past, shift, paused)
        paused = None
    return clock, past, paused


def findings(state: LoadsState) -> LoadsFindings:
    """What is known now."""
    waiting, sky, cold = NotYet("a first half hour has to pass"), state.sky, state.cold
    slope, sigma = fridge.duty_per_k(cold)
    return LoadsFindings(
        load_a=_estimate_roughly(state.load_a) if state.load_a is not None else waiting,
        harvest_a=_estimate_roughly(state.harvest_a) if state.harvest_a is not None else waiting,
        shares=state.shares, curtailed=state.curtailed, fridge_running=cold.running,
        duty_per_k=Estimate(slope, slope - Z95 * sigma, slope + Z95 * sigma, "learnt")
        if cold.cycles > SLOPE_CYCLES and fridge.duty_frac(cold) is not None
        else NotYet("some days of different warmth have to pass"),
        drive_charge_a=NotYet("no drive has charged the house battery yet") if state.drive_charge_a is None
        else _estimate_roughly(state.drive_charge_a),
        sun_rises_solar_hour=sky.rise / 2 if sky.learnt else None,
        sun_leaves_solar_hour=sky.set / 2 if sky.learnt else None,
        solar_hour=state.slot.number % DAY_SLOTS / 2 if state.slot and solar_clock.is_settled(state.clock) else None,
        lights_out_solar_hour=lights_out_solar_hour(state),
    )


def _estimate_roughly(value: float) -> Estimate:
    return Estimate(value, ROUGH_LOW * value, ROUGH_HIGH * value, "measured")


def conditions(state: LoadsState) -> tuple[Condition, ...]:
    """Whether the fridge works harder than the warmth explains."""
    return fridge_effort.conditions(state.effort)


def sun_carries(state: LoadsState) -> bool:
    """Whether the sun gave more than the loads took in the last whole half hour."""
    return state.harvest_a is not None and state.load_a is not None and state.harvest_a > state.load_a


def sheddable(state: LoadsState) -> tuple[tuple[str, float], ...]:
    """What could be left off tonight, with its mean current [A]."""
    found, out = state.shares, []
    if isinstance(found.fridge_ah_per_day, Estimate) and isinstance(found.fridge_duty_frac, Estimate):
        out.append(("the fridge", FRIDGE_SHED * found.fridge_ah_per_day.value / 24))
    if state.base_a is not None:
        out.append(("the always-on loads", state.base_a))
    return tuple(out)


def lights_out_solar_hour(state: LoadsState) -> float | None:
    """When the lights usually go out (median of the last evenings), None until three evenings showed it."""
    seen = sorted(state.lights_out_hours)
    return seen[len(seen) // 2] % 24 if len(seen) >= EVENINGS_LEAST else None
