"""The limits of the house battery in words: what is so, what it means, what to do first, what clears it."""
from monitor.battery import frost as freezing
from monitor.battery.label import Battery
from monitor.battery.limits import ageing_ratio, limits_of, say_unseen
from monitor.detection.house.deep_discharge import Deep
from monitor.detection.house.frost import Acid
from monitor.detection.house.heat import BACK_K, Heat, Runaway
from monitor.findings import Condition, Priority
from monitor.parameters import table

KINDS = ("house_overcharged", "house_too_hot", "house_runaway", "house_deep_discharge", "house_freeze_risk", "house_never_full",
         "cold_charging")
P = table("detection/house", "limit_texts")
ON_DELAY_S = {"house_freeze_risk": P.number("freeze_on_s"), "cold_charging": P.number("cold_charging_on_s")}
OFF_DELAY_S = {"house_freeze_risk": P.number("freeze_off_s"), "house_runaway": P.number("runaway_off_s"),
               "cold_charging": P.number("cold_charging_off_s")}
#: Nothing is wrong, and so there is nothing to say.
IDLE = {kind: Condition(kind, "house", False, on_delay_s=ON_DELAY_S.get(kind, 0.0), off_delay_s=OFF_DELAY_S.get(kind, 0.0))
        for kind in KINDS}


def _warn(kind: str, priority: Priority, seen: str, evidence: str, means: str, look_first: str, clears_when: str,
          **figures: float) -> Condition:
    return Condition(kind, "house", True, priority, seen, means, look_first, clears_when, ON_DELAY_S.get(kind, 0.0),
                     OFF_DELAY_S.get(kind, 0.0), tuple(figures.items()), evidence)


def degrees(temperature_c: float) -> str:
    """A temperature as printed, with a true minus sign."""
    return f"{temperature_c:.0f} °C".replace("-0 ", "0 ").replace("-", "−")


def overcharge(hours: float, limit_v: float, volts: float | None, battery: Battery, blind: bool) -> Condition:
    """Hours above what this kind of battery may be held at.

    hours: hours above it; limit_v: what it may be held at [V]; volts: voltage now [V]; battery: its label; blind: no thermometer is
    on it or near it.
    """
    limits = limits_of(battery.chemistry)
    return _warn(
        "house_overcharged", "high" if hours >= limits.over_high_h else "medium", "House battery charged with too much voltage.",
        f"For {hours:.0f} of the last hours it was above {limit_v:.1f} V, the most for {_kind(battery)} at "
        + ("freezing. " + say_unseen("charger") if blind and battery.lead_acid else "its temperature."),
        ("It dries out, and what is lost cannot be filled up." if battery.chemistry in ("agm", "gel") else
           "It loses water and gives off explosive gas." if battery.lead_acid else "It ages fast, and its protection may cut it off."),
        "The charger's setting for this kind of battery, and its temperature sensor. A flooded battery that is being equalised: "
        "write equalise_v into [house]." if battery.chemistry == "flooded" else
        "The charger's setting for this kind of battery, and its temperature sensor.",
        "It clears a day or two after the voltage is right.", hours_ratio=hours, voltage_v=volts or 0.0)


def _kind(battery: Battery) -> str:
    return {"flooded": "a flooded battery", "agm": "AGM", "gel": "gel", "lfp": "lithium iron phosphate"}[battery.chemistry]


def too_hot(heat: Heat, temperature_c: float | None, battery: Battery) -> Condition:
    """Heat, with its hours and what it costs.

    heat: the hours above the limit so far; temperature_c: of the battery [°C]; battery: its label.
    """
    limits = limits_of(battery.chemistry)
    now_c = temperature_c if temperature_c is not None else heat.most_c
    low, high = (min(ratio, 99.0) for ratio in ageing_ratio(limits, heat.most_c))
    high_c = limits.hot_high_c
    return _warn(
        "house_too_hot", "high" if heat.level == "high" else "medium", f"House battery too hot: {degrees(now_c)}.",
        f"It has spent {heat.hours:.1f} h above {degrees(limits.hot_c)}, the hottest at {degrees(heat.most_c)}.",
        f"At that it ages {low:.1f} to {high:.1f} times as fast as at 25 °C."
        + (f" Above {degrees(high_c)} charging can destroy it." if heat.level == "high" else ""),
        ("Stop charging until it is cooler. " if heat.level == "high" or not battery.lead_acid else "")
        + "Give it air and shade, away from engine and exhaust; feel whether it is warmer than what stands beside it.",
        f"It clears below {degrees(limits.hot_c - BACK_K)}.", temperature_c=now_c, hours_ratio=heat.hours)


