"""What of the starter battery deserves a warning: drain, level, frost, long part-charged, weak starts."""
from typing import ClassVar

from monitor.battery import frost
from monitor.battery.label import Battery, Vehicle
from monitor.battery.lead_acid import KINDS, warmth_v
from monitor.battery.limits import alternator_over_voltage_v, limits_of, say_unseen
from monitor.detection.starter import crank
from monitor.detection.starter.drain_verdict import Drain
from monitor.findings import Answer, Condition, Estimate, JoinFindings, NotYet, Priority
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.sample import Minute

P = table("detection/starter", "starter_alerts")
LOW_V, FLAT_V = P.number("low_v"), P.number("flat_v")
BACK_V = P.number("back_v")
UNDER_V, UNDER_FOR_S = P.number("under_v"), P.number("under_for_s")
HOUSE_FIT_V = P.number("house_fit_v")
HOUSE_FIT_LFP_V = P.number("house_fit_lfp_v")


#: kind -> priority, what it means, what to look at first, what would make it go away.
TEXTS: dict[str, tuple[Priority, str, str, str]] = {
    "starter_drain": (
        "high", "Something takes current from the starter battery while the vehicle is parked.",
        "Lamps, glove box, radio, a plugged-in charger, a door ajar; then pull fuses one by one and watch the drain.",
        "It clears when the voltage stops falling so fast, or when the engine has charged the battery again."),
    "starter_low": (
        "medium", "It is half empty or worse: a start is doubtful, in the cold above all.",
        "Charge it with a charger meant for it, or drive for some hours; then watch whether it falls again.",
        f"It clears when the battery rests above {LOW_V + BACK_V:.2f} V or the engine runs."),
    "starter_freeze_risk": (
        "high", "Thin acid freezes and bursts the case. Never charge or jump a frozen battery: it can explode.",
        "Charge it before it freezes, or bring it somewhere warm. If it may be frozen already, let it thaw first.",
        "It clears when the battery is charged or the air is warmer."),
    "starter_part_charged": (
        "low", "Lead-acid that stays part charged grows hard sulphate and loses capacity for good.",
        "Give it a full charge from a charger meant for it: short drives do not fill it.",
        "It clears when the battery has rested above three quarters."),
    "crank_weak": (
        "medium", "The starter battery, a terminal or the starter motor is tired; one cold morning it will not do.",
        "Tighten and clean the terminals first. Then charge the battery fully and look at the next starts.",
        "It clears when starts are good again."),
    "start_failed": (
        "high", "The engine was cranked and did not take over.",
        "If it turned slowly: charge the battery. If it turned well: fuel and ignition. See the page If it will not start.",
        "It clears with the next good start."),
    "starter_over_voltage": (
        "high", "The alternator's regulator or a charger does not limit: the battery boils off water and gas.",
        "Stop charging: switch the charger or the engine off. Keep sparks away, and have the regulator looked at.",
        "It clears when the voltage has come down."),
    "starter_under_voltage": (
        "high", "It is empty, or heavily loaded. Standing empty ruins it within days.",
        "Switch off whatever runs from it, and charge it soon.", "It clears when the voltage has come back."),
    "will_not_start": (
        "high", "The starter battery alone will hardly turn the engine.",
        "Read the page If it will not start before joining anything. This program never joins the batteries.",
        "It clears when the starter battery is charged or the engine runs."),
}
ON_DELAY_S = {"starter_low": P.number("starter_low_delay_s"), "starter_freeze_risk": P.number("starter_freeze_risk_delay_s"),
              "starter_over_voltage": P.number("starter_over_voltage_delay_s"),
              "starter_under_voltage": P.number("starter_under_voltage_delay_s")}
QUARTER = P.number("quarter")


def _warn(kind: str, seen: str, evidence: str = "", figures: tuple[tuple[str, float], ...] = (), means: str = "",
          priority: Priority | None = None) -> Condition:
    """An active condition with its texts."""
    usual, meaning, look, clears = TEXTS[kind]
    return Condition(kind, "starter", True, priority or usual, seen, means or meaning, look, clears,
                     ON_DELAY_S.get(kind, 0.0), 0.0, figures, evidence)


#: No drain to name.
UNKNOWN = NotYet("it is found while the vehicle is parked")
#: The same conditions while nothing is wrong.
IDLE = {kind: Condition(kind, "starter", False, priority, "", means, look, clears, ON_DELAY_S.get(kind, 0.0))
        for kind, (priority, means, look, clears) in TEXTS.items()}


@dataclass(frozen=True, slots=True)
class LevelAlert:
    """How long the voltage has been too high or too low."""

    over_s: float = 0.0
    under_s: float = 0.0
    volts: float | None = None
    low: bool = False
    flat: bool = False
    blind: bool = False         # no thermometer near it

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"blind"})


