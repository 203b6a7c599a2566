"""Do I need a second battery? How long one may feed the camp before a start gets doubtful, and what that costs in its life."""
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.resources import files
from itertools import pairwise, product
from math import exp

from monitor.battery.label import Battery, Chemistry
from monitor.battery.lead_acid import KINDS, resistance_shape, rest_voltage_v
from monitor.detection.starter.crank import PER_K
from monitor.detection.starter.crank_limits import WEAK_D, d_scale, load_test_v
from monitor.parameters import table
from monitor.planning import life_on_log
from monitor.planning.labels import BatteryLabel
from monitor.planning.labels_ratings import Span
from monitor.planning.load_profile import SLOT_H, Slot
from monitor.planning.model import Setup
from monitor.wear.life import LifeForecast
from monitor.wear.life_use import label_of

_TABLES = tomllib.loads((files("monitor.planning") / "second_battery.toml").read_text(encoding="utf-8"))
P = table("planning", "second_battery")
TEMPERATURES_C, LITRES, CRANKING_A, CAPACITIES_AH, MOST_W = (
    P.numbers("temperatures_c"), P.numbers("engine_litres"), P.numbers("cranking_a"), P.numbers("capacities_ah"), P.number("most_w"))
LOAD_V, PLANNED_DAYS, SURE_FRAC = P.number("load_v"), P.count("planned_days"), P.number("sure_frac")
ALTERNATOR_PER_AH, LIFE_C, PARKED_A = P.number("alternator_per_h"), P.number("life_c"), P.number("parked_a")
STEPS, WARM_C, TESTED_C = P.count("steps"), P.number("warm_c"), P.number("tested_c")
CAUTION = ("Warm-up laps do not count: only a drive of hours fills a battery again. Do not test the limit where nobody passes: keep a "
           "jump lead or a charged pack, park downhill where that helps, and fit a low-voltage cut-out on the camp's loads. Never charge "
           "a frozen battery; gas, sparks and rings do not go together; no idling in closed rooms: exhaust kills. A second battery needs "
           "its own fuse at each end and an isolator: see Wiring and the local code.")


@dataclass(frozen=True, slots=True)
class CampLoad:
    """A consumer at camp: its watts while it is on, and the hours a day that it is."""

    name: str
    power_w: float
    hours_per_day: float


@dataclass(frozen=True, slots=True)
class OneBattery:
    """The vehicle's only battery and its engine.

    cranking_a : cold-cranking by SAE [A], None where the label has none; litres, diesel : the engine's
    drop_frac : voltage drop while cranking over the plateau, measured warm with a full battery, None: not measured
    """

    chemistry: Chemistry
    capacity_ah: float
    cranking_a: float | None = None
    litres: float = 2.0
    diesel: bool = False
    drop_frac: float | None = None


@dataclass(frozen=True, slots=True)
class SecondBatteryAnswer:
    """What one battery bears.

    load_a : mean of the loads through the day [A]; needed_ah : of one camp of `hours` [Ah]
    start_needs_frac : charge below which a start is doubtful; hours : of these loads until then
    by_temperature : (temperature [°C], hours) in other weather
    need_two : whether one night of these loads takes it there, or nearly
    life, life_unused : years of the battery used like this every day, and without the camp
    """

    load_a: float
    needed_ah: float
    night_hours: float
    temperature_c: float
    start_needs_frac: Span
    hours: Span
    by_temperature: tuple[tuple[float, Span], ...]
    need_two: bool
    life: LifeForecast
    life_unused: LifeForecast


def battery_of(label: BatteryLabel, litres: float = 2.0, diesel: bool = False, drop_frac: float | None = None) -> OneBattery:
    """The only battery, by what is printed on it; flooded where the label does not say the kind.

    label : as it was read; litres : displacement of the engine [l]; diesel : whether it is one; drop_frac : measured while cranking

    Raises
    ------
    ValueError : no capacity on the label
    """
    if label.capacity_ah is None:
        raise ValueError("the label has no capacity: add it, as 70Ah")
    kinds: dict[str, Chemistry] = {"flooded": "flooded", "agm": "agm", "gel": "gel", "lfp": "lfp"}
    cranking = label.cranking_sae_a.usual if label.cranking_sae_a is not None else None
    return OneBattery(kinds.get(label.kind, "flooded"), label.capacity_ah.usual, cranking, litres, diesel, drop_frac)


