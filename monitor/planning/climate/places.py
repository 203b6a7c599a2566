"""The places whose climate is known: monthly sun and air, with who says so."""
import csv
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from math import asin, cos, radians, sin, sqrt
from unicodedata import combining, normalize

from monitor.parameters import table

EARTH_KM = table("planning/climate", "places").number("earth_km")
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")


class UnknownPlace(ValueError):
    """No place of that name; the sentence names the nearest in spelling, and the other way to say where."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place with published monthly means.

    sun_kwh_m2_day : a day's sun on the level [kWh/m2], twelve months
    air_c : mean temperature [°C], twelve months; None where only the sun is published
    source : of the figures, explained in NOTICE
    """

    name: str
    country: str
    source: str
    latitude_deg: float
    longitude_deg: float
    height_m: float
    sun_kwh_m2_day: tuple[float, ...]
    air_c: tuple[float, ...] | None


@cache
def places() -> tuple[Place, ...]:
    """Every place of the table."""
    text = (files("monitor.planning.climate") / "places.csv").read_text(encoding="utf-8")
    found = []
    for row in csv.reader(text.splitlines()[1:]):
        name, country, source = row[:3]
        latitude, longitude, height = (float(x) for x in row[3:6])
        sun, air = tuple(float(x) for x in row[6:18]), row[18:30]
        found.append(Place(name, country, source, latitude, longitude, height, sun,
                           tuple(float(x) for x in air) if air[0] else None))
    return tuple(found)


def distance_km(a_lat_deg: float, a_lon_deg: float, b_lat_deg: float, b_lon_deg: float) -> float:
    """Distance on the earth between two places [km].

    a_lat_deg, a_lon_deg: of the one, north and east positive [°]; b_lat_deg, b_lon_deg: of the other [°].

    >>> round(distance_km(51.5, -0.1, 48.9, 2.3))
    336
    """
    a, b = radians(a_lat_deg), radians(b_lat_deg)
    half = sin((b - a) / 2) ** 2 + cos(a) * cos(b) * sin(radians(b_lon_deg - a_lon_deg) / 2) ** 2
    return 2 * EARTH_KM * asin(min(sqrt(half), 1.0))


@cache
def find(name: str) -> Place:
    """A place by its name, capitals and accents apart; "San José, GTM" where there are several.

    Raises
    ------
    UnknownPlace : none of that name; its sentence says the nearest in spelling
    """
    wanted, _, country = (part.strip() for part in name.partition(","))
    by_name: dict[str, list[Place]] = {}
    for place in places():
        by_name.setdefault(_plain(place.name), []).append(place)
        by_name.setdefault(_plain(place.name.partition(",")[0]), []).append(place)
    full = by_name.get(_plain(name))
    found = full or by_name.get(_plain(wanted), [])
    if country and not full:
        found = [p for p in found if _plain(p.country) == _plain(country)] or found
    if not found:
        begins = [p for key, ps in by_name.items() if wanted and key.startswith(_plain(wanted)) for p in ps]
        found = begins[:1]
    if found:
        return found[0]
    near = get_close_matches(_plain(wanted), list(by_name), 3, 0.6)
    names = " or ".join(dict.fromkeys(f"{by_name[key][0].name} ({by_name[key][0].country})" for key in near))
    raise UnknownPlace(f"no place called {name!r} is known" + (f"; the nearest in spelling: {names}" if names else "")
                       + "; or give latitude, longitude and height, as 31.63,-8.0,460")


def describe(place: Place) -> str:
    """Name and country of a place."""
    return f"{place.name} ({place.country})"


def _plain(text: str) -> str:
    return "".join(c for c in normalize("NFKD", text.casefold()) if c.isalnum() and not combining(c))
