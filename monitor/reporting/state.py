"""Everything that is known at one moment as plain data: what the pages' JSON, the retained message and others hand on."""
from collections.abc import Iterable
from dataclasses import asdict, fields, is_dataclass
from typing import Any

from monitor.alerts.rules import Alert
from monitor.battery.label import Vehicle
from monitor.pipeline import Findings
from monitor.reporting import answers, sentences
from monitor.sample import Sample

#: Of the shape of what is handed on: it changes when a name goes, or means something else; names may come at any time.
VERSION = 1
#: Readings that are handed on, in this order.
READINGS = ("house_voltage_v", "house_current_a", "house_temperature_c", "starter_voltage_v", "starter_temperature_c",
            "ambient_temperature_c", "solar_current_a", "ignition_on")


def describe_state(found: Findings, sample: Sample | None, vehicle: Vehicle, hour: float | None) -> dict[str, Any]:
    """Readings and conclusions of one minute, units in the names, currents positive into the battery.

    An answer is its value with low, high (95 %) and basis, or the reason for having none.

    found : what the trackers concluded; sample : the latest readings; vehicle : what its owner said of it
    hour : local clock hour of the findings, None where no clock is trusted
    """
    return {
        "readings": {name: None if sample is None else getattr(sample, name) for name in READINGS},
        "join": describe_findings(found.join), "charge": describe_findings(found.charge), "starter": describe_findings(found.starter),
        "loads": describe_findings(found.loads), "named_loads": asdict(found.named),
        "counts": asdict(found.counts), "forecast": describe_findings(found.forecast),
        "health": asdict(found.health),
        "sentences": {
            "charge": sentences.charge_sentence(found.charge),
            "tonight": sentences.tonight_sentence(found.forecast, hour),
            "tonight_headline": sentences.tonight_headline(found.forecast, hour), "to_do": " Or: ".join(answers.acts(found.forecast)),
            "starter_headline": answers.starter_headline(found.starter, found.join, found.conditions),
            "starter": sentences.starter_sentence(found.starter, found.join), "join": sentences.join_sentence(found.join),
            "today": sentences.day_sentence(found.counts.today, because=found.counts.because),
            "health": sentences.health_sentence(found.health, vehicle.house.rated_capacity_ah),
        },
    }


def describe_findings(found: Any) -> dict[str, Any]:
    """One tracker's findings as plain data."""
    made = {}
    for field in fields(found):
        if field.name == "posterior":   # for computing on; its intervals are there already
            continue
        value = getattr(found, field.name)
        made[field.name] = asdict(value) if is_dataclass(value) and not isinstance(value, type) else value
    return made


def describe_message(found: Findings, sample: Sample | None, vehicle: Vehicle, alerts: Iterable[Alert], *, at_utc_s: float | None,
                     utc_trusted: bool, simulated: bool, hour: float | None) -> dict[str, Any]:
    """The whole state as it is published, with its version and the alerts that are open.

    found, sample, vehicle, hour : as for describe_state; alerts : all that are known
    at_utc_s : UTC of the findings [s], None where nothing is dated yet; utc_trusted : whether a clock vouches for it
    simulated : whether no battery is behind it
    """
    open_alerts = [{"id": a.id, "kind": a.kind, "battery": a.battery, "priority": a.priority, "state": a.state, "seen": a.seen,
                    "means": a.means, "look_first": a.look_first} for a in alerts if a.open]
    return {"version": VERSION, "simulated": simulated, "at_utc_s": at_utc_s, "clock_trusted": utc_trusted,
            "alerts": open_alerts} | describe_state(found, sample, vehicle, hour)