def answer(battery: OneBattery, loads: Sequence[CampLoad], night_hours: float = 14.0, temperature_c: float = 10.0,
           drive_hours: float = 1.5) -> SecondBatteryAnswer:
    """Whether one battery does.

    battery : the only one, with its engine; loads : at camp; night_hours : from switching the engine off to the next start [h]
    temperature_c : at that start [°C]; drive_hours : of driving a day, which charges it again [h]

    Raises
    ------
    ValueError : no load, or a figure that no vehicle has
    """
    _check(battery, loads, night_hours, temperature_c, drive_hours)
    load_a = sum(load.power_w * load.hours_per_day for load in loads) / 24.0 / LOAD_V
    needs = start_needs(battery, temperature_c)
    hours = _hours(battery, needs, load_a)
    others = tuple((c, _hours(battery, start_needs(battery, c), load_a)) for c in (20.0, 0.0, -10.0) if abs(c - temperature_c) > 2)
    life, unused = (_life(battery, amperes, night_hours, drive_hours) for amperes in (load_a, PARKED_A))
    return SecondBatteryAnswer(load_a, load_a * night_hours, night_hours, temperature_c, needs, hours, others,
                               night_hours > SURE_FRAC * hours.low, life, unused)


def start_needs(battery: OneBattery, temperature_c: float) -> Span:
    """Charge below which a start is doubtful at a temperature, 0 to 1, from the luckiest to the unluckiest of what is not known.

    Doubtful is a start whose voltage drop, which grows with depth, passes the limit that the watch over real starts calls weak
    (detection/starter), or for which the cold battery has less cranking current than the cold engine takes, whichever comes first.
    """
    found = sorted(_needs(battery, temperature_c, *pick) for pick in product((0.0, 1.0), repeat=3))
    return Span(found[0], _needs(battery, temperature_c, 0.5, 0.5, 0.5), found[-1])


def _needs(battery: OneBattery, temperature_c: float, amperes_at: float, engine_at: float, growth_at: float) -> float:
    """The same for one set of what is not known: each from its kindest (0) to its harshest (1)."""
    table, kind = _TABLES["battery"], KINDS[battery.chemistry]
    growth = table["growth"][0] + (table["growth"][1] - table["growth"][0]) * growth_at
    low, high = table["amperes_per_ah"]
    printed_a = battery.cranking_a if battery.cranking_a is not None else battery.capacity_ah * (high + (low - high) * amperes_at)
    cranking_a, full_v = printed_a * table["kept"], rest_voltage_v(kind, 1.0)
    warm_ohm = table["warm_ratio"] * table["cold_drop_v"] / cranking_a
    current_a = _engine_a(battery, engine_at)
    drop = current_a * warm_ohm / max(full_v - current_a * warm_ohm, 1.0)
    if battery.drop_frac is not None:
        drop = battery.drop_frac
        current_a = full_v * drop / (1.0 + drop) / warm_ohm
    drop *= exp(PER_K * (temperature_c - WARM_C))
    limit = WEAK_D * d_scale(load_test_v(temperature_c))
    asked_a = current_a * _between("cold_engine", "times", temperature_c)
    given_a = cranking_a * _between("cold_power", "share", temperature_c) / _between("cold_power", "share", TESTED_C)
    end_v = table["cold_end_v"]
    for step in range(STEPS + 1):
        charge = step / STEPS
        grown = exp(growth * resistance_shape(1.0 - charge))
        left_a = given_a * (rest_voltage_v(kind, charge) - end_v) / (full_v - end_v) / grown
        if drop * grown <= limit and left_a >= asked_a:
            return charge
    return 1.0


