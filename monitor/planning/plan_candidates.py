"""Systems as a person writes them, and a few that anyone would ask about: "agm=100,panel=150,relay=5x16", "lfp=100,dcdc=30"."""
from difflib import get_close_matches

from monitor.battery.label import CHEMISTRIES, Chemistry
from monitor.battery.limits import limits_of
from monitor.parameters import table
from monitor.planning.charging_paths import EnginePath
from monitor.planning.plan import Drawn
from monitor.planning.plan_search import CAPACITIES_AH, PANELS_W, describe
from monitor.planning.trip_life import Candidate
from monitor.planning.trip_weather import REST_DAYS

KEYS = ("chemistry", "capacity", "panel", "tilt", "relay", "dcdc", "alternator", "shore", "reserve", "price", "controller", "age", "mount",
        "name")
CHOICES = {"controller": ("tracking", "plain"), "mount": ("roof", "free")}
P = table("planning", "plan_candidates")
#: key -> (least, most, unit)
LIMITS = P.limits("capacity", "panel", "tilt", "dcdc", "shore", "reserve", "price", "age", "alternator", "length", "area")
FEW_DAYS, MANY_DAYS, SUN_HOURS = P.number("few_days"), P.number("many_days"), P.number("sun_hours")
LOOKS, RATINGS_A, DCDC_H, PANEL_V = P.count("looks"), P.numbers("ratings_a"), P.number("dcdc_h"), P.number("panel_v")


def parse_system(text: str) -> Candidate:
    """A system from its pairs.

    >>> parse_system("agm=100,panel=150,relay=5x16").engine.area_mm2
    16.0

    Raises
    ------
    ValueError : one sentence: what is wrong, the nearest that is known
    """
    given: dict[str, str] = {}
    for part in text.split(","):
        key, mark, value = (piece.strip() for piece in part.partition("="))
        if key in CHEMISTRIES:
            given["chemistry"] = key
            if mark:
                given["capacity"] = value
            continue
        if key not in KEYS or not mark:
            near = get_close_matches(key, [*KEYS, *CHEMISTRIES], 1, 0.5)
            raise ValueError(f"{part.strip()!r} is not part of a system" + (f"; did you mean {near[0]}=?" if near else "")
                             + " Write agm=100,panel=150,relay=5x16 or lfp=100,panel=200,dcdc=30")
        given[key] = value
    return _candidate(given)


def _candidate(given: dict[str, str]) -> Candidate:
    chemistry: Chemistry | None = next((one for one in CHEMISTRIES if one == given.get("chemistry")), None)
    if chemistry is None:
        raise ValueError(f"a system needs its kind of battery: write one of {', '.join(CHEMISTRIES)} with its ampere-hours, as agm=100")
    if "capacity" not in given:
        raise ValueError(f"{chemistry}: write its ampere-hours, as {chemistry}=100")
    if "relay" in given and "dcdc" in given:
        raise ValueError("a system charges from the engine by a relay or by a DC-DC charger, not by both: give relay= or dcdc=")
    for key, choices in CHOICES.items():
        if key in given and given[key] not in choices:
            raise ValueError(f"{key} is {given[key]!r}: write {' or '.join(choices)}")
    capacity, panel = _number("capacity", given["capacity"]), _number("panel", given.get("panel", "0"))
    engine = _engine(given)
    reserve = _number("reserve", given["reserve"]) / 100 if "reserve" in given else limits_of(chemistry).reserve_frac
    return Candidate(
        given.get("name") or describe(chemistry, capacity, panel, engine), chemistry, capacity, reserve, panel, engine,
        _number("tilt", given.get("tilt", "0")), "free" if given.get("mount") == "free" else "roof", given.get("controller") != "plain",
        _number("age", given.get("age", "0")), _number("shore", given["shore"]) if "shore" in given else None,
        _number("price", given["price"]) if "price" in given else None)


def _engine(given: dict[str, str]) -> EnginePath:
    """The path from the engine: relay=METRESxMM2, or dcdc=AMPERES; alternator=managed, or what it has to spare."""
    managed = given.get("alternator") == "managed"
    spare = None if managed or "alternator" not in given else _number("alternator", given["alternator"])
    if "dcdc" in given:
        return EnginePath("dcdc", rating_a=_number("dcdc", given["dcdc"]), spare_a=spare, managed=managed)
    if "relay" not in given:
        return EnginePath()
    if given["relay"] in ("", "yes", "1"):
        return EnginePath("relay", spare_a=spare, managed=managed)
    length, mark, area = given["relay"].casefold().replace("mm2", "").replace("mm²", "").replace("m", "").partition("x")
    if not mark:
        raise ValueError(f"relay is {given['relay']!r}: write metres one way and the cable's cross-section, as relay=5x16")
    return EnginePath("relay", _number("length", length), _number("area", area), spare_a=spare, managed=managed)


def _number(key: str, text: str) -> float:
    low, high, unit = LIMITS[key]
    try:
        value = float(text)
    except ValueError:
        raise ValueError(f"{key} is {text.strip()!r}: write a number{f' ({unit})' if unit else ''}") from None
    if not low <= value <= high:
        raise ValueError(f"{key} is {value:g} {unit}".rstrip() + f": it must lie between {low:g} and {high:g}")
    return value


def make_usual(drawn: Drawn, engine: bool = True, most_panel_w: float = PANELS_W[-1]) -> list[Candidate]:
    """Systems that anyone would ask about, of the size that the loads call for: both kinds, small and large, relay and DC-DC.

    drawn: the trip; engine: whether it may charge from the engine; most_panel_w: that there is room for [W].
    """
    days = [day for k in range(LOOKS) for day in drawn.days(k, 0.0, "roof")[REST_DAYS:]]
    daily_ah = sum(sum(day.load_ah) + sum(day.fridge_ah) for day in days) / len(days)
    panel = _next(daily_ah * PANEL_V / SUN_HOURS, [w for w in PANELS_W if w <= most_panel_w])
    few, many = (_next(n * daily_ah / (1 - limits_of("agm").reserve_frac), CAPACITIES_AH) for n in (FEW_DAYS, MANY_DAYS))
    light, much = (_next(n * daily_ah / (1 - limits_of("lfp").reserve_frac), CAPACITIES_AH) for n in (FEW_DAYS, MANY_DAYS))
    relay = EnginePath("relay") if engine else EnginePath()
    wanted: list[tuple[Chemistry, float, float, EnginePath]] = [
        ("agm", few, panel, relay), ("agm", many, panel, relay), ("agm", few, panel, _dcdc(few, engine)),
        ("agm", many, _next(2 * panel, [w for w in PANELS_W if w <= most_panel_w]), EnginePath()),
        ("lfp", light, panel, _dcdc(light, engine)), ("lfp", much, panel, _dcdc(much, engine))]
    found = []
    for kind, capacity, watts, way in wanted:
        if not watts and (way.kind == "none" or not drawn.trip.drive_hours) and not drawn.trip.shore_every_days:
            continue
        one = Candidate(describe(kind, capacity, watts, way), kind, capacity, limits_of(kind).reserve_frac, watts, way)
        if one not in found:
            found.append(one)
    return found


def _next(wanted: float, sizes: tuple[float, ...] | list[float]) -> float:
    """The smallest size that is enough, else the largest there is."""
    return next((size for size in sizes if size >= wanted), sizes[-1])


def _dcdc(capacity_ah: float, engine: bool) -> EnginePath:
    return EnginePath("dcdc", rating_a=_next(capacity_ah / DCDC_H, RATINGS_A)) if engine else EnginePath()
