"""Whether a recording's values can be what their headings say: single wild values are left out, wrong units are refused."""
from collections import deque
from collections.abc import Iterable, Iterator
from itertools import chain, islice, pairwise
from statistics import median

from drivers.errors import ReadFailed
from drivers.recorded import COLUMNS, Row
from monitor.sampling.judge import LIMITS, refuse_reading

#: So many values of a column decide about its unit; a shorter recording is judged by all it has.
HEAD_ROWS = 60
#: More than this share of them outside the limits is no run of wild values: the column is in another unit.
WILD_SHARE = 0.5
#: Readings further apart than this on the whole cannot be joined (the longest silence that is bridged) [s].
LONGEST_STEP_S = 300.0
#: No battery gives this many times its rated capacity within so long [s] without being charged: common practice puts
#: the best new battery at 1.2 times its label, and an unseen charger or a shunt's offset is far below the rest.
MOST_CAPACITIES = ((3.0, 86400.0), (1.5, 10800.0))

#: quantity -> (least, most) of what is usual in a 12 V vehicle, to find the factor by. Common practice.
USUAL = {"house_voltage_v": (9.0, 16.0), "starter_voltage_v": (9.0, 16.0), "house_current_a": (0.001, 400.0),
         "house_temperature_c": (-25.0, 60.0)}
#: unit that a column may be in -> what its values must be divided by to be in the unit of its heading
VOLT_UNITS = {"millivolts": 1000.0, "hundredths of a volt": 100.0, "tenths of a volt": 10.0, "kilovolts": 0.001}
AMPERE_UNITS = {"milliamperes": 1000.0}
DEGREE_UNITS = {"thousandths of a degree": 1000.0, "hundredths of a degree": 100.0, "tenths of a degree": 10.0}


def judge(rows: Iterable[Row], name: str, capacity_ah: float) -> Iterator[Row]:
    """The rows, single impossible values left out as the daemon leaves them out.

    Parameters
    ----------
    rows : (t_s, house_v, house_a, starter_v, house_temp_c), in order of time
    name : of the recording, for messages
    capacity_ah : rated capacity of the house battery [Ah]

    Raises
    ------
    drivers.errors.ReadFailed : a column is in another unit than its heading says, with the likely one
    """
    rows = iter(rows)
    head = list(islice(rows, HEAD_ROWS))
    _check_steps(head, name)
    for place, (heading, quantity) in enumerate(COLUMNS.items(), 1):
        _check_unit([value for row in head if (value := row[place]) is not None], heading, quantity, name)
    drawn = [_Drawn(capacity_ah, name, most, window_s) for most, window_s in MOST_CAPACITIES]
    bounds = [LIMITS[quantity][:2] for quantity in COLUMNS.values()]
    for row in chain(head, rows):
        for place, (least, most) in enumerate(bounds, 1):
            value = row[place]
            if value is not None and not least <= value <= most:
                row = _without(row, place)
        for within in drawn:
            within.add(row[0], row[2])
        yield row


def _without(row: Row, place: int) -> Row:
    a, b, c, d = (None if at == place else value for at, value in enumerate(row[1:], 1))
    return row[0], a, b, c, d


def _check_steps(head: list[Row], name: str) -> None:
    steps = [later[0] - earlier[0] for earlier, later in pairwise(head)]
    if steps and (usual_s := median(steps)) > LONGEST_STEP_S:
        guess = "; it looks like milliseconds: divide t_s by 1000" if usual_s / 1000 <= LONGEST_STEP_S else ""
        raise ReadFailed(f"{name}: t_s goes on by {usual_s:g} s from row to row, and readings further apart than "
                         f"{LONGEST_STEP_S:g} s cannot be joined{guess}")


def _check_unit(values: list[float], heading: str, quantity: str, name: str) -> None:
    wild = [value for value in values if refuse_reading(quantity, value)]
    if not values or len(wild) <= WILD_SHARE * len(values):
        return
    seen = median(wild)
    least, most, _ = LIMITS[quantity]
    raise ReadFailed(f"{name}: {heading} is {seen:g}, which no 12 V vehicle shows ({least:g} to {most:g}){_likely(quantity, seen)}")


def _likely(quantity: str, seen: float) -> str:
    least, most = USUAL[quantity]
    if quantity == "house_temperature_c" and least <= seen - 273.15 <= most:
        return f"; it looks like kelvin: subtract 273.15 ({seen - 273.15:.1f} °C)"
    units = {"v": VOLT_UNITS, "a": AMPERE_UNITS, "c": DEGREE_UNITS}[quantity.rpartition("_")[2]]
    for unit, factor in units.items():
        if least <= abs(seen / factor) <= most or least <= seen / factor <= most:
            how = f"divide by {factor:g}" if factor > 1 else f"multiply by {1 / factor:g}"
            return f"; it looks like {unit}: {how} ({seen / factor:g})"
    return ""


class _Drawn:
    """Charge taken out within a window, against what a battery can hold."""

    def __init__(self, capacity_ah: float, name: str, most: float, window_s: float) -> None:
        self._most_ah, self._window_s, self._capacity_ah, self._name = most * capacity_ah, window_s, capacity_ah, name
        self._count_ah = 0.0
        self._last: tuple[float, float] | None = None
        self._peaks: deque[tuple[float, float]] = deque()  # (t, count), counts falling: the first is the window's highest

    def add(self, at_s: float, current_a: float | None) -> None:
        last, self._last = self._last, None if current_a is None else (at_s, current_a)
        if current_a is None:
            return
        if last is not None and at_s - last[0] <= LONGEST_STEP_S:
            self._count_ah += (current_a + last[1]) / 2 * (at_s - last[0]) / 3600
        while self._peaks and self._peaks[-1][1] <= self._count_ah:
            self._peaks.pop()
        self._peaks.append((at_s, self._count_ah))
        while at_s - self._peaks[0][0] > self._window_s:
            self._peaks.popleft()
        drawn_ah = self._peaks[0][1] - self._count_ah
        if drawn_ah > self._most_ah:
            raise ReadFailed(f"{self._name}: by house_a, {drawn_ah:.0f} Ah were taken out within {self._window_s / 3600:.0f} h of a "
                             f"battery of {self._capacity_ah:g} Ah (at t_s = {at_s:g}); if it is in milliamperes, divide it by 1000; "
                             "if not, correct rated_capacity_ah")
