"""The circuits of a planned system: cables and fuses by the circuit sheet, and the list of what to buy."""
from collections.abc import Sequence

from monitor.battery.label import KIND_WORDS
from monitor.circuits.circuit import Circuit
from monitor.circuits.circuit import Refused as Unsafe
from monitor.circuits.design import Sheet, design
from monitor.circuits.source import battery_supply
from monitor.guides.wiring_plan import WiringPlan
from monitor.parameters import table
from monitor.planning.charging_paths import SPARE_A
from monitor.planning.load_catalogue import Load, fridge_run_w
from monitor.planning.trip_life import Candidate

P = table("planning", "plan_circuits")
LOADS_M, CHARGER_M, VOLTS = P.number("loads_m"), P.number("charger_m"), P.number("volts")
STEP_UP, LEAST_A, LARGE_W, BAY_C = P.number("step_up"), P.number("least_a"), P.number("large_w"), P.number("engine_bay_c")


def design_circuits(candidate: Candidate, loads: Sequence[Load]) -> Sheet:
    """The circuit sheet of a system: engine, sun, fridge, the other loads, large loads one by one.

    candidate: the system; loads: what is run.
    """
    supply = battery_supply("house battery", candidate.chemistry, candidate.capacity_ah)
    engine = candidate.engine
    circuits: list[Circuit] = []
    if engine.kind == "relay":
        circuits.append(Circuit("relay between the batteries", engine.spare_a or SPARE_A, engine.length_m, "link", place="engine bay",
                                insulation_c=BAY_C, conductor=f"{engine.area_mm2:g} mm2"))
    elif engine.kind == "dcdc":
        circuits.append(Circuit("DC-DC charger, starter side", round(STEP_UP * engine.rating_a, 1), engine.length_m, "charger",
                                place="engine bay", insulation_c=BAY_C))
        circuits.append(Circuit("DC-DC charger, house side", engine.rating_a, CHARGER_M, "charger"))
    if candidate.panel_w:
        circuits.append(Circuit("solar charger to the battery", round(candidate.panel_w / VOLTS, 1), CHARGER_M, "charger"))
    small = 0.0
    for load in loads:
        if load.is_fridge:
            circuits.append(Circuit(load.name, round(fridge_run_w(load) / VOLTS, 1), LOADS_M))
        elif load.hourly_w is not None:     # of a log: everything but the fridge together, by its busiest hour
            circuits.append(Circuit(f"feed of the logged loads' panel (loads above {LARGE_W:g} W need a circuit of their own)",
                                    max(round(max(load.hourly_w) / VOLTS, 1), LEAST_A), LOADS_M))
        elif load.power_w > LARGE_W:
            circuits.append(Circuit(load.name, round(load.power_w / VOLTS, 1), CHARGER_M, drop_pct=5.0, continuous=False))
        else:
            small += load.power_w / VOLTS
    if small:
        circuits.append(Circuit("feed of the small loads' panel", max(round(small, 1), LEAST_A), LOADS_M))
    plans, refused = [], []
    for circuit in circuits:
        try:
            plans.append(design(circuit, supply))
        except Unsafe as error:
            refused.append(str(error))
    return Sheet(tuple(plans), tuple(refused))


def list_parts(candidate: Candidate, sheet: Sheet) -> list[tuple[str, str]]:
    """What to buy: (how much, what), batteries first.

    candidate: the system; sheet: its circuits.
    """
    kind = KIND_WORDS[candidate.chemistry]
    parts = [("1", f"house battery, {kind}, 12 V, {candidate.capacity_ah:g} Ah")]
    if candidate.panel_w:
        controller = "with maximum power tracking" if candidate.tracking else "plain"
        parts += [(f"{candidate.panel_w:g} W", "solar panel"),
                  ("1", f"solar charger, {candidate.panel_w / VOLTS:.0f} A, {controller}, set for {kind}")]
    if candidate.engine.kind == "dcdc":
        parts.append(("1", f"DC-DC charger, {candidate.engine.rating_a:g} A, set for {kind}"))
    for plan in sheet.plans:
        metres = 2 * plan.circuit.length_m
        parts.append((f"{metres:g} m", f"cable {plan.run.conductor}, {plan.circuit.name} (out and back)"))
        parts.append((f"{plan.fuse_count}", f"fuse {plan.run.fuse.rating_a:g} A, {plan.run.fuse.kind}, with holder: {plan.circuit.name}"))
        if plan.relay is not None:
            parts.append(("1", f"relay, {plan.relay.continuous_a:g} A continuous"))
    return parts


def picture_plan(candidate: Candidate) -> WiringPlan:
    """What the wiring picture of a system shows; candidate: the system."""
    return WiringPlan(join="dc_dc" if candidate.engine.kind == "dcdc" else "relay", join_known=candidate.engine.kind != "none",
                      solar_charger_count=1 if candidate.panel_w else 0, shore_charger=candidate.shore_a is not None)
