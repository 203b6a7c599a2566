"""What a traveller runs: a catalogue with ranges, a fridge that follows the heat, and what it all takes hour by hour.

A fridge's use goes with the heat that leaks in and with the lift of its compressor, as a Carnot machine's: between 25 and 43 °C
that is 2.5 times as much (textbook; IEC 62552 tests at 16 and 32 °C).
"""
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

from monitor.parameters import table

P = table("planning", "loads")
FRIDGE_WH, FRIDGE_SIGMA, FRIDGE_L = P.number("fridge_wh"), P.sigma("fridge_wh"), P.number("fridge_litres")
USE_FRAC, LIGHTS_FRAC, MORNING_FRAC = P.number("fridge_use_frac"), P.number("lights_frac"), P.number("lights_morning_frac")
UPRIGHT, FREEZER, RUN_W = P.number("fridge_upright"), P.number("fridge_freezer"), P.number("fridge_run_w")
EVAPORATOR_K, CONDENSER_K = P.number("evaporator_k"), P.number("condenser_k")
BEDTIME = P.number("bedtime_hour")
HEATER_C, HEATER_K, FAN_C = P.number("heater_below_c"), P.number("heater_full_k"), P.number("fan_above_c")
LOAD_V, FRIDGE_C, ROOM_C, DAWN = P.number("load_v"), P.number("fridge_c"), P.number("room_c"), P.count("dawn_hour")
SIZE_POWER, OWN_SIGMA, OTHER_SIGMA = P.number("size_power"), P.number("own_sigma_ln"), P.number("other_sigma_ln")
#: Hours of the solar day in which a use falls.
HOURS = {"day": P.numbers("day_hours"), "evening": P.numbers("evening_hours"), "night": P.numbers("night_hours"),
         "morning": P.numbers("morning_hours"), "always": tuple(range(24))}
WHEN = (*HOURS, "dark", "cold", "hot")
#: A fridge as it is called -> how it differs from a box with a lid; litres, degrees inside where nothing is said.
FRIDGES: dict[str, tuple[float, float, float]] = {
    "fridge": (1.0, FRIDGE_L, FRIDGE_C), "upright": (UPRIGHT, *P.numbers("upright_box")), "freezer": (FREEZER, *P.numbers("freezer_box"))}
#: key of a load -> (least, most, unit)
LIMITS = P.limits("watts", "hours", "volume", "set")
ZERO_C_K = table("battery", "units").number("zero_c_k")


@dataclass(frozen=True, slots=True)
class Load:
    """One consumer.

    power_w : while on [W at 12 V]; hours_per_day : on [h], None where weather or darkness decides
    when : one of WHEN; sigma_ln : one sigma of the logarithm of its use
    volume_l, set_c, kind : of a fridge, None for all else; then power_w is unused
    slope_wh_per_k, wh_per_day, at_c : a fridge as a log has learnt it: use a day at a room temperature, and its rise
    hourly_w : mean power of each hour of the day [W], as a log has learnt it
    """

    name: str
    power_w: float = 0.0
    hours_per_day: float | None = None
    when: str = "always"
    sigma_ln: float = OTHER_SIGMA
    source: str = "the owner"
    volume_l: float | None = None
    set_c: float = FRIDGE_C
    kind: str = "fridge"
    wh_per_day: float | None = None
    at_c: float = ROOM_C
    slope_wh_per_k: float | None = None
    hourly_w: tuple[float, ...] | None = None

    @property
    def is_fridge(self) -> bool:
        """Whether it follows the heat."""
        return self.volume_l is not None or self.slope_wh_per_k is not None


@cache
def catalogue() -> dict[str, Load]:
    """Every load of the catalogue by name, fridges first."""
    found = {name: Load(name, sigma_ln=FRIDGE_SIGMA, source="common practice", volume_l=litres, set_c=inside, kind=name)
             for name, (_, litres, inside) in FRIDGES.items()}
    rows = tomllib.loads((files("monitor.planning") / "loads.toml").read_text(encoding="utf-8"))
    for name, row in rows.items():
        found[name] = Load(name, float(row["power_w"]), float(row["hours_per_day"]) if "hours_per_day" in row else None,
                           row["when"], float(row["sigma_ln"]), row["source"])
    return found


def parse_load(text: str) -> Load:
    """A load as a person writes it: "fridge", "fridge,volume=60,set=3", "laptop,hours=4", or one's own as "name,watts,hours".

    Raises
    ------
    ValueError : one sentence: what is wrong, the nearest that is known, how to write it
    """
    name, *parts = (part.strip() for part in text.split(","))
    known = catalogue().get(name.casefold())
    if len(parts) == 2 and not any("=" in part for part in parts):
        watts, hours = _number(name, "watts", parts[0]), _number(name, "hours", parts[1])
        if known is not None and known.is_fridge:         # a fridge in watts and hours: the owner's figure at a usual warmth
            return replace(known, sigma_ln=OWN_SIGMA, source="the owner", wh_per_day=watts * hours, slope_wh_per_k=None)
        return Load(name, watts, hours, "always" if known is None or known.hours_per_day is None else known.when, OWN_SIGMA)
    if known is None:
        near = get_close_matches(name.casefold(), list(catalogue()), 1, 0.5)
        raise ValueError(f"{text!r} is not a load: " + (f"did you mean {near[0]}? " if near else "")
                         + f"Known are {', '.join(catalogue())}; or your own as kettle,800,0.2 (name, watts while on, hours a day)")
    changed = known
    for part in parts:
        key, mark, value = part.partition("=")
        key = key.strip()
        allowed = ("volume", "set") if known.is_fridge else ("watts", "hours")
        if not mark or key not in allowed:
            raise ValueError(f"{part!r} does not go with {name}: write {' or '.join(f'{k}=' for k in allowed)} and a number")
        number = _number(name, key, value)
        changed = (replace(changed, volume_l=number) if key == "volume" else replace(changed, set_c=number) if key == "set" else
                   replace(changed, power_w=number) if key == "watts" else replace(changed, hours_per_day=number))
        if key == "hours" and changed.when not in HOURS:
            changed = replace(changed, when="evening")
    return changed