def update_level(state: LevelAlert, minute: Minute, join: JoinFindings, battery: Battery) -> LevelAlert:
    """The level after one more minute.

    state: what was kept after the minute before; join: what is known of engine and isolator; battery: its label; minute: what was
    measured.
    """
    volts = minute.starter_voltage_v
    if volts is None:
        return state
    warm_c = minute.ambient_temperature_c if minute.ambient_temperature_c is not None else minute.house_temperature_c
    over_s = state.over_s + minute.duration_s if volts > alternator_over_voltage_v(battery, warm_c) else 0.0
    under_v = UNDER_V + (BACK_V if state.under_s >= UNDER_FOR_S else 0.0)
    under_s = state.under_s + minute.duration_s if volts < under_v and join.engine != "running" else 0.0
    low = volts < LOW_V + (BACK_V if state.low else 0.0)
    flat = volts < FLAT_V + (BACK_V if state.flat else 0.0)
    if over_s == under_s == state.over_s == state.under_s and low == state.low and flat == state.flat:
        return state
    return LevelAlert(over_s, under_s, volts, low, flat, warm_c is None)


def three_quarters_v(battery: Battery) -> float:
    """Rest voltage at 25 °C of a battery three quarters full."""
    kind = KINDS.get(battery.chemistry, KINDS["agm"])
    return kind.full_v - QUARTER * kind.span_v - kind.full_sigma_v


def conditions(vehicle: Vehicle, level: LevelAlert, found: Drain | None, doubtful_after_s: float | None,
               starts: crank.CrankState, *, rest_v: float | None, temperature_c: float | None, house_v: float | None,
               uncharged_s: float, at_s: float, coming_low_c: float | None = None, drain_a: Answer = UNKNOWN) -> tuple[Condition, ...]:
    """All starter conditions, active or not.

    rest_v : the resting voltage, None while it is not resting [V]
    coming_low_c : the lowest temperature expected in the coming night, None while not known or too far off [°C]
    vehicle: what its owner said of it; level: its level; found: what was found; doubtful_after_s: how long it may stand
    before a start is doubtful [s]; drain_a: drain while parked, self-discharge included, as the pages show it [A];
    starts: what was seen of starts; temperature_c: of the battery [°C]; house_v: house
    battery's voltage [V]; uncharged_s: since it was three quarters full [s]; at_s: the log's time [s].
    """
    lead = vehicle.starter.lead_acid
    failed = _start_failed(starts)
    rested_v = rest_v if lead else None
    flat = rested_v is not None and level.flat
    part_charged = rested_v is not None and uncharged_s > 86400.0 * limits_of(vehicle.starter.chemistry).never_full_days
    return (
        IDLE["starter_drain"] if found is None else _drain(found, doubtful_after_s, at_s, drain_a),
        _low(rested_v, flat) if rested_v is not None and level.low else IDLE["starter_low"],
        _frost(rested_v, temperature_c, coming_low_c, vehicle.starter) if rested_v is not None else IDLE["starter_freeze_risk"],
        _part_charged(uncharged_s) if part_charged else IDLE["starter_part_charged"],
        _crank_weak(starts), failed, over_voltage(level), _under_voltage(level),
        _no_start(rest_v, house_v, vehicle) if flat or failed.active else IDLE["will_not_start"],
    )


def _drain(found: Drain, doubtful_after_s: float | None, at_s: float, drain_a: Answer) -> Condition:
    if found.how == "sudden":
        return _warn("starter_drain", f"Starter battery fell by {found.fall_v_per_day:.1f} V within minutes.",
                     "It was separate and at rest, and the voltage stayed there.",
                     means="A cell may have failed inside, or a very heavy load is on. "
                     "Expect no start.")
    days = None if doubtful_after_s is None else doubtful_after_s / 86400
    evidence = (f"The resting voltage has been falling by {1000 * found.fall_v_per_day:.0f} mV a day for about "
                f"{(at_s - found.since_s) / 3600:.0f} h. Of that {_milli(found.extra_a)} mA "
                f"({_milli(found.low_a)}–{_milli(found.high_a)}) is more than this vehicle usually draws."
                + ("" if days is None else " A start is doubtful already." if round(days, 1) == 0 else
                   f" At this rate it should start the engine for {days:.1f} days more."))
    said = "a drain" if not isinstance(drain_a, Estimate) else f"a drain of {1000 * drain_a.value:.0f} mA"
    return _warn("starter_drain", f"Starter battery has {said} while parked.", evidence, (
        ("extra_a", found.extra_a), ("low_a", found.low_a), ("high_a", found.high_a), ("since_s", found.since_s),
        ("doubtful_in_s", -1.0 if doubtful_after_s is None else doubtful_after_s)))


def _milli(amps: float) -> str:
    value = max(0.0, 1000 * amps)
    step = 5 if value < 100 else 10 if value < 400 else 50 if value < 2000 else 100
    return f"{step * round(value / step)}"


def _low(rest_v: float, flat: bool) -> Condition:
    return _warn("starter_low", f"Starter battery {'nearly flat' if flat else 'half empty'}: {rest_v:.2f} V at rest.",
                 "Nothing charges it, and nothing large is on.", (("rest_v", rest_v),), priority="high" if flat else "medium")


