"""Five hundred circuits at random: none gets hotter than its insulation by an independent heat balance."""
from random import Random

import pytest
from scipy.integrate import solve_ivp

from monitor.circuits import source
from monitor.circuits.circuit import Circuit, Refused
from monitor.circuits.design import Plan, design
from tests.circuits.heat_balance import ALPHA, RHO, steady_c

COUNT = 500
#: Copper: heat by volume [J/(mm3 K)] (CRC Handbook).
HEAT_J_PER_MM3_K = 3.45e-3


def circuits(seed: int = 20) -> list[Plan]:
    """Designed circuits of every kind of place; what is refused is drawn anew."""
    chance, found = Random(seed), []
    while len(found) < COUNT:
        circuit = Circuit(
            "any", round(10 ** chance.uniform(-0.5, 2.6), 2), round(chance.uniform(0.2, 10), 2),
            place=chance.choice(["cabin", "engine bay"]), laid=chance.choice(["open", "open", "conduit", "insulation"]),
            insulation_c=chance.choice([60, 70, 75, 80, 85, 90, 100, 105, 125]),
            ambient_c=chance.choice([None, 10, 20, 30, 40, 50, 60, 70, 80, 90]), loaded_count=chance.choice([1, 2, 2, 2, 3, 4, 6, 8, 12,
                24, 40]),
            continuous=chance.random() < 0.6, drop_pct=chance.choice([3, 10]), tinned=chance.random() < 0.3)
        supply = source.battery_supply("battery", chance.choice(["flooded", "agm", "gel", "lfp"]), chance.choice([60, 100, 200]))
        try:
            found.append(design(circuit, supply))
        except Refused:
            continue
    return found


@pytest.fixture(scope="module")
def plans() -> list[Plan]:
    return circuits()


def test_no_conductor_gets_hotter_than_its_insulation(plans: list[Plan]) -> None:
    hot = []
    for plan in plans:
        c = plan.circuit
        for run in (plan.run, plan.american_run):
            if run is not None:
                copper_c = steady_c(run.area_mm2, c.current_a, plan.air_c, c.loaded_count, c.laid)
                if copper_c > c.insulation_c:
                    hot.append((run.conductor, c, copper_c))
    assert not hot


def test_nor_at_the_current_that_its_fuse_carries_for_ever(plans: list[Plan]) -> None:
    """At the fuse's rating, all conductors of a bundle at once: at most 5 K above the class, in still air and for thin walls."""
    for plan in plans:
        c = plan.circuit
        for run in (plan.run, plan.american_run):
            if run is not None:
                assert steady_c(run.area_mm2, run.fuse.rating_a, plan.air_c, c.loaded_count, c.laid) < c.insulation_c + 5, (run, c)


def test_the_sheet_does_not_call_the_copper_cooler_than_it_is(plans: list[Plan]) -> None:
    """Copper at the load by the sheet, against the heat balance: never more than 5 K too low."""
    for p in plans:
        assert p.run.copper_c > steady_c(p.run.area_mm2, p.circuit.current_a, p.air_c, p.circuit.loaded_count, p.circuit.laid) - 5


def test_every_short_circuit_ends_before_the_insulation_is_spoilt(plans: list[Plan]) -> None:
    """Copper heated without any loss from the temperature at load, by its own differential equation, for as long as the fuse may take."""
    from monitor.circuits.tables import FUSE_CLASSES

    final = {60: 160, 75: 160, 80: 160, 90: 250, 105: 160, 125: 250}
    for plan in plans[::5]:
        kind = next(k for k in FUSE_CLASSES if k.name == plan.run.fuse.kind)
        top = final[max(c for c in final if c <= plan.circuit.insulation_c)]
        for ratio, seconds in kind.fast:
            density = ratio * plan.run.fuse.rating_a / plan.run.area_mm2
            found = solve_ivp(lambda _, y, density=density: density**2 * RHO / 1.03 / 1000 * (1 + ALPHA * (y - 20)) / HEAT_J_PER_MM3_K,
                              (0, seconds), [plan.run.copper_c], rtol=1e-6)
            assert found.y[0, -1] < top + 2


def test_load_fuse_and_conductor_stand_in_their_order(plans: list[Plan]) -> None:
    for plan in plans:
        run, c = plan.run, plan.circuit
        assert c.current_a <= run.fuse.rating_a < run.ampacity_a <= run.table_a
        assert run.fuse.breaking_a >= plan.supply.short_circuit_a
        assert run.drop_pct <= c.drop_pct
        physical_v = 2 * c.length_m * c.current_a * RHO / 1.03 / run.area_mm2 * (1 + ALPHA * (run.copper_c - 20))
        assert physical_v < run.drop_v < 1.25 * physical_v  # the standard allows the thinnest a fifth more than solid copper
        assert run.heat_w == pytest.approx(run.drop_v * c.current_a)
