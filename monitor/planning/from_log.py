"""A life out of the log: quarter hours of load, harvest and engine, and what is known of the present battery."""
from collections.abc import Iterable

from monitor.battery import Vehicle
from monitor.findings import ChargeFindings, Estimate
from monitor.planning.life import Logged
from monitor.planning.model import Setup
from monitor.planning.whatif import Known

QUARTER_S = 900.0
#: A charge with a wider interval is not compared with; a life begins where it is first known better.
WIDEST_FRAC = 0.3


def logged(rows: Iterable[tuple[float, float, dict]], utc_to_local_h: float = 0.0, current_offset_a: float = 0.0) -> list[Logged]:
    """Quarter-hour rows of the log (UTC start, UTC end, values) as a life without holes, from the first known charge on.

    A hole becomes quarter hours of which nothing is known, so that days stay days. The measured current decides:
    load = harvest + engine - current, for the log's own load is that of the half hour before. Where the harvest could
    not be told apart (an empty battery, an engine running) what came in is harvest, or the engine's, and what went out
    is load; while the engine runs the load is the log's, and the sun is the engine's.

    current_offset_a : what the shunt shows with everything off, to be taken off
    """
    life: list[Logged] = []
    expected: float | None = None
    for _, end_s, values in rows:
        while expected is not None and end_s - expected > QUARTER_S * 0.5:
            life.append(Logged(_hour(expected, utc_to_local_h), None, None))
            expected += QUARTER_S
        expected = end_s + QUARTER_S
        net = values["house_current_a"]
        if net is None or not values["covered_s"]:
            life.append(Logged(_hour(end_s, utc_to_local_h), None, None, temperature_c=values["house_temperature_c"],
                               charge_frac=values["charge_frac"]))
            continue
        net -= current_offset_a
        running = (values["engine_running_frac"] or 0.0) > 0.5
        mains = (values["other_ah"] or 0.0) * 3600 / values["covered_s"]
        load, harvest, engine = _split(net, values["load_a"], values["harvest_a"], running, mains)
        life.append(Logged(_hour(end_s, utc_to_local_h), load, harvest, values["curtailed_frac"] or 0.0, engine, running,
                           values["house_temperature_c"], _sure(values)))
    first = next((i for i, row in enumerate(life) if row.charge_frac is not None), 0)
    return life[first:]


def _sure(values: dict) -> float | None:
    """The charge, where its interval is narrow enough to compare a replay with."""
    low, high = values["charge_low_frac"], values["charge_high_frac"]
    return None if low is None or high is None or high - low > WIDEST_FRAC else values["charge_frac"]


def _split(net_a: float, load_a: float | None, harvest_a: float | None, running: bool, mains_a: float) -> tuple[float, float, float]:
    """Load, harvest and engine (or mains) whose balance is the measured current."""
    if running:
        load = max(load_a or 0.0, -net_a)
        return load, 0.0, net_a + load
    if harvest_a is None:
        harvest_a = max(net_a - mains_a, 0.0)
    load = harvest_a + mains_a - net_a
    return (load, harvest_a, mains_a) if load >= 0 else (0.0, harvest_a - load, mains_a)


def _hour(end_s: float, utc_to_local_h: float) -> float:
    return ((end_s - QUARTER_S / 2) / 3600 + utc_to_local_h) % 24


def offset_a(charge: ChargeFindings) -> float:
    """What the shunt is believed to show with everything off [A]; 0 while that is not known."""
    return charge.current_offset_a.value if isinstance(charge.current_offset_a, Estimate) else 0.0


def present(quarters: Iterable[tuple[float, float, dict]], vehicle: Vehicle, charge: ChargeFindings, capacity_ah: Estimate,
            utc_to_local_h: float = 0.0) -> tuple[list[Logged], Known]:
    """The life that the log's quarter hours tell, and the present battery in it: what another set-up is held against."""
    life = logged(quarters, utc_to_local_h, offset_a(charge))
    return life, known(vehicle, life, capacity_ah)


def known(vehicle: Vehicle, life: list[Logged], capacity_ah: Estimate) -> Known:
    """The present set-up, with what the trackers know of its capacity, at the beginning of the life."""
    house = vehicle.house
    start = next((row.charge_frac for row in life if row.charge_frac is not None), 0.7)
    return Known(Setup("as it is", house.chemistry, capacity_ah.value, house.reserve_soc_frac), start,
                 (capacity_ah.high - capacity_ah.low) / 3.92)
