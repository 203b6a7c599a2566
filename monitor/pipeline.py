"""All trackers in running order, as one fold: the same for the daemon, a replay and a test."""
from collections.abc import Iterable, Sequence
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
from monitor.replacing import dataclass, replace
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
#: and what each load took: nothing else rests on that, and it takes a sixth of a minute's work
NAMED = "named"
EVERYTHING = ALL | {NAMED}


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


def step(
    states: TrackerStates, minute: Minute, vehicle: Vehicle, parts: frozenset[str] = EVERYTHING,
) -> tuple[TrackerStates, Findings]:
    """One minute further: the isolator first, for it says whose a current or a voltage is.

    Parameters
    ----------
    states : what every tracker holds
    minute : what was measured
    vehicle : what its owner said of it
    parts : the trackers that live through it, with all that they need (`with_dependencies`), and NAMED where it is asked for; of the
        others nothing is found
    """
    now, charge_found, protected = _advance(states, (minute,), vehicle, parts)
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
            *plausibility.conditions(now.plausibility, vehicle, charge_found, now.charge.suspicion.maybe_reversed),
        ),
        news=(*now.isolator.news, *now.charge.news, *now.starter.news, *now.loads.news, *now.found_loads.news,
              *now.forecast.news, *now.health.news),
        protection=protected, named=load_shares.findings(
            now.found_loads, vehicle, now.loads, minute.end_s) if NAMED in parts else load_shares.LoadSharesFindings(),
    )
    return now, dependence.hold_back(found, now.charge.suspicion.maybe_reversed)


def relive(states: TrackerStates, minutes: Sequence[Minute], vehicle: Vehicle, parts: frozenset[str]) -> TrackerStates:
    """Some minutes further through a past of which nobody asks what was concluded.

    Parameters
    ----------
    states : what the trackers hold
    minutes : from the log, in order; an hour of them takes a fifth less time than one by one
    vehicle : as it is known today
    parts : the trackers that live through it, with all that they need (`with_dependencies`); the others stay as they are
    """
    return _advance(states, minutes, vehicle, parts, brief="forecast" not in parts)[0] if minutes else states


def with_dependencies(parts: Iterable[str]) -> frozenset[str]:
    """The trackers that these rest on, themselves among them.

    >>> sorted(with_dependencies({"charge"}))
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


def _advance(states: TrackerStates, minutes: Sequence[Minute], vehicle: Vehicle,
             parts: frozenset[str] = ALL, brief: bool = False) -> tuple[TrackerStates, ChargeFindings, ProtectionFindings]:
    """What the trackers hold after some minutes, what was known of the charge then, and whether the voltage is the battery's own.

    One tracker after the other lives through all of the minutes. No tracker asks what a later one in the order found, so that is the
    same as all of them minute by minute; and while it lives through many in a row, its code and what it holds stay in the
    processor's caches.
    """
    joined, joins = states.isolator, []
    for minute in minutes:
        joined = isolator.update(joined, minute, vehicle)
        joins.append(isolator.brief(joined, vehicle))
    cut_off, protections = states.protection, []
    for minute in minutes:
        cut_off = protection.update(cut_off, minute, vehicle)
        protections.append(protection.findings(cut_off, vehicle))
    seen = [minute if own.voltage_trusted else protection.without_voltage(minute) for minute, own in zip(minutes, protections, strict=True)]
    charged, charges = states.charge, []
    for minute, join in zip(seen, joins, strict=True):
        charged = house_charge.update(charged, minute, vehicle, join) if "charge" in parts else charged
        charges.append(house_charge.findings(charged, vehicle, brief))
    now = replace(_use(states, minutes, seen, vehicle, joins, charges, parts), isolator=joined, protection=cut_off, charge=charged)
    return _warn(now, seen, vehicle, joins, charges, protections, parts), charges[-1], protections[-1]


def _use(states: TrackerStates, minutes: Sequence[Minute], seen: Sequence[Minute], vehicle: Vehicle, joins: Sequence[JoinFindings],
         charges: Sequence[ChargeFindings], parts: frozenset[str]) -> TrackerStates:
    """The states with what the batteries are used for and how they stand it.

    states: before; minutes: as measured; seen: without a voltage that is not the battery's own; joins, charges: what was known in each
    of them; parts: who lives through them.
    """
    counted, books = states.counts, []
    for minute, join in zip(seen, joins, strict=True):
        counted = counts.update(counted, minute, join) if "counts" in parts else counted
        books.append(counted)
    watched = states.starter
    for minute, join in zip(minutes if "starter" in parts else (), joins, strict=False):
        watched = starter.update(watched, minute, vehicle, join)
    loaded, splits = states.loads, []
    for minute, join, charge in zip(seen, joins, charges, strict=True):
        loaded = loads.update(loaded, minute, vehicle, join, charge) if "loads" in parts else loaded
        splits.append(loaded)
    apart = states.found_loads
    for minute, join, split, book in zip(seen if "found_loads" in parts else (), joins, splits, books, strict=False):
        apart = found_loads.update(apart, minute, vehicle, join, split, book)
    foreseen = states.forecast
    for minute, charge, split in zip(seen if "forecast" in parts else (), charges, splits, strict=False):
        foreseen = forecast.update(foreseen, minute, vehicle, charge, split)
    aged = states.health
    for minute, charge in zip(seen if "health" in parts else (), charges, strict=False):
        aged = health.update(aged, minute, vehicle, charge)
    return replace(states, counts=counted, starter=watched, loads=loaded, found_loads=apart, forecast=foreseen, health=aged)


def _warn(states: TrackerStates, seen: Sequence[Minute], vehicle: Vehicle, joins: Sequence[JoinFindings],
          charges: Sequence[ChargeFindings], protections: Sequence[ProtectionFindings], parts: frozenset[str]) -> TrackerStates:
    """The states with what deserves a warning.

    states: before; seen: the minutes without a voltage that is not the battery's own; joins, charges, protections: what was known in
    each of them; parts: who lives through them.
    """
    warned = states.house
    for minute, charge, join, own in zip(seen, charges, joins, protections, strict=True):
        warned = house_alerts.update(warned, minute, vehicle, charge, join) if "house" in parts else warned
        warned = warned if own.voltage_trusted else house_alerts.without_voltage(warned)
    plausible = states.plausibility
    for minute, charge in zip(seen if "plausibility" in parts else (), charges, strict=False):
        plausible = plausibility.update(plausible, minute, vehicle, charge)
    limited = states.limits
    for minute, charge in zip(seen if "limits" in parts else (), charges, strict=False):
        limited = limit_alerts.update(limited, minute, vehicle, charge)
    return replace(states, house=warned, plausibility=plausible, limits=limited)
