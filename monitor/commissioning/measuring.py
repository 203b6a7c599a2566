"""Reads the instruments of a draft configuration for some seconds, as the daemon would."""
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tomlkit import TOMLDocument

from drivers.errors import DriverError, DriverUnavailable
from monitor.commissioning.steps import NotClear
from monitor.config import load

#: Between two readings [s].
PACE_S = 0.1
Rows = list[dict[str, float]]


def watch(doc: TOMLDocument, base: Path, seconds: float, quantities: tuple[str, ...],
          until: Callable[[Rows], bool] = lambda _: False, show: Callable[[dict[str, float]], None] = lambda _: None) -> Rows:
    """What was shown, reading by reading: quantity -> value, and "at_s". Ends early once until(rows) holds.

    Of several sources for a quantity the first counts, as in the daemon.

    doc: the configuration; base: folder that relative paths start from; seconds: how long [s]; quantities: what has to be measured;
    until: ends it early once it holds; show: is given each reading.

    Raises
    ------
    NotClear : nothing measures one of the quantities, or it never answered; one sentence
    ConfigError, DriverUnavailable : as when the daemon starts
    """
    wanted = set(quantities)
    sources = [s for s in load.validate(doc.unwrap(), base).sources if wanted & gives(s.options)]
    missing = wanted - set().union(*(gives(s.options) for s in sources))
    if missing:
        raise NotClear(f"nothing measures {' and '.join(sorted(missing))}")
    drivers: list[Any] = []
    rows: Rows = []
    trouble = ""
    try:
        for source in sources:
            drivers.append(source.open())
        begun_s = next_s = time.monotonic()
        while time.monotonic() - begun_s < seconds:
            row: dict[str, float] = {}
            for driver in drivers:
                try:
                    reading = driver.read()
                    for quantity, value in reading.values.items():
                        row.setdefault(quantity, float(value))
                    trouble = "; ".join(f.reason for f in reading.faults if f.quantity in wanted) or trouble
                except DriverError as error:
                    trouble = str(error)
            if wanted <= row.keys():
                rows.append({"at_s": time.monotonic() - begun_s, **row})
                show(row)
                if until(rows):
                    break
            next_s += PACE_S
            time.sleep(max(next_s - time.monotonic(), 0.0))
    except DriverUnavailable:
        raise
    except DriverError as error:
        raise NotClear(str(error)) from None
    finally:
        for driver in drivers:
            driver.close()
    if not rows:
        raise NotClear(f"the instrument gave no reading: {trouble or 'it is silent'}")
    return rows


def gives(options: Any) -> set[str]:
    """The quantities that an instrument is configured to give."""
    measures = getattr(options, "measures", ())
    return {measures} if isinstance(measures, str) else set(measures)