def runaway(state: Runaway, temperature_c: float | None) -> Condition:
    """A battery that takes more the hotter it gets."""
    return _warn(
        "house_runaway", "high", "House battery heats itself: stop charging now.",
        f"At a steady {state.now_v:.1f} V it takes more and more, {state.now_a:.1f} A after {state.then_a:.1f} A, and it is at "
        f"{degrees(temperature_c if temperature_c is not None else 0.0)}.",
        "In a sealed battery this feeds itself and can end in melting and fire.",
        "Switch the charger or engine off, cover the panel. Keep away from its vents, air the vehicle, no sparks. Let it cool for a day, "
        "then have it tested: it has dried out or a cell has failed.",
        "It clears when it is no longer charged.", current_a=state.now_a, then_a=state.then_a)


def deep(state: Deep, battery: Battery) -> Condition:
    """Drained below what it bears, and what to do before it is charged."""
    limits = limits_of(battery.chemistry)
    rate_a = limits.recovery_rate_per_h * battery.rated_capacity_ah
    if battery.lead_acid:
        means = "Lead-acid emptied so far grows hard sulphate within days; its acid is thin and freezes just below zero."
        look = (f"If it may be frozen, thaw it first. Then charge slowly, about {rate_a:.0f} A for two or three days, "
                "and feel that it stays "
                "cool. Judge its capacity only after that.")
    elif limits.never_charge_v is not None and state.lowest_v < limits.never_charge_v:
        means = "A lithium cell this empty dissolves its own copper; charged again it can short inside and burn."
        look = "Do not charge it. Have it looked at by somebody who can measure each cell."
    else:
        means = "Lithium emptied so far loses capacity; a single cell may be much lower than the others."
        look = f"Charge slowly, about {rate_a:.0f} A, above freezing, until it shows 12 V; then as usual. If it gets warm, stop."
    return _warn("house_deep_discharge", "high", f"House battery was drained to {state.lowest_v:.1f} V.",
                 f"Below {limits.deep_discharge_v:.1f} V discharging does lasting damage.", means, look,
                 "It clears with the next full charge.", lowest_v=state.lowest_v)


def frost(acid: Acid, temperature_c: float | None, coming_c: float | None, now: bool) -> Condition:
    """Thin acid and frost, now or in the coming night.

    temperature_c: of the battery [°C]; coming_c: lowest temperature expected [°C]; acid: what is known of how spent it is; now: it is
    that cold already.
    """
    density = acid.density_kg_l if acid.density_kg_l is not None else 1.0
    point_c = freezing.freezing_point_c(density)
    cold_c = (temperature_c if now else coming_c) or 0.0
    return _warn(
        "house_freeze_risk", "high" if now else "medium",
        "House battery may be freezing." if now else f"House battery may freeze tonight: {degrees(cold_c)} expected.",
        f"As empty as it is (acid of about {density:.2f} kg/l) it freezes at about {degrees(point_c)}"
        + (f"; it is at {degrees(cold_c)}." if now else "."), "Ice bursts the case, and a frozen battery that is charged can explode.",
        "Never charge or jump it frozen: let it thaw first. " * now + "Charge it before the frost, or bring it somewhere warm.",
        "It clears when it is charged or the frost is over.", freezing_c=point_c, temperature_c=cold_c)