def parse_plain_load(text: str) -> Load:
    """The same for a worksheet: watts and hours of one's own are taken as they are, a fridge's too.

    Raises
    ------
    ValueError : as parse_load()
    """
    found = parse_load(text)
    parts = text.split(",")
    if found.wh_per_day is None or len(parts) != 3:
        return found
    return Load(found.name, _number(found.name, "watts", parts[1]), _number(found.name, "hours", parts[2]), "always", found.sigma_ln)


def _number(name: str, key: str, text: str) -> float:
    low, high, unit = LIMITS[key]
    try:
        value = float(text.strip().lower().rstrip("lwh°c"))
    except ValueError:
        raise ValueError(f"{name}: {key} is {text.strip()!r}: write a number ({unit})") from None
    if not low <= value <= high:
        raise ValueError(f"{name}: {key} is {value:g} {unit}: it must lie between {low:g} and {high:g}")
    return value


def heat_ratio(room_c: float, inside_c: float, reference_c: float = ROOM_C, reference_inside_c: float = FRIDGE_C) -> float:
    """A fridge's use in a room against that in a room of reference_c, by leak of heat and lift of the compressor; 0 where it is colder.

    room_c: around it [°C]; inside_c: its set point [°C]; reference_c, reference_inside_c: of the use that is known [°C].
    """
    return _compressor_work(room_c, inside_c) / _compressor_work(reference_c, reference_inside_c)


def _compressor_work(room_c: float, inside_c: float) -> float:
    cold_k = ZERO_C_K + inside_c - EVAPORATOR_K
    lift = max(room_c + CONDENSER_K - inside_c + EVAPORATOR_K, EVAPORATOR_K)
    return max(room_c - inside_c, 0.0) * lift / cold_k


def fridge_power_w(load: Load, room_c: float) -> float:
    """Mean power of a fridge in a room [W]: never more than its compressor takes.

    load: a fridge; room_c: around it [°C].
    """
    if load.slope_wh_per_k is not None and load.wh_per_day is not None:
        return max(load.wh_per_day + load.slope_wh_per_k * (room_c - load.at_c), 0.0) / 24
    usual = FRIDGE_WH * FRIDGES[load.kind][0] * ((load.volume_l or FRIDGE_L) / FRIDGE_L) ** SIZE_POWER
    if load.wh_per_day is not None:         # the owner's figure, at 25 °C
        return min(load.wh_per_day * _with_use(heat_ratio(room_c, load.set_c, load.at_c, load.set_c)) / 24, fridge_run_w(load))
    return min(usual * _with_use(heat_ratio(room_c, load.set_c)) / 24, fridge_run_w(load))


def fridge_run_w(load: Load) -> float:
    """What a fridge takes while its compressor runs [W]: by its size, and never less than its mean."""
    return max(RUN_W * max((load.volume_l or FRIDGE_L) / FRIDGE_L, 1.0) ** 0.5, (load.wh_per_day or 0.0) / 24)


def _with_use(ratio: float) -> float:
    """Use against the usual: what leaks in by the ratio, what people put in as ever."""
    return USE_FRAC + (1 - USE_FRAC) * ratio if ratio > 0 else 0.0


def steady_power_w(load: Load, dark: Sequence[bool]) -> list[float]:
    """Mean power in each hour of the solar day [W] of a load that does not follow the warmth.

    load: neither fridge, heater nor fan; dark: whether each hour is dark.
    """
    if load.hourly_w is not None:
        return list(load.hourly_w)
    if load.when == "dark":
        evening, morning = LIGHTS_FRAC * load.power_w, MORNING_FRAC * load.power_w
        return [(evening if h >= 12 else morning) if dark[h] and DAWN <= h < BEDTIME else 0.0 for h in range(24)]
    hours = HOURS[load.when]
    share = (load.hours_per_day if load.hours_per_day is not None else len(hours)) / len(hours)
    if share > 1:                   # more hours than that part of the day has: all day, then
        hours, share = HOURS["always"], (load.hours_per_day or 0.0) / 24
    return [load.power_w * share if h in hours else 0.0 for h in range(24)]


def warmth_power_w(load: Load, air_c: float, room_c: float) -> float:
    """Mean power of what follows the warmth [W]: fridge, heater, fan.

    load: one of those; air_c: outside [°C]; room_c: in the cabin [°C].
    """
    if load.is_fridge:
        return fridge_power_w(load, room_c)
    if load.when == "cold":
        return load.power_w * min(max((HEATER_C - air_c) / HEATER_K, 0.0), 1.0)
    return load.power_w if room_c > FAN_C else 0.0


def follows_warmth(load: Load) -> bool:
    """Whether a load's use is decided by the temperature."""
    return load.is_fridge or load.when in ("cold", "hot")
