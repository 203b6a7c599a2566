"""What the own log says of a place's sun and air: how clear its months were, and how warm where the battery stands."""
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import hypot, sqrt

from monitor.parameters import table
from monitor.planning.climate.between import CLEARNESS_LIMITS, Climate
from monitor.planning.climate.days import KEEPS, WARMER_KEEPS, WARMER_SIGMA_C, YEAR_SIGMA_FRAC, clearest
from monitor.planning.climate.places import MONTHS, distance_km
from monitor.planning.load_profile import SLOT_H, SLOT_S, LoggedSlot, refill, split_days
from monitor.planning.trip_weather import WALL_K

P = table("planning", "logged_climate")
LEAST_DAYS, NEAR_KM, LEAST_BRIGHT_AH = P.count("least_days"), P.number("near_km"), P.number("least_bright_ah")
BRIGHT_SHARE, WHOLE_DAY = P.number("bright_share"), P.number("whole_day")
SPLIT = table("planning", "whatif").number("split")
INDEX_SIGMA, METERED_SIGMA, DAY_SPREAD = P.number("index_sigma_ln"), P.number("metered_sigma_ln"), P.number("day_spread")
PLACE_SIGMA_K, SENSOR_SIGMA_K = P.number("place_sigma_k"), P.number("sensor_sigma_k")


@dataclass(frozen=True, slots=True)
class LoggedMonth:
    """One month of the log, 0 to 11, of so many days: clearness and air, each with one standard deviation; None: not known."""

    month: int
    days: int
    clearness: float | None
    clearness_sigma: float
    air_c: float | None
    air_sigma_c: float


@dataclass(frozen=True, slots=True)
class LoggedClimate:
    """The months of a log.

    latitude_deg, longitude_deg : where its owner says that it stands, None: nobody said
    metered : the sun's own current was measured; outside : so was the air
    """

    latitude_deg: float | None
    longitude_deg: float | None
    months: tuple[LoggedMonth, ...]
    metered: bool = False
    outside: bool = False


def read_climate(life: Sequence[LoggedSlot], ends_utc_s: float, position: tuple[float | None, float | None], metered: bool = False,
                 ambient: Iterable[tuple[float, float]] = (), utc_to_local_h: float = 0.0) -> LoggedClimate:
    """The months of a life out of the log.

    How clear a month was is what its days brought, over what a clear day of it brings: so neither the panel's size nor its tilt need be
    known. A clear day itself is as clear as the clearest of a month of that mean.

    life: quarter hours without holes, oldest first; ends_utc_s: when it ends [s]; position: latitude and longitude that the owner
    gave [°]; metered: whether the sun's current was measured; ambient: (UTC [s], temperature outside [°C]), where it was;
    utc_to_local_h: what makes local hours of UTC [h].
    """
    by_month: dict[tuple[int, int], list[LoggedSlot]] = {}
    for k, row in enumerate(life):
        by_month.setdefault(_month_of(ends_utc_s - (len(life) - k - 0.5) * SLOT_S, utc_to_local_h), []).append(row)
    air: dict[tuple[int, int], list[float]] = {}
    for utc_s, warm_c in ambient:
        air.setdefault(_month_of(utc_s, utc_to_local_h), []).append(warm_c)
    latest: dict[int, LoggedMonth] = {}
    for (year, month), rows in sorted(by_month.items()):
        days = round(len(rows) * SLOT_H / 24)
        if days < LEAST_DAYS:
            continue
        clear = clearness_of(rows, metered)
        spread = hypot(METERED_SIGMA if metered else INDEX_SIGMA, YEAR_SIGMA_FRAC,
                       DAY_SPREAD / sqrt(days * (1 - KEEPS) / (1 + KEEPS)))
        warm, doubt_k = _air_of(rows, air.get((year, month)))
        latest[month] = LoggedMonth(month, days, clear, spread * (clear or 0.0), warm,
                                    hypot(doubt_k, WARMER_SIGMA_C / sqrt(days * (1 - WARMER_KEEPS) / (1 + WARMER_KEEPS))))
    return LoggedClimate(*position, tuple(latest.values()), metered, bool(air))


