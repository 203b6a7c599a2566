"""All trackers in running order, as one fold: the same for the daemon, a replay and a test."""
from dataclasses import dataclass

from monitor import dependence
from monitor.battery.label import Vehicle
from monitor.detection.house import house_alerts, limit_alerts, protection
from monitor.detection.join import isolator
from monitor.detection.starter import starter
from monitor.detection.wiring import plausibility
from monitor.estimation import charge
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
from monitor.sample import Minute
from monitor.usage import counts, loads
from monitor.wear import health


@dataclass(frozen=True, slots=True)
class TrackerStates:
    """What every tracker holds; saved whole with the samples of the minute that led to it."""

    isolator: isolator.JoinState
    charge: charge.ChargeState
    counts: counts.CountsState
    starter: starter.StarterState
    loads: loads.LoadsState
    forecast: forecast.ForecastState
    health: health.HealthState
    house: house_alerts.HouseAlertsState
    plausibility: plausibility.PlausibilityState
    limits: limit_alerts.LimitsState
    protection: protection.Protection


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


def begin(vehicle: Vehicle) -> TrackerStates:
    """The state before the first minute of a vehicle's log."""
    return TrackerStates(
        isolator=isolator.begin(), charge=charge.begin(vehicle), counts=counts.begin(),
        starter=starter.begin(), loads=loads.begin(), forecast=forecast.begin(),
        health=health.begin(), house=house_alerts.begin(),
        plausibility=plausibility.begin(), limits=limit_alerts.begin(), protection=protection.begin(),
    )


def step(states: TrackerStates, minute: Minute, vehicle: Vehicle) -> tuple[TrackerStates, Findings]:
    """One minute further: the isolator first, for it says whose a current or a voltage is."""
    joined = isolator.update(states.isolator, minute, vehicle)
    join = isolator.findings(joined, vehicle)
    cut_off = protection.update(states.protection, minute, vehicle)
    protected = protection.findings(cut_off, vehicle)
    seen, minute = minute, minute if protected.voltage_trusted else protection.without_voltage(minute)
    charged = charge.update(states.charge, minute, vehicle, join)
    charge_found = charge.findings(charged, vehicle)
    counted = counts.update(states.counts, minute, join)
    watched = starter.update(states.starter, seen, vehicle, join)
    loaded = loads.update(states.loads, minute, vehicle, join, charge_found)
    foreseen = forecast.update(states.forecast, minute, vehicle, charge_found, loaded)
    aged = health.update(states.health, minute, vehicle, charge_found)
    warned = house_alerts.update(states.house, minute, vehicle, charge_found)
    if not protected.voltage_trusted:
        warned = house_alerts.without_voltage(warned)
    plausible = plausibility.update(states.plausibility, minute, vehicle)
    limited = limit_alerts.update(states.limits, minute, vehicle, charge_found)
    now = TrackerStates(isolator=joined, charge=charged, counts=counted, starter=watched, loads=loaded, forecast=foreseen,
                        health=aged, house=warned, plausibility=plausible, limits=limited, protection=cut_off)
    forecast_found, health_found = forecast.findings(foreseen), health.findings(aged, vehicle)
    found = Findings(
        at_s=minute.end_s, join=join, charge=charge_found,
        starter=starter.findings(watched, vehicle), counts=counts.findings(counted),
        loads=loads.findings(loaded), forecast=forecast_found, health=health_found,
        conditions=(
            *isolator.conditions(joined, vehicle), *charge.conditions(charged, vehicle),
            *starter.conditions(watched, vehicle), *loads.conditions(loaded),
            *forecast.conditions(foreseen), *health.conditions(aged),
            *house_alerts.conditions(warned, vehicle), protection.condition(cut_off, vehicle),
            *limit_alerts.conditions(limited, vehicle, sun_in_s=forecast_found.sun_back_in_s,
                                     since_full_s=health_found.since_full_s, low_hours=health_found.low_hours),
            *plausibility.conditions(plausible, vehicle, charge_found, charged.suspicion.backwards >= plausibility.MAYBE_REVERSED),
        ),
        news=(*joined.news, *charged.news, *watched.news, *loaded.news, *foreseen.news, *aged.news),
        protection=protected,
    )
    return now, dependence.hold_back(found, charged.suspicion.backwards >= plausibility.MAYBE_REVERSED)
