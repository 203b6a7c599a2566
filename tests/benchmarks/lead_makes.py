"""Simulated lead-acid batteries on rest curves of other makes than the tracker's own, as recordings that can be cut and spoilt.

What is drawn anew for each battery: its rest curve between published ones, its size, plates, acceptance, gas, and meters.
Kinds: "strong acid": sealed batteries whose acid is stronger than usual (full at 13.0 to 13.2 V, span 1.3 to 1.7 V: a fleet
of solar homes, as fitted by an open survival study, 13.19 to 11.48 V; the acid of Sulzer et al. 2019, 12.99 to 11.68 V);
"thin acid": flooded, filled for the tropics (1.20 to 1.225 kg/L when full: US Army TM 9-8000); "sealed as flooded" and
"flooded as agm": the label read wrongly. The simulated battery's formulas are not the tracker's (drivers/vehicle/lead.py).
"""
from collections.abc import Iterator
from dataclasses import replace
from random import Random

from drivers.vehicle import BatteryPlan, Plan
from monitor.battery.label import Battery
from monitor.sample import Sample
from tests.benchmarks.ensemble import journey, vehicles
from tests.benchmarks.measured import Recording

KINDS = ("strong acid", "thin acid", "flooded as agm", "sealed as flooded")
#: Full and span [V] of the simulated battery's own kinds, from which a plan's offset and factor count.
_OWN = {"agm": (12.90, 1.14), "flooded": (12.68, 0.94)}


def _curve(r: Random, kind: str) -> tuple[str, str, float, float]:
    """What it is, what its label is taken for, full [V], span [V]."""
    if kind == "strong acid":
        full_v = r.uniform(12.98, 13.19)
        return "agm", "agm", full_v, 1.28 + (full_v - 12.98) * 1.9 + r.uniform(-0.06, 0.06)
    if kind == "thin acid":
        return "flooded", "flooded", r.uniform(12.24, 12.45), r.uniform(0.7, 0.95)
    if kind == "flooded as agm":
        return "flooded", "agm", r.gauss(12.66, 0.04), r.uniform(0.85, 1.1)
    return "agm", "flooded", r.gauss(12.95, 0.05), r.uniform(1.1, 1.35)


def lives(kind: str, count: int, seed: int, days: float = 10.0) -> Iterator[Recording]:
    """Recordings of count such batteries, each with the meters and the use of a vehicle of the ensemble."""
    for k, usual in enumerate(vehicles("lead healthy", count, seed, days)):
        r = Random(f"makes/{kind}/{seed}/{k}")
        real, label, full_v, span_v = _curve(r, kind)
        own_full_v, own_span_v = _OWN[real]
        house: BatteryPlan = replace(
            usual.house, chemistry=real, full_offset_v=full_v - own_full_v, span_factor=span_v / own_span_v,
            bend=r.uniform(-0.03, 0.12), soc_frac=r.uniform(0.25, 1.0))
        yield recorded(replace(usual, house=house, name=f"{kind} {k}"), label, kind)


def recorded(plan: Plan, label: str, make: str) -> Recording:
    """A vehicle's journey as a recording whose owner took its house battery for this kind."""
    samples: list[Sample] = []
    charge, capacity = [], []
    for sample, state in journey(plan, 60.0):
        if sample.house_voltage_v is None and sample.house_current_a is None:
            continue
        samples.append(sample)
        charge.append(min(max(state.house_soc_frac, 0.0), 1.0))
        capacity.append(state.house_capacity_ah)
    battery = Battery("house", label, plan.house.label_ah, 20.0, plan.absorption_v, plan.float_v)  # type: ignore[arg-type]
    return Recording(plan.name, make, battery, tuple(samples), tuple(charge), tuple(capacity))
