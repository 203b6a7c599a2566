"""A life out of the log: quarter hours of load, harvest and engine, and what is known of the present battery."""
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from math import exp, sqrt

from monitor.battery.label import Vehicle
from monitor.findings import Z95, ChargeFindings, Estimate
from monitor.parameters import table
from monitor.planning import life_engine
from monitor.planning.charging_paths import ACCEPTANCE_SIGMA, Luck
from monitor.planning.life_engine import LifeDay, Rig
from monitor.planning.load_profile import SLOT_S, LoggedSlot, refill, stretches, usual_a
from monitor.planning.model import Setup, as_days, make_rig
from monitor.planning.whatif import RMS_LIMIT_FRAC, KnownBattery

P = table("planning", "from_log")
WIDEST_FRAC, LATER = P.number("widest_frac"), P.count("later_rows")
FLAT_FRAC, FLAT_V, BACK_V = P.number("flat_frac"), P.number("flat_v"), P.number("back_v")
CUT_QUARTERS, CUT_SHARE, CHARGING_A = P.count("cut_quarters"), P.number("cut_share"), P.number("charging_a")
DRIFT_SIGMA_A, DRIFT_STEPS = P.number("drift_sigma_a"), P.count("drift_steps")
START_SIGMA_FRAC, BEYOND_SIGMA_FRAC = P.number("start_sigma_frac"), P.number("beyond_sigma_frac")
NEED_SURE, USUAL_CAPACITY_SIGMA_LN = P.number("need_sure_frac"), P.number("usual_capacity_sigma_ln")


def read_slots(rows: Iterable[tuple[float, float, dict]], utc_to_local_h: float = 0.0, current_offset_a: float = 0.0) -> list[LoggedSlot]:
    """Quarter-hour rows of the log (UTC start, UTC end, values) as a life without holes, from the first known charge on.

    A hole becomes quarter hours of which nothing is known, so that days stay days. The measured current decides:
    load = harvest + engine - current. The log's own harvest is that of the half hour before, so the row half an hour
    later is asked. Where the harvest could not be told apart (an empty battery, an engine running) what came in is harvest,
    or the engine's, and what went out is load; while the engine runs the load is the log's, and the sun is the engine's.

    current_offset_a : what the shunt shows with everything off, to be taken off
    rows : start and end in UTC [s], and values by name
    utc_to_local_h: what makes local hours of UTC [h].
    """
    life: list[LoggedSlot] = []
    low: list[bool] = []
    unsplit: list[bool] = []            # charging, and nobody knows how much of the sun went into loads
    expected: float | None = None
    rows = list(rows)
    for at, (_, end_s, values) in enumerate(rows):
        while expected is not None and end_s - expected > SLOT_S * 0.5:
            unsplit.append(False)
            low.append(False)
            life.append(LoggedSlot(_hour(expected, utc_to_local_h), None, None))
            expected += SLOT_S
        expected = end_s + SLOT_S
        net = values["house_current_a"]
        if net is None or not values["covered_s"]:
            unsplit.append(False)
            low.append(False)
            life.append(LoggedSlot(_hour(end_s, utc_to_local_h), None, None, temperature_c=values["house_temperature_c"],
                               charge_frac=values["charge_frac"]))
            continue
        net -= current_offset_a
        running = (values["engine_running_frac"] or 0.0) > 0.5
        mains = (values["other_ah"] or 0.0) * 3600 / values["covered_s"]
        _, later_s, told = rows[min(at + LATER, len(rows) - 1)]
        harvest_a = told["harvest_a"] if later_s - end_s < (LATER + 0.5) * SLOT_S else values["harvest_a"]
        load, harvest, engine = _split(net, values["load_a"], harvest_a, running, mains)
        low.append((values["house_voltage_v"] or BACK_V) < BACK_V)
        unsplit.append(harvest_a is None and not running and net - mains > CHARGING_A)
        life.append(LoggedSlot(_hour(end_s, utc_to_local_h), load, harvest, values["curtailed_frac"] or 0.0, engine, running,
                           values["house_temperature_c"], _sure(values), _flat(values), _sigma(values)))
    life = _cut(life, low, unsplit)
    first = next((i for i, row in enumerate(life) if row.charge_frac is not None), 0)
    return life[first:]


def _flat(values: dict) -> bool:
    """Whether the battery is so flat that loads may switch themselves off."""
    low_v, charge = values["house_voltage_low_v"], values["charge_frac"]
    return (low_v is not None and low_v < FLAT_V) or (charge is not None and charge < FLAT_FRAC)


