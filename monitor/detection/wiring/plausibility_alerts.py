"""What a person is told of wiring that contradicts itself: in words, with what to look at first."""
from monitor.battery.label import Vehicle
from monitor.detection.wiring import bypass, channel_state, closing, sunny_sensor, voltage_level
from monitor.detection.wiring.plausibility_state import PlausibilityState
from monitor.findings import ChargeFindings, Condition, Estimate, Part
from monitor.parameters import table

P = table("detection/wiring", "plausibility_alerts")
GONE_DELAY_S, NOISY_DELAY_S = P.number("gone_delay_s"), P.number("noisy_delay_s")
UNSEEN_A, UNSEEN_LOW_A = P.number("unseen_a"), P.number("unseen_low_a")
UNMEASURED_A, UNMEASURED_LOW_A, MEASURED_SIGMA_A = P.number("unmeasured_a"), P.number("unmeasured_low_a"), P.number("measured_sigma_a")

#: Which battery each is about.
PARTS: dict[str, Part] = {
    "shunt_bypassed": "house", "house_divider_wrong": "house", "starter_divider_wrong": "starter",
    "channel_at_limit": "house", "sensor_noisy": "house", "temperature_sensor_loose": "house"}
#: How long some have to be over before they clear [s], rows of this table; the others clear at once.
AT_ONCE_S = 0.0     # [s], definition
OFF_DELAY_S = {"shunt_bypassed": GONE_DELAY_S, "sensor_noisy": NOISY_DELAY_S}
#: The same while nothing is wrong.
IDLE = {kind: Condition(kind, battery, False, off_delay_s=OFF_DELAY_S.get(kind, AT_ONCE_S)) for kind, battery in PARTS.items()}
QUIET = tuple(IDLE.values())


def conditions(state: PlausibilityState, vehicle: Vehicle, charge: ChargeFindings, reversed_shunt: bool) -> tuple[Condition, ...]:
    """All six, active or not.

    state: what was kept after the minute before; vehicle: what its owner said of it; charge: what is known of the
    charge; reversed_shunt: the load steps say that the shunt is the wrong way round.
    """
    house = voltage_level.house_factor(state.level, vehicle.house)
    starter = voltage_level.starter_factor(state.level)
    return (
        IDLE["shunt_bypassed"] if reversed_shunt or house is not None else _current_bypasses(state, vehicle, charge),
        IDLE["house_divider_wrong"] if house is None or reversed_shunt and house < 1.0 else _divider("house", house),
        IDLE["starter_divider_wrong"] if starter is None else _divider("starter", starter),
        _at_limit(state), _noisy(state), _sensor_loose(state),
    )


def _current_bypasses(state: PlausibilityState, vehicle: Vehicle, charge: ChargeFindings) -> Condition:
    pairs = bypass.pairs_now(state.bypass, state.at_s)
    offset = charge.current_offset_a
    unseen, booked = 0.0, False
    if isinstance(offset, Estimate):
        known = vehicle.current_sensor.offset_a
        least_a, least_low_a = (UNSEEN_A, UNSEEN_LOW_A) if vehicle.current_sensor.offset_sigma_a <= MEASURED_SIGMA_A else (
            UNMEASURED_A, UNMEASURED_LOW_A)
        if offset.value - known > least_a and offset.low - known > least_low_a:
            unseen = offset.value - known
    left_a = closing.unseen_a(state.closing, vehicle.current_sensor, vehicle.house) if (
        vehicle.current_sensor.offset_sigma_a <= MEASURED_SIGMA_A) else 0.0
    if pairs >= bypass.PAIRS:
        ohm = charge.resistance_ohm
        load = f" of some {state.bypass.pair_v / ohm.value:.0f} A" if isinstance(ohm, Estimate) and ohm.value > 0 else ""
        seen = (f"At least {pairs:.0f} times within a day or two the house voltage fell by about {1000 * state.bypass.pair_v:.0f} mV and "
                f"came back, as under a load{load}, and the shunt showed nothing of it.")
    elif bypass.idle_now(state.bypass, state.at_s):
        seen = (f"For hours the shunt showed {state.bypass.idle_a:.1f} A flowing in, at a voltage at which nothing charges, and the "
                "voltage sank meanwhile.")
    elif unseen:
        booked = True       # the charge estimate has learnt it, and counts it
        seen = f"The count closes only if {unseen:.2f} A more flow out all the time than the shunt shows."
    elif left_a:
        unseen = left_a
        seen = (f"From one full charge to the next {left_a:.2f} A more are counted in than out, all the time: more than charging loses. "
                "They flow past the shunt.")
    else:
        return IDLE["shunt_bypassed"]
    return Condition(
        "shunt_bypassed", "house", True, "high", "A load bypasses the shunt, or its zero is wrong.",
        "A load's negative goes to the battery past the shunt, or the shunt's zero is off: the house battery looks fuller than it is."
        + (" A constant 0.2 to 0.4 A is usually this board itself." if unseen and vehicle.board.supply == "unknown" else ""),
        "On the battery's side of the shunt there must be one cable only, from post to shunt: move every other one to the far side. "
        "Then, with everything off, `ampledger setup zero`.",
        "It clears a day or two after the last sign of it.",
        figures=(("pairs_count", pairs), ("unseen_a", unseen or state.bypass.idle_a), ("booked_ratio", float(booked))), evidence=seen)


