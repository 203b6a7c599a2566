"""The latest days of a log and the present battery in them: what `ampledger whatif` and the page What if begin with."""
import time

from monitor.findings import Estimate
from monitor.logbook.reader import LatestMinute, Reader
from monitor.planning import from_log
from monitor.planning.load_catalogue import Load
from monitor.planning.load_profile import LoggedSlot
from monitor.planning.logged_loads import read_loads
from monitor.planning.whatif import KnownBattery


def read_logged_loads(reader: Reader, days: int) -> list[Load]:
    """The loads of the latest days of a log, as a plan takes them.

    reader : of the log; days : that are looked at

    Raises
    ------
    ValueError : the log is empty, or too few of its days say what is used
    """
    return read_loads(describe_logged(reader, days)[1])


def describe_logged(reader: Reader, days: int) -> tuple[LatestMinute, list[LoggedSlot], KnownBattery]:
    """Its latest minute, the life of its latest days, and the present battery in it.

    reader : of the log; days : that are looked at

    Raises
    ------
    ValueError : the log is empty, or the capacity is not known yet
    """
    now = reader.now()
    if now is None:
        raise ValueError("the log is empty; come back after some days")
    capacity = now.findings.charge.capacity_ah
    if not isinstance(capacity, Estimate):
        raise ValueError(f"the capacity is not known yet: {capacity.because}")
    quarters = reader.rolled("quarters", now.utc_s - days * 86400.0)
    return now, *from_log.describe_present(quarters, now.vehicle, now.findings.charge, capacity,
                                           time.localtime(now.utc_s).tm_gmtoff / 3600)
