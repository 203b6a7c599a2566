"""Which alert and which figure rests on which channel: what a faulty instrument spoils is held back, and says so.

A reversed shunt is one alert, not a stuck isolator and a sunny night besides. Nothing is forgotten meanwhile: the
trackers go on, and what they say is heard again when the instrument is mended.
"""
from dataclasses import fields
from typing import Any, TypeVar

from monitor.findings import ChargeFindings, Condition, Estimate, ForecastFindings, HealthFindings, NotYet, ProtectionFindings
from monitor.replacing import replace
from monitor.usage.counts import CountsFindings
from monitor.usage.load_shares import LoadSharesFindings

CURRENT, HOUSE_V, STARTER_V = "house current", "house voltage", "starter voltage"
#: What a lithium battery that has cut itself off takes away: its charging, and its own voltage at the posts.
CHARGE_PATH, HOUSE_POSTS = "charge path", "house posts"

#: Fault -> channels that are not to be believed while it lasts; the first decides how the others are read.
SPOILS: dict[str, tuple[str, ...]] = {
    "shunt_reversed": (CURRENT,),
    "protection_tripped": (CHARGE_PATH, HOUSE_POSTS),
    "house_divider_wrong": (HOUSE_V,),
    "starter_divider_wrong": (STARTER_V,),
}
#: The same as a reason, behind "not known, because"; a battery that has cut itself off spoils no figure.
REASONS = {
    "shunt_reversed": "the shunt counts the wrong way round",
    "house_divider_wrong": "the house voltage is wrong by its divider",
    "starter_divider_wrong": "the starter voltage is wrong by its divider",
}

#: Fault -> groups of figures that are hidden until it is mended, and why. What the instrument shows is right as far as it
#: goes, so that alerts go on: a battery that is low is not fuller than the count says, and one that heats itself looks like a
#: loose sensor. A constant bypass is learnt and booked by the charge estimate: only what rests on the bare count is hidden.
HIDES: dict[str, tuple[tuple[str, ...], str]] = {
    "shunt_bypassed": (("charge", "counts", "loads", "named", "forecast", "health"), "a load goes past the shunt and is not counted"),
    "channel_at_limit": (("charge", "counts", "loads", "named", "forecast", "health"), "a meter is cut off at the end of its range"),
    "temperature_sensor_loose": (("health",), "the temperature sensor is not on the battery"),
}
BARE_COUNT = ("counts", "loads", "named")

#: Fault of an instrument -> alerts that wait for it, because it imitates them; an earlier fault makes a later one wait. None of
#: them warns of heat, of an empty battery or of a voltage that is too high. A bypass that is learnt and booked holds nothing back.
HOLDS: dict[str, tuple[str, ...]] = {
    "sensor_noisy": ("shunt_bypassed", "house_divider_wrong", "battery_swapped", "battery_type_doubtful", "path_resistance_grown",
                     "protection_tripped", "fridge_working_harder"),
    "channel_at_limit": ("shunt_bypassed", "battery_swapped", "battery_type_doubtful", "battery_worn", "battery_watch",
                         "fridge_working_harder"),
    "shunt_bypassed": ("battery_swapped", "battery_type_doubtful", "battery_worn", "battery_watch", "fridge_working_harder"),
    "temperature_sensor_loose": ("battery_worn", "battery_watch"),
}

#: What may hide a figure or make another alert wait: while none of them holds, nothing is held back.
FAULTS = frozenset((*SPOILS, *HIDES, *HOLDS))