def _cut(life: list[LoggedSlot], low: list[bool], unsplit: list[bool]) -> list[LoggedSlot]:
    """The life with `cut` where loads had gone off, instead of where they might have, and with what the sun served.

    From a flat moment until the voltage is back loads that switch themselves off stay off, once they have; of such a stretch the part
    counts in whose dark quarter hours, in which use is seen, they took least against CUT_SHARE of what they usually do then. They took
    as small a part in those that were not dark. While the sun charges a battery whose voltage is back, all loads are on.
    life: with `cut` where the battery was flat; low: where its voltage was not back; unsplit: where it was charged and harvest could not
    be told from load, so that what came in counts as harvest and the loads as nothing.
    """
    might = [False] * len(life)
    for k, row in enumerate(life):
        held = row.cut or k > 0 and might[k - 1] and low[k]
        might[k] = held and not row.engine_on and (low[k] or not (unsplit[k] or (row.harvest_a or 0.0) > (row.load_a or 0.0)))
    usual = usual_a([replace(row, cut=mine or mixed) for row, mine, mixed in zip(life, might, unsplit, strict=True)])
    found = [_serve(row, usual[int(row.hour * 4) % 96]) if mixed else replace(row, cut=False)
             for row, mixed in zip(life, unsplit, strict=True)]
    seen = [row.load_a is not None and not mixed and (row.harvest_a or 0.0) < CHARGING_A for row, mixed in zip(life, unsplit, strict=True)]
    waiting = list(stretches(might))
    while waiting:
        first, end = waiting.pop()
        begins, ends = _least_used(life, seen, usual, first, end)
        dark = [(life[k].load_a or 0.0, usual[int(life[k].hour * 4) % 96]) for k in range(begins, ends) if seen[k]]
        if len(dark) < CUT_QUARTERS:
            continue
        waiting += [(first, begins), (ends, end)]
        part = sum(a for a, _ in dark) / sum(b for _, b in dark)
        for k in range(begins, ends):
            row = life[k]
            if row.load_a is not None and not seen[k]:
                row = _serve(row, max(part * usual[int(row.hour * 4) % 96] - row.load_a, -(row.harvest_a or 0.0)))
            found[k] = replace(row, cut=True)
    return found


def _least_used(life: list[LoggedSlot], seen: list[bool], usual: list[float], first: int, end: int) -> tuple[int, int]:
    """First and one past the last quarter hour of the part of a stretch in which use lies furthest below CUT_SHARE of the usual.

    life: quarter hours; seen: where use is; usual: use by quarter hour of the day [A]; first, end: of the stretch. Nothing where it
    never does.
    """
    best, so_far, begins, found = 0.0, 0.0, first, (first, first)
    for k in range(first, end):
        if seen[k]:
            so_far += CUT_SHARE * usual[int(life[k].hour * 4) % 96] - (life[k].load_a or 0.0)
        if so_far <= 0.0:
            so_far, begins = 0.0, k + 1
        elif so_far > best:
            best, found = so_far, (begins, k + 1)
    return found


def _serve(row: LoggedSlot, more_a: float) -> LoggedSlot:
    """The same balance with so much more load [A], served by as much more sun."""
    return replace(row, load_a=(row.load_a or 0.0) + more_a, harvest_a=(row.harvest_a or 0.0) + more_a, cut=False)


def _sure(values: dict) -> float | None:
    """The charge, where its interval is narrow enough to compare a replay with."""
    low, high = values["charge_low_frac"], values["charge_high_frac"]
    return None if low is None or high is None or high - low > WIDEST_FRAC else values["charge_frac"]


def _sigma(values: dict) -> float:
    """One sigma of the charge, 0 to 1."""
    low, high = values["charge_low_frac"], values["charge_high_frac"]
    return 0.0 if low is None or high is None else (high - low) / (2 * Z95)


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
    return ((end_s - SLOT_S / 2) / 3600 + utc_to_local_h) % 24


def offset_a(charge: ChargeFindings) -> float:
    """What the shunt is believed to show with everything off [A]; 0 while that is not known."""
    return charge.current_offset_a.value if isinstance(charge.current_offset_a, Estimate) else 0.0


def describe_present(quarters: Iterable[tuple[float, float, dict]], vehicle: Vehicle, charge: ChargeFindings, capacity_ah: Estimate,
            utc_to_local_h: float = 0.0) -> tuple[list[LoggedSlot], KnownBattery]:
    """The life that the log's quarter hours tell, and the present battery in it: what another set-up is held against.

    quarters: quarter hours of the log; vehicle: what its owner said of it; charge: what is known of the charge;
    capacity_ah: what it gives at its rated rate [Ah]; utc_to_local_h: what makes local hours of UTC [h].
    """
    life = read_slots(quarters, utc_to_local_h, offset_a(charge))
    return check_agreement(life, read_known(vehicle, life, charge, capacity_ah))


