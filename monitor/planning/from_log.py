"""A life out of the log: quarter hours of load, harvest and engine, and what is known of the present battery."""
from collections.abc import Iterable

from monitor.battery import Vehicle
from monitor.findings import Estimate
from monitor.planning.life import Logged
from monitor.planning.model import Setup
from monitor.planning.whatif import Known

QUARTER_S = 900.0


def logged(rows: Iterable[tuple[float, float, dict]], utc_to_local_h: float = 0.0) -> list[Logged]:
    """Quarter-hour rows of the log (UTC start, UTC end, values) as a life without holes.

    A hole becomes quarter hours of which nothing is known, so that days stay days. The alternator's charge is
    what came in while the engine ran; while it runs the sun is not told apart and counts as not measured.
    """
    life: list[Logged] = []
    expected: float | None = None
    for _, end_s, values in rows:
        while expected is not None and end_s - expected > QUARTER_S * 0.5:
            life.append(Logged(_hour(expected, utc_to_local_h), None, None))
            expected += QUARTER_S
        running = (values["engine_running_frac"] or 0.0) > 0.5
        covered_h = max(values["covered_s"] or 0.0, 1.0) / 3600
        engine_a = ((values["alternator_ah"] or 0.0) + (values["other_ah"] or 0.0)) / covered_h
        harvest = values["harvest_a"] if not running else None
        life.append(Logged(_hour(end_s, utc_to_local_h), values["load_a"], harvest, values["curtailed_frac"] or 0.0, engine_a,
                           running, values["house_temperature_c"], values["charge_frac"]))
        expected = end_s + QUARTER_S
    return life


def _hour(end_s: float, utc_to_local_h: float) -> float:
    return ((end_s - QUARTER_S / 2) / 3600 + utc_to_local_h) % 24


def known(vehicle: Vehicle, life: list[Logged], capacity_ah: Estimate) -> Known:
    """The present set-up, with what the trackers know of its capacity, at the beginning of the life."""
    house = vehicle.house
    start = next((row.charge_frac for row in life if row.charge_frac is not None), 0.7)
    return Known(Setup("as it is", house.chemistry, capacity_ah.value, house.reserve_soc_frac), start,
                 (capacity_ah.high - capacity_ah.low) / 3.92)