def _divider(battery: Part, factor: float) -> Condition:
    known, words = voltage_level.find_mistake(factor)
    times = known if known > 1 else 1 / known
    seen = f"{battery.capitalize()} voltage reads {times:.3g} times too {'low' if factor > 1 else 'high'}."
    evidence = "It lies where no such battery can be" + (f", as with a divider of {words}." if words else ".")
    return Condition(
        f"{battery}_divider_wrong", battery, True, "high", seen,
        "The ratio of the voltage divider in the configuration is not that of the resistors; nothing that rests on this voltage holds.",
        f"Measure at the posts with a multimeter, then: ampledger calibrate divider --battery {battery} --meter-v VOLTS. A battery that "
        "really is at such a voltage is dead or in danger: measure before anything else.",
        "It clears when the voltage is one that a battery can have.", figures=(("factor_ratio", factor),), evidence=evidence)


def _at_limit(state: PlausibilityState) -> Condition:
    for limit, what, unit in ((state.limit_a, "current", "A"), (state.limit_v, "voltage", "V")):
        if channel_state.at_limit(limit, state.at_s):
            return Condition(
                "channel_at_limit", "house", True, "medium",
                f"House {what} reading stops at {limit.stuck_value:g} {unit}.",
                "The channel is cut off at the end of its range; what lies beyond is lost, and the count runs short.",
                "A shunt or divider for more, or another range of the converter (page Documents, Drivers).",
                "It clears after three days without it.", figures=(("value_ratio", limit.stuck_value),),
                evidence="It stops at exactly that, time after time, while everything else moves on.")
    return IDLE["channel_at_limit"]


def _noisy(state: PlausibilityState) -> Condition:
    for noise, what, unit in ((state.noise_v, "voltage", "V"), (state.noise_a, "current", "A")):
        if channel_state.grow_noise(noise):
            return Condition(
                "sensor_noisy", "house", True, "medium",
                f"House {what} reading is noisy.",
                "A loose sense lead, a lost earth, or another device's interference; single readings are worth less.",
                "The sense leads' plugs and their way past motors, converters and radio; twist them.",
                "It clears after an hour as calm as before.", figures=(("scatter_ratio", noise.now),),
                evidence=f"For {noise.grown_h} hours it has scattered by {noise.now:.2g} {unit} at its calmest; it used to be "
                         f"{noise.usual:.2g} {unit}. Nothing else moves with it.")
    return IDLE["sensor_noisy"]


def _sensor_loose(state: PlausibilityState) -> Condition:
    swings = state.swings
    if not sunny_sensor.is_loose(swings, state.at_s):
        return IDLE["temperature_sensor_loose"]
    sun = 2 * swings.sunny > len(swings.at_s)
    return Condition(
        "temperature_sensor_loose", "house", True, "low",
        "House temperature sensor is not on the battery.",
        ("The sensor sits in the sun" if sun else "The sensor hangs in the air") + ": a battery's mass follows within hours, not minutes. "
        "What rests on temperature (cold charging, rest voltage, ageing) is off.",
        "Tape it to the battery's side under a piece of foam, out of the sun.", "It clears after two days without such swings.",
        figures=(("swing_k", swings.most_k),),
        evidence=f"The temperature moves by up to {swings.most_k:.0f} K within half an hour, again and again"
        + (", and it does so while the sun shines." if sun else "."))