def charge_frac(rest_v: float, temperature_c: float | None, battery: Battery) -> float:
    """Charge left by the resting voltage, 0 to 1.

    rest_v: resting voltage [V]; temperature_c: of the battery [°C]; battery: its label.
    """
    kind = KINDS.get(battery.chemistry, KINDS["agm"])
    at_25 = rest_v - warmth_v(crank.USUAL_C if temperature_c is None else temperature_c)
    return min(1.0, max(0.0, 1 - (kind.full_v - at_25) / kind.span_v))


def _frost(rest_v: float, temperature_c: float | None, coming_low_c: float | None, battery: Battery) -> Condition:
    """Thin acid and frost, now or in the coming night: the acid's density follows from the resting voltage."""
    if min(99.0 if temperature_c is None else temperature_c, 99.0 if coming_low_c is None else coming_low_c) > 0.0:
        return IDLE["starter_freeze_risk"]
    point_c = frost.freezing_point_c(frost.density_from_rest_voltage_kg_l(rest_v))
    warn_c = min(point_c + (limits_of(battery.chemistry).frost_margin_k or 0.0), 0.0)
    acid = f"At {rest_v:.2f} V its acid freezes at about {point_c:.0f} °C.".replace("-", "−")
    if temperature_c is not None and temperature_c <= warn_c:
        return _warn("starter_freeze_risk", f"Starter battery may be freezing: {temperature_c:.0f} °C.".replace("-", "−"), acid, (
            ("freezing_c", point_c), ("temperature_c", temperature_c)))
    if coming_low_c is not None and coming_low_c <= warn_c:
        return _warn("starter_freeze_risk", f"Starter battery may freeze tonight: {coming_low_c:.0f} °C expected.".replace("-", "−"), acid,
                     (
            ("freezing_c", point_c), ("temperature_c", coming_low_c)), priority="medium")
    return IDLE["starter_freeze_risk"]


def _part_charged(uncharged_s: float) -> Condition:
    return _warn("starter_part_charged", "Starter battery has been part charged for too long.",
                 f"For {uncharged_s / 86400:.0f} days it has not rested above three quarters full.", (("uncharged_s", uncharged_s),))


def _crank_weak(starts: crank.CrankState) -> Condition:
    last = starts.last
    if last is not None and last.verdict == "weak":
        return _warn("crank_weak", f"The last start was weak: lowest {last.lowest_v or 0.0:.1f} V.",
                     f"The voltage {last.because}.", (("lowest_v", last.lowest_v or 0.0), ("severity", last.severity or 0.0)))
    grown = crank.trend(starts)
    if grown is None or grown[1] <= crank.GROWN:
        return IDLE["crank_weak"]
    return _warn("crank_weak", f"Starts pull the voltage {grown[0]:.1f} times as deep as before.",
                 f"That is against this vehicle's first {crank.BASELINE} starts, at equal temperature, 95 % range {grown[1]:.1f} to "
                 f"{grown[2]:.1f}.", (("ratio", grown[0]),))


def _start_failed(starts: crank.CrankState) -> Condition:
    if starts.last is not None and starts.last.verdict == "failed":
        return _warn("start_failed", f"The last start failed: lowest {starts.last.lowest_v or 0.0:.1f} V.",
                     f"The voltage {starts.last.because}.")
    if len(starts.dips) >= 2:
        return _warn("start_failed", f"Starter voltage dipped {len(starts.dips)} times without a start.",
                     "It dipped as in a start, and nothing charged afterwards: starts that failed, or a heavy load.")
    return IDLE["start_failed"]


def over_voltage(level: LevelAlert) -> Condition:
    """Whether the voltage has been too high for a minute."""
    if level.over_s < 60 or level.volts is None:
        return IDLE["starter_over_voltage"]
    return _warn("starter_over_voltage", f"Starter battery at {level.volts:.1f} V: far too high.",
                 f"It has been so for {level.over_s / 60:.0f} min." + (" " + say_unseen("regulator") if level.blind else ""),
                 (("voltage_v", level.volts),))


def _under_voltage(level: LevelAlert) -> Condition:
    if level.under_s < UNDER_FOR_S or level.volts is None:
        return IDLE["starter_under_voltage"]
    return _warn("starter_under_voltage", f"Starter battery at {level.volts:.1f} V: empty or overloaded.", "",
                 (("voltage_v", level.volts),))


def _no_start(rest_v: float | None, house_v: float | None, vehicle: Vehicle) -> Condition:
    fit_v = HOUSE_FIT_V if vehicle.house.lead_acid else HOUSE_FIT_LFP_V
    if house_v is None or house_v <= fit_v:
        return IDLE["will_not_start"]
    own = "a start failed" if rest_v is None else f"starter battery flat at {rest_v:.1f} V"
    return _warn("will_not_start", f"The engine will hardly start: {own}.", f"The house battery is not flat: {house_v:.1f} V.")
