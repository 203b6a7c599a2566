"""All trackers in running order, as one fold: the same for the daemon, a replay and a test."""
from collections.abc import Iterable
from dataclasses import fields
from typing import ClassVar

from monitor import dependence
from monitor.battery.label import Vehicle
from monitor.detection.house import house_alerts, limit_alerts, protection
from monitor.detection.join import isolator
from monitor.detection.starter import starter
from monitor.detection.wiring import plausibility
from monitor.estimation import house_charge
from monitor.findings import (
    ChargeFindings,
    Condition,
    Event,
    ForecastFindings,
    HealthFindings,
    JoinFindings,
    ProtectionFindings,
    StarterFindings,
)
from monitor.forecast import forecast
from monitor.replacing import dataclass
from monitor.sample import Minute
from monitor.usage import counts, found_loads, load_shares, loads
from monitor.wear import health


@dataclass(frozen=True, slots=True)
class TrackerStates:
    """What every tracker holds; saved whole with the samples of the minute that led to it."""

    isolator: isolator.JoinState
    charge: house_charge.HouseState
    counts: counts.CountsState
    starter: starter.StarterState
    loads: loads.LoadsState
    forecast: forecast.ForecastState
    health: health.HealthState
    house: house_alerts.HouseAlertsState
    plausibility: plausibility.PlausibilityState
    limits: limit_alerts.LimitsState
    protection: protection.Protection
    found_loads: found_loads.FoundLoadsState


#: the trackers by name
ALL = frozenset(f.name for f in fields(TrackerStates))


@dataclass(frozen=True, slots=True)
class Findings:
    """Everything concluded by the end of one minute."""

    at_s: float
    join: JoinFindings
    charge: ChargeFindings
    starter: StarterFindings
    counts: counts.CountsFindings
    loads: loads.LoadsFindings
    forecast: ForecastFindings
    health: HealthFindings
    conditions: tuple[Condition, ...]
    news: tuple[Event, ...]
    protection: ProtectionFindings = ProtectionFindings()
    named: load_shares.LoadSharesFindings = load_shares.LoadSharesFindings()

    #: fields that findings of an earlier log do not have
    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"named"})


def begin(vehicle: Vehicle) -> TrackerStates:
    """The state before the first minute of a vehicle's log."""
    return TrackerStates(
        isolator=isolator.begin(), charge=house_charge.begin(vehicle), counts=counts.begin(),
        starter=starter.begin(), loads=loads.begin(), forecast=forecast.begin(),
        health=health.begin(), house=house_alerts.begin(),
        plausibility=plausibility.begin(), limits=limit_alerts.begin(), protection=protection.begin(), found_loads=found_loads.begin(),
    )


def step(states: TrackerStates, minute: Minute, vehicle: Vehicle) -> tuple[TrackerStates, Findings]:
    """One minute further: the isolator first, for it says whose a current or a voltage is.

    states: what every tracker holds; minute: what was measured; vehicle: what its owner said of it.
    """
    now, charge_found, protected = _advance(states, minute, vehicle)
    join = isolator.findings(now.isolator, vehicle)
    forecast_found, health_found = forecast.findings(now.forecast), health.findings(now.health, vehicle)
    found = Findings(
        at_s=minute.end_s, join=join, charge=charge_found,
        starter=starter.findings(now.starter, vehicle), counts=counts.findings(now.counts),
        loads=loads.findings(now.loads), forecast=forecast_found, health=health_found,
        conditions=(
            *isolator.conditions(now.isolator, vehicle), *house_charge.conditions(now.charge, vehicle),
            *starter.conditions(now.starter, vehicle), *loads.conditions(now.loads),
            *forecast.conditions(now.forecast), *health.conditions(now.health),
            *house_alerts.conditions(now.house, vehicle), protection.condition(now.protection, vehicle),
            *limit_alerts.conditions(now.limits, vehicle, sun_in_s=forecast_found.sun_back_in_s,
                                     since_full_s=health_found.since_full_s, low_hours=health_found.low_hours),
            *plausibility.conditions(now.plausibility, vehicle, charge_found,
                                     now.charge.suspicion.backwards >= plausibility.MAYBE_REVERSED),
        ),
        news=(*now.isolator.news, *now.charge.news, *now.starter.news, *now.loads.news, *now.found_loads.news,
              *now.forecast.news, *now.health.news),
        protection=protected, named=load_shares.findings(now.found_loads, vehicle, now.loads, minute.end_s),
    )
    return now, dependence.hold_back(found, now.charge.suspicion.backwards >= plausibility.MAYBE_REVERSED)


def relive(states: TrackerStates, minute: Minute, vehicle: Vehicle, parts: frozenset[str]) -> TrackerStates:
    """One minute further through a past of which nobody asks what was concluded.

    Parameters
    ----------
    states : what the trackers hold
    minute : from the log
    vehicle : as it is known today
    parts : the trackers that live through it, with all that they need (`needed`); the others stay as they are
    """
    return _advance(states, minute, vehicle, parts, brief="forecast" not in parts)[0]


def needed(parts: Iterable[str]) -> frozenset[str]:
    """The trackers that these rest on, themselves among them.

    >>> sorted(needed({"charge"}))
    ['charge', 'isolator', 'protection']
    """
    found = {"isolator", "protection", *parts}
    if "found_loads" in found:
        found |= {"loads", "counts"}
    if found & {"loads", "forecast", "health", "house", "plausibility", "limits"}:
        found.add("charge")
    if "forecast" in found:
        found.add("loads")
    return frozenset(found)


def _advance(states: TrackerStates, minute: Minute, vehicle: Vehicle,
             parts: frozenset[str] = ALL, brief: bool = False) -> tuple[TrackerStates, ChargeFindings, ProtectionFindings]:
    joined = isolator.update(states.isolator, minute, vehicle)
    join = isolator.brief(joined, vehicle)
    cut_off = protection.update(states.protection, minute, vehicle)
    protected = protection.findings(cut_off, vehicle)
    seen, minute = minute, minute if protected.voltage_trusted else protection.without_voltage(minute)
    charged = house_charge.update(states.charge, minute, vehicle, join) if "charge" in parts else states.charge
    charge_found = house_charge.findings(charged, vehicle, brief)
    counted = counts.update(states.counts, minute, join) if "counts" in parts else states.counts
    watched = starter.update(states.starter, seen, vehicle, join) if "starter" in parts else states.starter
    loaded = loads.update(states.loads, minute, vehicle, join, charge_found) if "loads" in parts else states.loads
    apart = found_loads.update(states.found_loads, minute, vehicle, join, loaded, counted) if (
        "found_loads" in parts) else states.found_loads
    foreseen = forecast.update(states.forecast, minute, vehicle, charge_found, loaded) if "forecast" in parts else states.forecast
    aged = health.update(states.health, minute, vehicle, charge_found) if "health" in parts else states.health
    warned = house_alerts.update(states.house, minute, vehicle, charge_found, join) if "house" in parts else states.house
    if not protected.voltage_trusted:
        warned = house_alerts.without_voltage(warned)
    plausible = plausibility.update(states.plausibility, minute, vehicle, charge_found) if (
        "plausibility" in parts) else states.plausibility
    limited = limit_alerts.update(states.limits, minute, vehicle, charge_found) if "limits" in parts else states.limits
    now = TrackerStates(isolator=joined, charge=charged, counts=counted, starter=watched, loads=loaded, forecast=foreseen,
                        health=aged, house=warned, plausibility=plausible, limits=limited, protection=cut_off, found_loads=apart)
    return now, charge_found, protected
