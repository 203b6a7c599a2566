"""Wiring that contradicts itself: a bypassed shunt, a wrong divider, a channel at its limit, noise, a loose sensor."""
from monitor.battery.label import Vehicle
from monitor.detection.wiring import bypass, channel_state, closing, plausibility_alerts, sunny_sensor, voltage_level
from monitor.detection.wiring.plausibility_state import PlausibilityState, TenMinutes
from monitor.findings import ChargeFindings, Condition, Estimate
from monitor.parameters import table
from monitor.sample import Minute

#: What is not looked at by the minute is looked at in means over this time [s].
BLOCK_S = 600.0

P = table("detection/wiring", "plausibility")
CALM_V = table("battery", "alternator").number("charging_well_v")
RUNNING_V = table("battery", "alternator").number("nothing_rests_above_v")
LEAST_OHM_AH, MOST_OHM_AH, VISIBLE_V = P.by_chemistry("least_ohm_ah"), P.number("most_ohm_ah"), P.number("visible_v")
SUN_A, SCATTER_TIMES, LEAST_MINUTES = P.number("sun_a"), P.number("scatter_times"), P.count("least_minutes")


def begin() -> PlausibilityState:
    """Nothing seen yet."""
    return PlausibilityState()


def update(state: PlausibilityState, minute: Minute, vehicle: Vehicle,
           charge: ChargeFindings | None = None) -> PlausibilityState:
    """The state with what a minute says of the instruments: whether one stands at its limit, scatters, or misses a load; each ten
    minutes their means are judged.

    state: what was kept after the minute before; vehicle: what its owner said of it; minute: what was measured; charge: what is
    known of the house battery's charge and resistance, None: nothing.
    """
    house, b, at_s = vehicle.house, state.block, minute.end_s
    volts, amps, starter = minute.house_voltage_v, minute.house_current_a, minute.starter_voltage_v
    low_v, high_v = minute.house_voltage_low_v, minute.house_voltage_high_v
    low_a, high_a = minute.house_current_low_a, minute.house_current_high_a
    limit_v, limit_a = state.limit_v, state.limit_a
    minutes, house_v, house_a, scatter_v, scatter_a = b.minutes, b.house_v, b.house_a, b.scatter_v, b.scatter_a
    ring: tuple[float, ...] = ()
    starter_ring: tuple[float, ...] = ()
    if volts is None or low_v is None or high_v is None or amps is None or low_a is None or high_a is None or minute.gap_s:
        loads = bypass.note_silence(state.bypass)
    else:
        span_s, count = minute.duration_s, len(minute.samples)
        ring = (*state.ring[-10:], volts, amps)
        starter_ring = () if starter is None else (*state.starter_ring[-5:], starter)
        loads = bypass.add_minute(state.bypass, at_s, ring, house, state.noise_v.now, minute.hour, starter_ring)
        # one reading a minute repeats itself often enough
        if count > 1 and low_v == high_v or low_v < limit_v.low or high_v > limit_v.high or limit_v.run_s:
            limit_v = channel_state.update_limit(limit_v, at_s, span_s, low_v, high_v, amps, "v")
        if count > 1 and low_a == high_a or low_a < limit_a.low or high_a > limit_a.high or limit_a.run_s:
            limit_a = channel_state.update_limit(limit_a, at_s, span_s, low_a, high_a, volts, "a")
        minutes, house_v, house_a = minutes + 1, house_v + volts, house_a + amps
        if count > 1:
            scatter_v += channel_state.scatter(count, low_v, high_v)
            scatter_a += channel_state.scatter(count, low_a, high_a)
        elif len(ring) >= 6:    # one reading a minute: what scatters from minute to minute
            scatter_v += channel_state.scatter_of_singles(ring[-6], ring[-4], ring[-2])
            scatter_a += channel_state.scatter_of_singles(ring[-5], ring[-3], ring[-1])
    starter_minutes, starter_v, starter_low, starter_high = b.starter_minutes, b.starter_v, b.starter_low_v, b.starter_high_v
    if starter is not None:
        starter_minutes, starter_v = starter_minutes + 1, starter_v + starter
        starter_low, starter_high = min(starter_low, starter), max(starter_high, starter)
    block = TenMinutes(b.start_s, minutes, house_v, house_a, scatter_v, scatter_a, starter_minutes, starter_v, starter_low, starter_high)
    closes = state.closing if charge is None else closing.update(state.closing, minute, vehicle.current_sensor, charge)
    now = PlausibilityState(block, ring, loads, state.level, limit_v, limit_a, state.noise_v, state.noise_a, state.swings, at_s,
                            closing=closes, starter_ring=starter_ring)
    return now if at_s - b.start_s < BLOCK_S else _close_block(now, minute, vehicle, charge)


