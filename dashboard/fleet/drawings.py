"""Drawings of a fleet's batteries: capacity with its range against age and throughput, and how long batteries last."""
from collections.abc import Sequence

from dashboard.charts import Figure, level, line, note, sheet
from dashboard.picture import INKS
from monitor.battery.limits import USED_UP_FRAC
from monitor.fleet.batteries import SurvivalStep, WeekPoint


def capacity_by_age(points: Sequence[WeekPoint]) -> Figure:
    """Capacity of every battery, week by week since it was fitted."""
    return _capacity(points, lambda p: p.age_weeks, "weeks since it was fitted")


def capacity_by_throughput(points: Sequence[WeekPoint]) -> Figure:
    """The same against what was taken out of it."""
    return _capacity(points, lambda p: p.throughput_ah, "ampere-hours taken out")


def survival_figure(steps: Sequence[SurvivalStep]) -> Figure:
    """The part of the batteries that still serve, with its 95 % interval, as stairs."""
    def stairs(get) -> tuple[list[float], list[float]]:
        x, y, last = [0.0], [100.0], 100.0
        for step in steps:
            x += [step.weeks, step.weeks]
            y += [last, 100 * get(step)]
            last = 100 * get(step)
        return x, y

    x, part = stairs(lambda s: s.part_frac)
    thin = {"line": {"color": INKS.faint, "width": 1}}
    data = [line(x, stairs(get)[1], "y", INKS.faint, "95 %", **thin) for get in (lambda s: s.low_frac, lambda s: s.high_frac)]
    data.append(line(x, part, "y", INKS.received, "still serve"))
    return _plain(data, [note("Still serve, %", 0, 1.0, "paper", INKS)], max(x), "weeks since it was fitted", {"range": [0, 105]})


def _capacity(points: Sequence[WeekPoint], across, name: str) -> Figure:
    vehicles: dict[str, list[WeekPoint]] = {}
    for point in points:
        vehicles.setdefault(point.vehicle, []).append(point)
    data: list[Figure] = []
    for found in vehicles.values():
        x = [across(p) for p in found]
        data.append(line([x[-1], x[-1]], [100 * found[-1].low_frac, 100 * found[-1].high_frac], "y", INKS.faint, "95 %",
                         line={"color": INKS.faint, "width": 1}))
        data.append(line(x, [100 * p.capacity_frac for p in found], "y", INKS.received, found[0].vehicle,
                         line={"color": INKS.received, "width": 1.5}))
    most = max(max(across(p) for p in points), 1.0)
    return _plain(data, [note("Capacity, % of rated capacity", 0, 1.0, "paper", INKS)], most, name,
                  {"range": [0, max(110.0, *(100 * p.high_frac for p in points))]}, [level(100 * USED_UP_FRAC, "y", INKS.spent)])


def _plain(data: list[Figure], notes: list[Figure], most: float, name: str, yaxis: Figure, shapes: Sequence[Figure] = ()) -> Figure:
    axes: dict[str, Figure] = {"xaxis": {"type": "linear", "range": [0, most], "title": {"text": name}}, "yaxis": yaxis}
    return {"data": data, "layout": sheet(INKS, 260, axes, shapes=list(shapes), annotations=notes)}
