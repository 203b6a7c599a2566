"""The latest days of a log and the present battery in them: what `ampledger whatif` and the page What if begin with."""
import time
from collections.abc import Iterable
from dataclasses import dataclass

from monitor.findings import Estimate
from monitor.logbook.reader import LatestMinute, Reader
from monitor.planning import from_log
from monitor.planning.load_catalogue import Load
from monitor.planning.load_profile import LoggedSlot
from monitor.planning.logged_climate import LoggedClimate, read_climate
from monitor.planning.logged_loads import read_loads
from monitor.planning.whatif import KnownBattery

DAY_S = 86400.0


@dataclass(frozen=True, slots=True)
class Logged:
    """What a plan takes from a log: its loads, and what its months say of sun and air."""

    loads: tuple[Load, ...]
    climate: LoggedClimate


def read_logged(reader: Reader, days: int) -> Logged:
    """The loads of the latest days of a log and the climate of its months, as a plan takes them.

    reader : of the log; days : that are looked at

    Raises
    ------
    ValueError : the log is empty, or too few of its days say what is used
    """
    now, capacity, quarters = _latest(reader, days)
    rows = list(quarters)
    life, _ = from_log.describe_present(rows, now.vehicle, now.findings.charge, capacity, _local_h(now.utc_s))
    outside = [(end_s, warm_c) for _, end_s, v in rows if (warm_c := v["ambient_temperature_c"]) is not None]
    metered = sum(v["solar_current_a"] is not None for _, _, v in rows) > len(rows) / 2
    position = (now.vehicle.latitude_deg, now.vehicle.longitude_deg)
    return Logged(tuple(read_loads(life)), read_climate(life, rows[-1][1] if rows else now.utc_s, position, metered, outside,
                                                        _local_h(now.utc_s)))


def describe_logged(reader: Reader, days: int) -> tuple[LatestMinute, list[LoggedSlot], KnownBattery]:
    """Its latest minute, the life of its latest days, and the present battery in it.

    reader : of the log; days : that are looked at

    Raises
    ------
    ValueError : the log is empty, or the capacity is not known yet
    """
    now, capacity, quarters = _latest(reader, days)
    return now, *from_log.describe_present(quarters, now.vehicle, now.findings.charge, capacity, _local_h(now.utc_s))


def _latest(reader: Reader, days: int) -> tuple[LatestMinute, Estimate, Iterable[tuple[float, float, dict]]]:
    """The latest minute, the capacity that it knows, and the quarter hours of the latest days; raises as describe_logged."""
    now = reader.now()
    if now is None:
        raise ValueError("the log is empty; come back after some days")
    capacity = now.findings.charge.capacity_ah
    if not isinstance(capacity, Estimate):
        raise ValueError(f"the capacity is not known yet: {capacity.because}")
    return now, capacity, reader.rows_of_level("quarters", now.utc_s - days * DAY_S)


def _local_h(utc_s: float) -> float:
    """What makes local hours of UTC [h], by the board's own zone."""
    return time.localtime(utc_s).tm_gmtoff / 3600