def _close_block(state: PlausibilityState, minute: Minute, vehicle: Vehicle, charge: ChargeFindings | None) -> PlausibilityState:
    """Ten minutes are over."""
    b, house, at_s = state.block, vehicle.house, state.at_s
    level, loads, noise_v, noise_a, swings = state.level, state.bypass, state.noise_v, state.noise_a, state.swings
    span_s = at_s - b.start_s
    sun = False
    if b.minutes and span_s < 2 * BLOCK_S:
        volts, amps = b.house_v / b.minutes, b.house_a / b.minutes
        sun = amps > SUN_A
        level = voltage_level.house(level, volts, amps, b.minutes * span_s / (3600.0 * max(b.minutes, b.starter_minutes)), house)
        loads = bypass.add_block(loads, at_s, volts, amps, house)
        # A single reading a minute is moved by more than its current explains where loads cut out and in, nearly empty, and where
        # a lithium battery's own switches open and close.
        if volts < CALM_V and (len(minute.samples) > 1 or house.lead_acid and volts > bypass.EMPTY_V[True]):
            resistance_ohm = None if charge is None else charge.resistance_ohm
            least, most = (resistance_ohm.low, resistance_ohm.high) if isinstance(resistance_ohm, Estimate) else (
                LEAST_OHM_AH[house.lead_acid] / house.rated_capacity_ah, MOST_OHM_AH / house.rated_capacity_ah)
            v, a = b.scatter_v / b.minutes, b.scatter_a / b.minutes
            # what each scatters by itself does not explain the other; a stiff battery may hide any current's from the voltmeter
            hidden = least * a < max(VISIBLE_V, SCATTER_TIMES * noise_v.usual)
            noise_v, noise_a = (
                channel_state.is_noisy(noise_v, v, most * max(a - 2.0 * noise_a.usual, 0.0), "v"),
                channel_state.is_noisy(noise_a, a, a if hidden else max(v - 2.0 * noise_v.usual, 0.0) / least, "a"))
    running = False
    if b.starter_minutes >= LEAST_MINUTES and span_s < 2 * BLOCK_S:
        mean = b.starter_v / b.starter_minutes
        running = mean > RUNNING_V
        level = voltage_level.starter(level, mean, b.starter_low_v, b.starter_high_v, b.house_v / b.minutes if b.minutes else None)
    if minute.house_temperature_c is not None and not running:
        swings = sunny_sensor.update(swings, at_s, minute.house_temperature_c, sun)
    return PlausibilityState(TenMinutes(at_s), state.ring, loads, level, state.limit_v, state.limit_a, noise_v, noise_a, swings, at_s,
                             closing=state.closing, starter_ring=state.starter_ring)


def conditions(state: PlausibilityState, vehicle: Vehicle, charge: ChargeFindings, reversed_shunt: bool = False) -> tuple[Condition, ...]:
    """What contradicts itself, active or not; a shunt that may be reversed explains a bypass.

    state: what was kept after the minute before; vehicle: what its owner said of it; charge: what is known of the
    charge; reversed_shunt: the load steps say that the shunt is the wrong way round.
    """
    return plausibility_alerts.conditions(state, vehicle, charge, reversed_shunt)