def _engine_a(battery: OneBattery, engine_at: float) -> float:
    """Cranking current of its warm engine by displacement [A]; engine_at from 0, the least, to 1."""
    engine = _TABLES["engine"]
    least, most = engine["diesel_a_per_l" if battery.diesel else "petrol_a_per_l"]
    return float(max(battery.litres * (least + (most - least) * engine_at), engine["least_a"]))


def _hours(battery: OneBattery, needs: Span, load_a: float) -> Span:
    """Hours of a steady load down to that charge; the range spans what it holds and how full it begins."""
    holds, begins = _TABLES["battery"]["holds"], _TABLES["begins"]["frac"]
    def lasts(hold: float, begin: float, need: float) -> float:
        return max(begin - need, 0.0) * hold * battery.capacity_ah / load_a
    return Span(lasts(holds[0], begins[0], needs.high), lasts(sum(holds) / 2, sum(begins) / 2, needs.usual),
                lasts(holds[1], begins[1], needs.low))


def _life(battery: OneBattery, load_a: float, night_hours: float, drive_hours: float) -> LifeForecast:
    """Years of the battery with a camp like this each day."""
    table = _TABLES["lives"]
    label = replace(label_of(Battery("starter", battery.chemistry, battery.capacity_ah)), cycles=table[f"{battery.chemistry}_cycles"],
                    float_years=table[f"{battery.chemistry}_years"])
    slots = []
    for step in range(int(PLANNED_DAYS * 24 / SLOT_H)):
        hour = step * SLOT_H % 24
        driving = hour < drive_hours
        camping = 24.0 - night_hours <= hour
        charged_a = ALTERNATOR_PER_AH * battery.capacity_ah if driving else 0.0
        slots.append(Slot(hour, load_a if camping and not driving else PARKED_A, 0.0, charged_a, driving, LIFE_C))
    setup = Setup("the only battery", battery.chemistry, battery.capacity_ah)
    return life_on_log.forecast_on_slots(slots, setup, 0.9, label=label)


def _between(table: str, row: str, temperature_c: float) -> float:
    """A row of a table at a temperature, straight between its points and held beyond its ends."""
    at, values = _TABLES[table]["temperature_c"], _TABLES[table][row]
    if temperature_c <= at[0]:
        return float(values[0])
    for (t0, y0), (t1, y1) in pairwise(zip(at, values, strict=True)):
        if temperature_c <= t1:
            return float(y0 + (y1 - y0) * (temperature_c - t0) / (t1 - t0))
    return float(values[-1])


def _check(battery: OneBattery, loads: Sequence[CampLoad], night_hours: float, temperature_c: float, drive_hours: float) -> None:
    """Whether it can be. Raises ValueError in one sentence."""
    if battery.chemistry == "lfp":
        raise ValueError("a lithium battery as the only one is not planned here: whether it starts an engine its maker says")
    if not loads:
        raise ValueError("there is no load: name at least one, as fridge,45,10 (name, watts while on, hours a day)")
    for load in loads:
        if not 0 < load.power_w <= MOST_W or not 0 < load.hours_per_day <= 24:
            raise ValueError(f"{load.name}: {load.power_w:g} W for {load.hours_per_day:g} h a day cannot be; watts above 0 and up to "
                             f"{MOST_W:g}, hours up to 24")
    for what, value, (low, high), unit in (
            ("temperature", temperature_c, TEMPERATURES_C, "°C"), ("engine", battery.litres, LITRES, "litres"),
            ("cold-cranking current", battery.cranking_a, CRANKING_A, "A"), ("capacity", battery.capacity_ah, CAPACITIES_AH, "Ah"),
            ("night", night_hours, (1.0, 24.0), "h"), ("drive", drive_hours, (0.0, 23.0), "h"),
            ("drop while cranking", battery.drop_frac, (0.02, 0.6), "")):
        if value is not None and not low <= value <= high:
            raise ValueError(f"{what} is {value:g} {unit}".rstrip() + f": it must lie between {low:g} and {high:g}")
    if night_hours + drive_hours > 24.0:
        raise ValueError(f"{night_hours:g} h of camp and {drive_hours:g} h of driving are more than a day")