def check_agreement(life: list[LoggedSlot], found: KnownBattery) -> tuple[list[LoggedSlot], KnownBattery]:
    """The life and its beginning such that the present set-up replays the logged charge best.

    Four things are not known exactly: the charge at the beginning, which the tracker corrects only later, a small steady
    current that the shunt shows amiss (up to 0.2 A, where counting over weeks adds it up), how readily a lead-acid
    battery takes its last charge, and how much it gives beyond rated empty at small currents. All are drawn towards what was told or is
    usual, so that they move only where that pays; where the log doubts its own charge it counts less.
    """
    marks = [(k, row.charge_frac, 1 / (1 + (row.charge_sigma_frac / RMS_LIMIT_FRAC) ** 2)) for k, row in enumerate(life)
             if row.charge_frac is not None]
    if len(marks) < 96:
        return life, found
    slots = refill(life)

    @cache
    def days_with_drift(drift_a: float) -> list[LifeDay]:
        return as_days([replace(s, load_a=max(s.load_a + drift_a, 0.0), sun_a=s.sun_a + max(-drift_a - s.load_a, 0.0)) for s in slots],
                       driven=False, sure=True)

    @cache
    def rig(slower_ln: float, beyond_frac: float) -> Rig:
        return make_rig(found.setup, luck=Luck(exp(slower_ln)), beyond_frac=beyond_frac)

    def miss(start: float, drift_a: float, slower_ln: float, beyond_frac: float) -> float:
        trace = life_engine.live(days_with_drift(drift_a), rig(slower_ln, beyond_frac), start, keep_slots=True).charge_frac
        return (sum(w * (trace[k] - z) ** 2 for k, z, w in marks) / sum(w for _, _, w in marks)
                + (NEED_SURE * drift_a / DRIFT_SIGMA_A) ** 2 + (NEED_SURE * (start - found.start_frac) / START_SIGMA_FRAC) ** 2
                + (NEED_SURE * slower_ln / ACCEPTANCE_SIGMA) ** 2 + (NEED_SURE * beyond_frac / BEYOND_SIGMA_FRAC) ** 2)

    lead = found.setup.lead_acid
    starts = [min(max(found.start_frac + k * START_SIGMA_FRAC / 2, 0.0), 1.0) for k in range(-4, 5)]
    slowness = [k * ACCEPTANCE_SIGMA / 2 for k in range(-6, 7)] if lead else [0.0]
    beyonds = [k * BEYOND_SIGMA_FRAC / 2 for k in range(5)] if lead else [0.0]
    start, drift_a, slower_ln, beyond_frac = found.start_frac, 0.0, 0.0, 0.0
    for step_a in (DRIFT_SIGMA_A, DRIFT_SIGMA_A / 4):
        beyond_frac = min(beyonds, key=lambda b: miss(start, drift_a, slower_ln, b))
        drifts = [drift_a + k * step_a for k in range(-DRIFT_STEPS, DRIFT_STEPS + 1)]
        drift_a = min(drifts, key=lambda a: miss(start, a, slower_ln, beyond_frac))
        start = min(starts, key=lambda z: miss(z, drift_a, slower_ln, beyond_frac))
        slower_ln = min(slowness, key=lambda s: miss(start, drift_a, s, beyond_frac))
    life = [row if row.load_a is None else replace(row, load_a=max(row.load_a + drift_a, 0.0),
            harvest_a=(row.harvest_a or 0.0) + max(-drift_a - row.load_a, 0.0)) for row in life]
    return life, replace(found, start_frac=start, acceptance=exp(slower_ln), beyond_frac=beyond_frac)


def read_known(vehicle: Vehicle, life: list[LoggedSlot], charge: ChargeFindings, capacity_ah: Estimate) -> KnownBattery:
    """The present set-up, with what the trackers know of its capacity, at the beginning of the life.

    Parameters
    ----------
    vehicle : what its owner said of it
    life : the quarter hours that were logged
    charge : what is known of charge and capacity; in a log of an earlier version without their posterior
    capacity_ah : what it gives at its rated rate [Ah]
    """
    house = vehicle.house
    start = next((row.charge_frac for row in life if row.charge_frac is not None), 0.7)
    return KnownBattery(Setup("as it is", house.chemistry, capacity_ah.value, house.reserve_soc_frac), start,
                 USUAL_CAPACITY_SIGMA_LN if charge.posterior is None else sqrt(charge.posterior.covariance()[1]))
