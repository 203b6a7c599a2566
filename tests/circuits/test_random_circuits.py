"""Five hundred circuits at random: none gets hotter than its insulation by an independent heat balance.

More of them, from another seed, by hand: `python -m tests.benchmarks.bench_circuits 5000 SEED`.
"""
from random import Random

import pytest
import scipy

from monitor.circuits import source
from monitor.circuits.circuit import Circuit, Refused
from monitor.circuits.design import Plan, design
from monitor.circuits.tables import FUSE_CLASSES
from tests.circuits.heat_balance import ALPHA, RHO, steady_c

COUNT = 500
#: Copper: heat by volume [J/(mm3 K)] (CRC Handbook).
HEAT_J_PER_MM3_K = 3.45e-3


#: Currents that sit on a fuse's rating leave a conductor the least room.
RATINGS_A = sorted({rating for kind in FUSE_CLASSES for rating in kind.ratings_a})


def circuits(seed: int = 20, count: int = COUNT) -> list[Plan]:
    """Designed circuits of every kind and place, from stubs of 5 cm to 30 m; what is refused is drawn anew."""
    r, found = Random(seed), []
    while len(found) < count:
        circuit = Circuit(
            "any", r.choice(RATINGS_A) if r.random() < 0.3 else round(10 ** r.uniform(-1.0, 2.9), 2), round(10 ** r.uniform(-1.3, 1.48), 2),
            kind=r.choice(["load", "load", "load", "charger", "link", "sense", "control"]), place=r.choice(["cabin", "engine bay"]),
            laid=r.choice(["open", "open", "conduit", "insulation"]),
            insulation_c=r.choice([60, 70, 75, 80, 85, 90, 100, 105, 110, 120, 125]),
            ambient_c=r.choice([None, -20, 0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100]),
            loaded_count=r.choice([1, 2, 2, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 16, 20, 24, 30, 40, 41, 60]),
            continuous=r.random() < 0.6, drop_pct=r.choice([1, 3, 5, 10]), tinned=r.random() < 0.3)
        supply = source.battery_supply("battery", r.choice(["flooded", "agm", "gel", "lfp"]), r.choice([30, 60, 100, 200, 400]),
                                       count=r.choice([1, 1, 1, 2]))
        if r.random() < 0.3:
            supply = source.panel_supply("panel", supply, r.uniform(0.0005, 0.01), True, r.uniform(0.0, 0.2))
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
    """At the fuse's rating, all conductors of a bundle at once, in still air and for thin walls."""
    for plan in plans:
        c = plan.circuit
        for run in (plan.run, plan.american_run):
            if run is not None:
                assert steady_c(run.area_mm2, run.fuse.rating_a, plan.air_c, c.loaded_count, c.laid) <= c.insulation_c, (run, c)


def test_the_sheet_does_not_call_the_copper_cooler_than_it_is(plans: list[Plan]) -> None:
    """Copper at the load by the sheet, against the heat balance: never more than 5 K too low."""
    for p in plans:
        assert p.run.copper_c > steady_c(p.run.area_mm2, p.circuit.current_a, p.air_c, p.circuit.loaded_count, p.circuit.laid) - 5


def test_every_short_circuit_ends_before_the_insulation_is_spoilt(plans: list[Plan]) -> None:
    """Copper heated without any loss from the temperature at load, by its own differential equation, for as long as the fuse may take."""
    final = {60: 160, 75: 160, 80: 160, 90: 250, 105: 160, 125: 250}
    for plan in plans[::5]:
        kind = next(k for k in FUSE_CLASSES if k.name == plan.run.fuse.kind)
        top = final[max(c for c in final if c <= plan.circuit.insulation_c)]
        for ratio, seconds in kind.fast:
            density = ratio * plan.run.fuse.rating_a / plan.run.area_mm2
            found = scipy.integrate.solve_ivp(
                lambda _, y, density=density: density**2 * RHO / 1.03 / 1000 * (1 + ALPHA * (y - 20)) / HEAT_J_PER_MM3_K,
                (0, seconds), [plan.run.copper_c], rtol=1e-6)
            assert found.y[0, -1] < top + 2


def test_load_fuse_and_conductor_stand_in_their_order(plans: list[Plan]) -> None:
    for plan in plans:
        run, c = plan.run, plan.circuit
        assert c.current_a <= run.fuse.rating_a < run.ampacity_a <= run.table_a
        assert run.fuse.breaking_a >= plan.supply.short_circuit_a or plan.supply.behind_main and run.fuse.backed_up
        assert run.drop_pct <= c.drop_pct
        physical_v = 2 * c.length_m * c.current_a * RHO / 1.03 / run.area_mm2 * (1 + ALPHA * (run.copper_c - 20))
        assert physical_v < run.drop_v < 1.25 * physical_v  # the standard allows the thinnest a fifth more than solid copper
        assert run.heat_w == pytest.approx(run.drop_v * c.current_a)