#: Alert -> channels it rests on.
ALERTS: dict[str, tuple[str, ...]] = {
    "house_reserve_forecast": (CURRENT, HOUSE_V),
    "house_low": (CURRENT, HOUSE_V),
    "house_under_voltage": (HOUSE_V, HOUSE_POSTS),
    "house_over_voltage": (HOUSE_V,),
    "house_overcharged": (HOUSE_V, HOUSE_POSTS),
    "house_runaway": (CURRENT, HOUSE_V),
    "house_freeze_risk": (CURRENT, HOUSE_V),
    "house_deep_discharge": (HOUSE_V, HOUSE_POSTS),
    "house_never_full": (CURRENT, HOUSE_V),
    "cold_charging": (CURRENT,),
    "protection_tripped": (CURRENT,),
    "shunt_bypassed": (CURRENT, HOUSE_V, HOUSE_POSTS),
    "house_divider_wrong": (CURRENT, HOUSE_POSTS),
    "battery_swapped": (CURRENT, HOUSE_V, HOUSE_POSTS),
    "battery_type_doubtful": (CURRENT, HOUSE_V, HOUSE_POSTS),
    "battery_worn": (CURRENT, HOUSE_V),
    "battery_watch": (CURRENT, HOUSE_V),
    "fridge_working_harder": (CURRENT,),
    "isolator_stuck_closed": (CURRENT, HOUSE_V, STARTER_V),
    "isolator_stuck_open": (CURRENT, HOUSE_V, STARTER_V, CHARGE_PATH),
    "isolator_intermittent": (CURRENT, HOUSE_V, STARTER_V, CHARGE_PATH),
    "path_resistance_grown": (CURRENT, HOUSE_V, STARTER_V, CHARGE_PATH),
    "starter_drain": (STARTER_V,),
    "starter_low": (STARTER_V,),
    "starter_freeze_risk": (STARTER_V,),
    "starter_part_charged": (STARTER_V,),
    "starter_over_voltage": (STARTER_V,),
    "starter_under_voltage": (STARTER_V,),
    "alternator_not_charging": (STARTER_V,),
    "crank_weak": (STARTER_V,),
    "start_failed": (STARTER_V,),
    "will_not_start": (STARTER_V, HOUSE_V),
}
#: Alerts of the trackers that rest on no channel which a fault above spoils.
INDEPENDENT = ("shunt_reversed", "starter_divider_wrong", "temperature_sensor_loose", "channel_at_limit", "sensor_noisy", "house_too_hot")
#: Alerts that wait as soon as a reversed shunt is likely: faults elsewhere that it imitates. What warns of danger does not wait.
IMITATED = ("isolator_stuck_closed", "isolator_stuck_open", "isolator_intermittent", "path_resistance_grown", "shunt_bypassed",
            "house_divider_wrong", "battery_swapped", "battery_type_doubtful", "protection_tripped", "house_low", "house_reserve_forecast")

#: Group of figures (a field of the pipeline's findings) -> channels they rest on.
FIGURES: dict[str, tuple[str, ...]] = {
    "charge": (CURRENT, HOUSE_V),
    "counts": (CURRENT,),
    "loads": (CURRENT,),
    "named": (CURRENT,),
    "forecast": (CURRENT, HOUSE_V),
    "health": (CURRENT, HOUSE_V),
    "join": (CURRENT, HOUSE_V, STARTER_V),
    "starter": (STARTER_V,),
}
#: The same as a person calls them, for the fault's own alert.
CALLED = {"charge": "the charge", "counts": "what came in and went out", "loads": "who took the charge", "forecast": "tonight",
          "health": "the house battery's health", "join": "the path between the batteries", "starter": "the starter battery"}

Found = TypeVar("Found", bound=Any)


def hold_back(found: Found, likely_reversed: bool = False) -> Found:
    """The pipeline's findings without what rests on a channel that a fault spoils; the fault's alert says what that is.

    found : a Findings of monitor/pipeline.py, with `conditions` and the groups of FIGURES
    likely_reversed : evidence points to a reversed shunt, but is not sure yet
    """
    if not likely_reversed and not any(c.active and c.kind in FAULTS for c in found.conditions):
        return found
    faults = _faults(found.conditions, _waiting(found.conditions, likely_reversed))
    found = replace(found, conditions=hold_back_alerts(found.conditions, likely_reversed))
    hides = _hides(found.conditions)
    hidden = {group: HIDES[fault][1] for fault, groups in hides.items() if fault != "temperature_sensor_loose" for group in groups}
    if "temperature_sensor_loose" in hides and "health" not in hidden:
        found = replace(found, health=_without_warmth(found.health, HIDES["temperature_sensor_loose"][1]))
    hidden |= {group: REASONS[fault] for fault in faults if fault in REASONS
              for group, channels in FIGURES.items() if set(channels) & set(SPOILS[fault])}
    return replace(found, **{group: _hide_figures(getattr(found, group), why) for group, why in hidden.items()})


def hold_back_alerts(conditions: tuple[Condition, ...], likely_reversed: bool = False) -> tuple[Condition, ...]:
    """The conditions; what rests on a spoilt channel is not active, and the fault that spoils it says so."""
    waiting = _waiting(conditions, likely_reversed)
    faults = _faults(conditions, waiting)
    spoilt = {channel for fault in faults for channel in SPOILS[fault]}
    return tuple(_apply_faults(c, faults, spoilt, waiting) if c.active else c for c in conditions)


