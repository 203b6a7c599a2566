"""The trip: which months where, how it is driven, and what can be said of it before anything is worked out."""
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from monitor.parameters import table
from monitor.planning.climate import between, places, sky
from monitor.planning.climate.between import Climate
from monitor.planning.climate.places import MONTHS

P = table("planning", "trip")
#: field -> (least, most, unit)
LIMITS = P.limits("drive_hours", "standing_days", "cabin_k", "heated_c", "shore_every_days", "days")
HEATED_C, MONTHS_MOST = P.number("usual_heated_c"), P.count("months_most")
DRIVE_HOURS, STANDING_DAYS, CABIN_K = P.number("usual_drive_hours"), P.count("usual_standing_days"), P.number("usual_cabin_k")


@dataclass(frozen=True, slots=True)
class Stop:
    """A month at a place; days: of it, counted from its first."""

    climate: Climate
    month: int
    days: int


@dataclass(frozen=True, slots=True)
class Trip:
    """Months at places, and how they are lived.

    drive_hours : on a day of driving [h]; standing_days : days without driving between two of them
    cabin_k : how much warmer the cabin is than the air [K]; shore_every_days : a night on shore power so often, None: never
    heated_c : a cabin that is lived in is kept at so much at least, mean over the day [°C]
    """

    stops: tuple[Stop, ...]
    drive_hours: float = DRIVE_HOURS
    standing_days: int = STANDING_DAYS
    cabin_k: float = CABIN_K
    shore_every_days: int | None = None
    heated_c: float = HEATED_C

    @property
    def days(self) -> int:
        """How long it is [days]."""
        return sum(stop.days for stop in self.stops)


def parse_place(text: str) -> Climate:
    """The climate of "Lisbon", of "44.5,6.2" or of "44.5,6.2,1800" (latitude, longitude, height in metres).

    Raises
    ------
    ValueError : no such place; the sentence says the nearest that is known
    """
    parts = [part.strip() for part in text.split(",")]
    try:
        figures = [float(part) for part in parts]
    except ValueError:
        return between.climate_of(places.find(text))
    if len(figures) not in (2, 3):
        raise ValueError(f"{text!r} is no place: write its name, or latitude,longitude or latitude,longitude,height, as 44.5,6.2,1800")
    return between.climate_at(figures[0], figures[1], figures[2] if len(figures) == 3 else None)


def parse_months(text: str) -> tuple[int, ...]:
    """Months, 0 to 11, of "5", "5-9", "May-September", "Dec-Feb", "3,4" or "all".

    >>> parse_months("Nov-Feb")
    (10, 11, 0, 1)

    Raises
    ------
    ValueError : what is no month, in one sentence
    """
    if text.strip().casefold() in ("all", "year", ""):
        return tuple(range(12))
    found: list[int] = []
    for part in text.replace("\N{EN DASH}", "-").replace("+", ",").split(","):
        first, mark, last = part.partition("-")
        a = _month(first)
        b = _month(last) if mark else a
        found += [(a + k) % 12 for k in range((b - a) % 12 + 1)]
    return tuple(found)


def _month(text: str) -> int:
    text = text.strip()
    if text.isascii() and text.isdecimal():
        if 1 <= int(text) <= 12:
            return int(text) - 1
        raise ValueError(f"month {text} does not exist: write 1 to 12, or a name")
    names = [m.casefold() for m in MONTHS]
    fits = [k for k, m in enumerate(names) if len(text) >= 3 and m.startswith(text.casefold())]
    if fits:
        return fits[0]
    near = get_close_matches(text.casefold(), names, 1, 0.5)
    raise ValueError(f"{text!r} is not a month"
                     + (f"; did you mean {MONTHS[names.index(near[0])]}?" if near else "; write 5-9 or May-September"))


def make_trip(legs: Sequence[tuple[str, str]], drive_hours: float = DRIVE_HOURS, standing_days: int = STANDING_DAYS,
              cabin_k: float = CABIN_K, shore_every_days: int | None = None, days: int | None = None, heated_c: float = HEATED_C,
              own: tuple[tuple[float, ...] | None, tuple[float, ...] | None] = (None, None)) -> Trip:
    """A trip from months and places as they are written.

    legs: (place, months) one after another; drive_hours: on a day of driving [h]; standing_days: days without driving between two;
    cabin_k: how much warmer the cabin is than the air [K]; shore_every_days: a night on shore power so often, None: never;
    days: of each month that are travelled, None: all; heated_c: the cabin's least [°C]; own: the owner's
    monthly sun [kWh/m2 a day] and temperature [°C] of every place.

    Raises
    ------
    ValueError : a place, month or figure that cannot be, or a trip that contradicts itself
    """
    if not legs:
        raise ValueError("there is no place to plan for; name one, as Lisbon, or 44.5,6.2,1800")
    for name, value in (("drive_hours", drive_hours), ("standing_days", standing_days), ("cabin_k", cabin_k),
                        ("shore_every_days", shore_every_days), ("days", days), ("heated_c", heated_c)):
        low, high, unit = LIMITS[name]
        if value is not None and not low <= value <= high:
            raise ValueError(f"{name.replace('_', ' ')} is {value:g} {unit}: it must lie between {low:g} and {high:g}")
    stops = []
    for place, text in legs:
        climate = between.with_own_figures(parse_place(place), *own)
        for month in parse_months(text):
            most = sky.MONTH_DAYS[month]
            if days is not None and days > most:
                raise ValueError(f"{days} days of {MONTHS[month]} cannot be: it has {most}")
            stops.append(Stop(climate, month, most if days is None else days))
    if len(stops) > MONTHS_MOST:
        raise ValueError(f"the trip has {len(stops)} months: plan {MONTHS_MOST} at a time")
    trip = Trip(tuple(stops), drive_hours, standing_days, cabin_k, shore_every_days, heated_c)
    if drive_hours > 0 and standing_days + 1 > trip.days:
        raise ValueError(f"the trip contradicts itself: it stands {standing_days} days between drives and lasts only {trip.days} days; "
                         "say 0 hours of driving, or fewer days standing")
    return trip


def describe_trip(trip: Trip) -> str:
    """The trip in words."""
    parts: list[str] = []
    names = dict.fromkeys(stop.climate.name for stop in trip.stops)
    for name in names:
        months = [stop.month for stop in trip.stops if stop.climate.name == name]
        parts.append(f"{name}, {_describe_months(months)}")
    driving = "no driving" if not trip.drive_hours else (
        f"{trip.drive_hours:g} h of driving " + ("every day" if not trip.standing_days else f"every {_nth(trip.standing_days + 1)} day"))
    shore = "" if trip.shore_every_days is None else (
        "; shore power every night" if trip.shore_every_days == 1 else f"; shore power every {_nth(trip.shore_every_days)} night")
    return "; ".join(parts) + f"; {driving}{shore}"


def _describe_months(months: Sequence[int]) -> str:
    """Months as they follow one another: "June", "November to February", "March, July to August"."""
    if sorted(months) == list(range(12)):
        return "the whole year"
    runs: list[list[int]] = []
    for month in months:
        if runs and month == (runs[-1][-1] + 1) % 12:
            runs[-1].append(month)
        else:
            runs.append([month])
    return ", ".join(MONTHS[run[0]] if len(run) == 1 else f"{MONTHS[run[0]]} to {MONTHS[run[-1]]}" for run in runs)


def _nth(count: int) -> str:
    """"second", "third", "4th", "21st"."""
    ending = "th" if count % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(count % 10, "th")
    return {2: "second", 3: "third"}.get(count, f"{count}{ending}")