def clearness_of(rows: Sequence[LoggedSlot], metered: bool = False) -> float | None:
    """Clearness of some weeks [1], None where no sun was seen.

    rows: their quarter hours; metered: whether the sun's current was measured: what the sun serves at once by day is not told else.
    """
    days = sorted(SLOT_H * sum(slot.sun_a for slot in day) for day in split_days(refill(list(rows))) if len(day) > WHOLE_DAY * 96)
    if not days:
        return None
    mean, bright = sum(days) / len(days), days[int(BRIGHT_SHARE * (len(days) - 1))]
    if bright < LEAST_BRIGHT_AH:
        return None
    unseen = 0.0 if metered else (SPLIT - 1) * mean
    share = min((mean + unseen) / (bright + unseen), 1.0)
    clear = share
    for _ in range(5):                              # the clearest day follows the mean, a little
        clear = share * clearest(clear)
    return min(max(clear, CLEARNESS_LIMITS[0]), CLEARNESS_LIMITS[1])


def _air_of(rows: Sequence[LoggedSlot], outside: Sequence[float] | None) -> tuple[float | None, float]:
    """Mean temperature of the air [°C] and what a thermometer's place leaves open [K]."""
    if outside:
        return sum(outside) / len(outside), SENSOR_SIGMA_K
    warm = [row.temperature_c for row in rows if row.temperature_c is not None]
    return (sum(warm) / len(warm) - WALL_K, PLACE_SIGMA_K) if len(warm) > len(rows) / 2 else (None, PLACE_SIGMA_K)


def with_log(climate: Climate, logged: LoggedClimate) -> Climate:
    """The climate of a place with what the log says of it, each by its doubt; unchanged where the log was elsewhere. The owner's own
    figures, which have none, stay.

    climate: of the place; logged: the log's months.
    """
    if logged.latitude_deg is None or logged.longitude_deg is None:
        return climate
    if distance_km(climate.latitude_deg, climate.longitude_deg, logged.latitude_deg, logged.longitude_deg) > NEAR_KM:
        return climate
    clear, sigma, air, notes = list(climate.clearness), list(climate.clearness_sigma), list(climate.air_c), list(climate.month_basis)
    for seen in logged.months:
        m, told = seen.month, []
        if seen.clearness is not None and sigma[m] > 0:
            clear[m], sigma[m] = _mix(clear[m], sigma[m], seen.clearness, seen.clearness_sigma)
            told.append(f"sun ({'its meter' if logged.metered else 'harvest against its clear days'}: clearness {seen.clearness:.2f})")
        if seen.air_c is not None and climate.air_sigma_c > 0:
            air[m], _ = _mix(air[m], climate.air_sigma_c, seen.air_c, seen.air_sigma_c)
            told.append(f"air ({'measured outside' if logged.outside else 'by the battery'}: {seen.air_c:.0f} °C)")
        if told:
            notes[m] = f"{seen.days} days of your log in {MONTHS[m]} say {' and '.join(told)}, weighed with "
    return replace(climate, clearness=tuple(clear), clearness_sigma=tuple(sigma), air_c=tuple(air), month_basis=tuple(notes))


def _mix(known: float, known_sigma: float, seen: float, seen_sigma: float) -> tuple[float, float]:
    """Two figures of one thing by their doubts, and what is left of it."""
    share = known_sigma**2 / (known_sigma**2 + seen_sigma**2)
    return known + share * (seen - known), known_sigma * sqrt(1 - share)


def _month_of(utc_s: float, utc_to_local_h: float) -> tuple[int, int]:
    at = datetime.fromtimestamp(utc_s + 3600.0 * utc_to_local_h, UTC)
    return at.year, at.month - 1