def never_full(since_full_s: float, low_hours: tuple[float, float, float], battery: Battery) -> Condition:
    """Too long without a full charge.

    since_full_s: since it was last full [s]; low_hours: hours below 50, 30 and 20 %; battery: its label.
    """
    days = since_full_s / 86400.0
    return _warn(
        "house_never_full", "low", "House battery has not been full for too long.",
        f"It was last full {days:.0f} days ago. Since it is known it spent {low_hours[0]:.0f} h below half and {low_hours[2]:.0f} h below "
        "a fifth.",
        ("Part-charged lead-acid grows hard sulphate and loses capacity for good." if battery.lead_acid else
         "Its cells drift apart and are only brought together at the top; the count drifts as well."),
        "A charger on mains overnight fills it; a drive of two hours brings the most of it, two sunny days with little use the rest."
        if battery.lead_acid else "Charge once up to the charger's higher voltage and let it stay there for an hour or two.",
        "It clears with a full charge.", since_full_s=since_full_s)


def cold_charging(current_a: float | None, temperature_c: float | None, air_only: bool, morning_c: float | None,
                  sun_in_s: float | None, hour: float | None, battery: Battery) -> Condition:
    """Lithium that is charged in the cold, or will be when the sun comes.

    current_a, temperature_c : of the battery now [A, °C]; air_only: the thermometer hangs in the air
    morning_c : expected when the sun begins to charge, sun_in_s seconds from now; None: nothing to say of the morning
    hour : the local hour now, None where no clock is trusted
    sun_in_s : until the sun begins to charge [s]
    battery : its label
    """
    limits = limits_of(battery.chemistry)
    if limits.cold_charge_c is None or limits.cold_margin_k is None or limits.cold_rate_per_h is None or temperature_c is None:
        return IDLE["cold_charging"]
    rated, least_c, margin_k = battery.rated_capacity_ah, limits.cold_charge_c, limits.cold_margin_k
    amps = current_a or 0.0
    where = " The thermometer hangs in the air, not on the battery." if air_only else ""
    means = "Lithium iron phosphate charged below freezing takes lasting damage inside, unless its own heater or protection acts."
    cells = f"The coldest cell may be {margin_k:.0f} K colder than the sensor.{where}"
    figures = {"current_a": amps, "temperature_c": temperature_c}
    if temperature_c < least_c + margin_k and amps > limits.cold_rate_per_h * rated:
        return _warn("cold_charging", "high" if temperature_c < least_c else "medium",
                     f"House battery charged with {amps:.1f} A at {degrees(temperature_c)}.", cells, means,
                     "Stop charging, or warm the battery; see what its label allows.",
                     "It clears when charging stops or the battery is above freezing.", **figures)
    if limits.slow_below_c is not None and limits.slow_rate_per_h is not None and temperature_c < limits.slow_below_c and (
            amps > limits.slow_rate_per_h * rated):
        return _warn("cold_charging", "medium", f"House battery charged too fast for {degrees(temperature_c)}.",
                     f"Charged with {amps:.0f} A.{where}",
                     f"Below {degrees(limits.slow_below_c)} lithium takes {limits.slow_rate_per_h * rated:.0f} A without harm, not more.",
                     "Charge more slowly, or warm the battery; see what its label allows.",
                     "It clears when it charges more slowly or is warmer.", **figures)
    if morning_c is not None and sun_in_s is not None and morning_c < least_c + margin_k:
        return _warn("cold_charging", "medium",
                     f"The sun will charge the house battery at {degrees(morning_c)}{_at(hour, sun_in_s)}.", cells, means,
                     "Keep the battery warm tonight, or switch the panel off until it is above freezing.",
                     "It clears when the morning is expected to be warmer, or is over.", temperature_c=morning_c)
    return IDLE["cold_charging"]


def _at(hour: float | None, in_s: float) -> str:
    """From when on, in steps of ten minutes; without a clock only that it comes next."""
    if hour is None:
        return " next"
    tens = round((hour + in_s / 3600.0) * 6) % 144
    return f" from {tens // 6:02d}:{tens % 6}0"