def _waiting(conditions: tuple[Condition, ...], likely_reversed: bool) -> set[str]:
    """Alerts that wait for a fault which imitates them; a fault that waits itself makes none wait."""
    waiting = set(IMITATED) if likely_reversed else set()
    for fault, alerts in HOLDS.items():
        if fault not in waiting and any(c.active and c.kind == fault and not _is_booked(c) for c in conditions):
            waiting |= set(alerts)
    return waiting


def _is_booked(condition: Condition) -> bool:
    """Whether it is a bypass that the charge estimate has learnt and counts."""
    return dict(condition.figures).get("booked_ratio", 0.0) > 0.5


def _faults(conditions: tuple[Condition, ...], waiting: set[str]) -> tuple[str, ...]:
    """The faults that hold, in the order of SPOILS; one that waits, or rests on a channel which another has spoilt, does not count."""
    active, found = {c.kind for c in conditions if c.active and c.kind not in waiting}, []
    spoilt: set[str] = set()
    for fault, channels in SPOILS.items():
        if fault in active and not spoilt & set(ALERTS.get(fault, ())):
            found.append(fault)
            spoilt |= set(channels)
    return tuple(found)


def _hides(conditions: tuple[Condition, ...]) -> dict[str, tuple[str, ...]]:
    """Fault -> groups of figures that it hides now."""
    found = {}
    for condition in conditions:
        if condition.active and condition.kind in HIDES:
            found[condition.kind] = BARE_COUNT if _is_booked(condition) else HIDES[condition.kind][0]
    return found


def _apply_faults(condition: Condition, faults: tuple[str, ...], spoilt: set[str], waiting: set[str]) -> Condition:
    kind = condition.kind
    if kind not in faults and (spoilt & set(ALERTS.get(kind, ())) or kind in waiting):
        return replace(condition, active=False)
    if kind in faults and kind in REASONS:
        names = [CALLED[group] for group, channels in FIGURES.items() if group in CALLED and set(channels) & set(SPOILS[kind])]
        return replace(condition, means=f"{condition.means} Until it is mended nothing is said of {_join_names(names)}, and alerts that "
                       "rest on it wait.")
    if kind in HIDES:
        names = ["ageing rate from temperature and growth of the resistance"] if kind == "temperature_sensor_loose" else [
            CALLED[group] for group in _hides((condition,))[kind] if group in CALLED]
        wait = ", and alerts that it looks like wait" if kind in HOLDS and not _is_booked(condition) else ""
        return replace(condition, means=f"{condition.means} Until it is mended nothing is said of {_join_names(names)}{wait}.")
    if kind == "sensor_noisy":
        return replace(condition, means=f"{condition.means} Until it is calm, alerts that its noise looks like wait.")
    return condition


def _join_names(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _without_warmth(health: HealthFindings, why: str) -> HealthFindings:
    """Health without what is brought to 25 °C by a thermometer that is not on the battery."""
    lines = tuple(line for line in health.lines if line.about != "resistance")
    word = health.verdict if len(lines) == len(health.lines) else "not enough evidence"
    changed: dict[str, Any] = {name: NotYet(why) for name in ("resistance_growth_ratio", "resistance_ohm")
                               if isinstance(getattr(health, name), Estimate)}
    return replace(health, heat_ratio=None, heat_because=why, lines=lines, verdict=word, **changed)


def _hide_figures(group: Any, why: str) -> Any:
    """A group of figures with the reason in the place of each answer."""
    if isinstance(group, ForecastFindings):
        return ForecastFindings(group.issued_s, None, why)
    if isinstance(group, LoadSharesFindings):
        return LoadSharesFindings(because=why)
    changed: dict[str, Any] = {}
    for field in fields(group):
        value = getattr(group, field.name)
        if isinstance(value, Estimate):
            changed[field.name] = NotYet(why)
        elif field.name == "shares":
            changed["shares"] = _hide_figures(value, why)
    if isinstance(group, HealthFindings):
        changed |= {"verdict": "not enough evidence", "lines": ()}
    elif isinstance(group, ChargeFindings):
        changed |= {"anchor": "", "anchor_age_s": None, "chemistry_doubt": "", "posterior": None}
    elif isinstance(group, CountsFindings):
        changed["because"] = why
    return replace(group, **changed)


def hold_back_lost(conditions: tuple[Condition, ...], protection: ProtectionFindings | None) -> tuple[Condition, ...]:
    """The conditions of the instruments; a voltage behind a battery's own open switch is no lost sensor."""
    if protection is None or protection.path != "discharge":
        return conditions
    return tuple(replace(c, active=False) if (c.kind, c.battery) == ("sensor_lost", "house") else c for c in conditions)
