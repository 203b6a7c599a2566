"""Page Tonight: the night in figures, hour by hour, and how last nights' forecasts turned out."""
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.words import clock_text, local_hour
from monitor.findings import Answer, Estimate, ForecastFindings
from monitor.logbook.reader import LoggedForecast
from monitor.reporting.sentences import Figure, chance, figure, when
from monitor.usage.who_took import Shares

#: Nights listed, and how far apart the lines of the fan are [s].
NIGHTS, EVERY_S = 14, 3 * 3600.0
#: The forecast an evening is judged by is the one nearest to this local hour.
EVENING_HOUR = 21.0


@dataclass(frozen=True, slots=True)
class ShownNight:
    """One evening's forecast beside what the log says happened. Times in UTC seconds, fractions of capacity."""

    issued_utc_s: float
    said: float
    low_frac: float
    high_frac: float
    lowest_frac: float
    reached_utc_s: float | None


@dataclass(frozen=True, slots=True)
class Outcome:
    """A night ready to print."""

    evening: str
    said: str
    forecast_low: str
    came: str
    reached: str


def nights(
    forecasts: Sequence[LoggedForecast], at_utc_s: Sequence[float], charge: Sequence[float | None], reserve_frac: float,
    hour_of: Callable[[float], float],
) -> list[ShownNight]:
    """Each evening's forecast, the one nearest to nine, beside the lowest charge until the sun was to be back.

    forecasts : the log's hourly forecasts, oldest first
    at_utc_s, charge : the charge as it was held to be, None where it was not known
    hour_of : local clock hour of a moment
    reserve_frac : charge that is to stay, 0 to 1

    A night still under way, or one the log missed half of, is left out.
    """
    evenings: dict[int, tuple[float, LoggedForecast]] = {}
    for row in forecasts:
        off = abs(hour_of(row.at_utc_s) - EVENING_HOUR)
        day = round((row.at_utc_s - hour_of(row.at_utc_s) * 3600) / 86400)
        if (off <= 2 and row.probability_before_sun is not None and row.lowest_low_frac is not None
                and (day not in evenings or off < evenings[day][0])):
            evenings[day] = (off, row)
    found = []
    for _, (_, row) in sorted(evenings.items()):
        end = row.sun_back_utc_s or row.at_utc_s + 12 * 3600.0
        odds, low, high = row.probability_before_sun, row.lowest_low_frac, row.lowest_high_frac
        if odds is None or low is None or high is None:
            continue
        span_of = [(t, v) for t, v in zip(at_utc_s, charge, strict=True) if row.at_utc_s <= t <= end]
        known = [(t, v) for t, v in span_of if v is not None]
        if not at_utc_s or at_utc_s[-1] < end - 3600 or len(known) < 4 or len(known) < len(span_of) / 2:
            continue
        found.append(ShownNight(
            row.at_utc_s, odds, low, high,
            min(v for _, v in known),
            next((t for t, v in known if v <= reserve_frac), None)))
    return found


def build_night(book) -> dict[str, Any]:
    """Everything the template of page Tonight needs beside the findings."""
    forecast = book.findings.forecast
    now = book.utc_of(book.at_s)
    past = [] if now is None else _past(book, now)
    return {
        "usual": usual_rows(book.findings.loads.shares),
        "night": night_rows(forecast, book.issued_hour, book.findings.charge.charge_frac),
        "hours": hours(forecast, book.utc_of(forecast.issued_s)),
        "issued": book.when(forecast.issued_s), "outcomes": [_outcome(night) for night in reversed(past)],
        "outcomes_sentence": _sentence(past),
    }


def night_rows(found: ForecastFindings, hour: float | None, charge_frac: Answer) -> list[tuple[str, str, str]]:
    """The night's figures as (label, value, range or reason).

    found: what was found; hour: local clock hour, None: not known; charge_frac: charge left, 0 to 1.
    """
    unknown = ("not known yet", f"because {found.because}" if found.because else "")
    rows = []
    if found.probability_before_sun is None:
        rows.append((_risk(found), *unknown))
    else:
        rows.append((_risk(found), chance(found.probability_before_sun),
                     "before solar takes over"))
    if found.lowest_frac is not None:
        between = ""
        if found.lowest_low_frac is not None and found.lowest_high_frac is not None:
            between = f"80 % range {100 * found.lowest_low_frac:.0f} to {100 * found.lowest_high_frac:.0f} %"
        rows.append(("Lowest point before the sun", f"{100 * found.lowest_frac:.0f} %", between))
    if found.probability_before_sun is not None:
        if isinstance(charge_frac, Estimate) and found.is_below_mark(charge_frac.value):
            rows.append((_name_limit(found), "at any moment" if found.fridge_first else "already below it", ""))
        elif found.reserve_in_s is None:
            rows.append((_name_limit(found), "not within three days", ""))
        else:
            between = ""
            if found.reserve_in_low_s is not None and found.reserve_in_high_s is not None:
                between = f"80 % range {when(found.reserve_in_low_s, hour)} to {when(found.reserve_in_high_s, hour)}"
            rows.append((_name_limit(found), when(found.reserve_in_s, hour), between))
    for label, value in (("Solar takes over", found.sun_back_in_s), ("Full again", found.full_in_s)):
        if value is not None:
            rows.append((label, when(value, hour), ""))
    if not found.fridge_first and found.probability_fridge_stops is not None and found.fridge_stops_frac is not None:
        rows.append((f"Risk that the fridge stops, at about {100 * found.fridge_stops_frac:.0f} %", chance(found.probability_fridge_stops),
                     "before solar takes over"))
    if found.probability_cloudy_tomorrow is not None:
        rows.append(("If tomorrow is cloudy", chance(found.probability_cloudy_tomorrow),
                     "risk of falling below it by the morning after"))
    return rows


def _name_limit(found: ForecastFindings) -> str:
    return "Fridge stops" if found.fridge_first else "Your reserve reached"


def _risk(found: ForecastFindings) -> str:
    """What the odds are about: the mark that comes first."""
    return "Risk that the fridge stops" if found.fridge_first else "Risk of falling below your reserve"


def usual_rows(shares: Shares) -> list[tuple[str, Figure]]:
    """Who takes the charge on a usual day, as (label, figure)."""
    return [
        ("All loads", figure(shares.load_ah_per_day, "Ah a day", least=0)),
        ("of which fridge", figure(shares.fridge_ah_per_day, "Ah a day", least=0)),
        ("The fridge runs", figure(shares.fridge_duty_frac, "% of the time", scale=100, least=0)),
        ("Always-on loads", figure(shares.base_a, "A", digits=2, least=0)),
        ("Evening use", figure(shares.evening_ah_per_day, "Ah a day", least=0)),
        ("Pump and other short loads", figure(shares.bursts_ah_per_day, "Ah a day", least=0)),
        ("Not accounted for", figure(shares.rest_ah_per_night, "Ah a night")),
        ("From the sun", figure(shares.harvest_ah_per_day, "Ah a day", least=0)),
    ]


def hours(found: ForecastFindings, issued_utc_s: float | None) -> list[tuple[str, str, str, str]]:
    """The fan every three hours as (time, low, middle, high)."""
    rows: list[tuple[str, str, str, str]] = []
    due = 0.0
    for at_s, low, middle, high in found.fan:
        if at_s + 1 >= due:
            at = clock_text(issued_utc_s + at_s, "%a %H:%M") if issued_utc_s is not None else f"in {at_s / 3600:.0f} h"
            rows.append((at, f"{100 * low:.0f}", f"{100 * middle:.0f}", f"{100 * high:.0f}"))
            due = at_s + EVERY_S
    return rows


def _past(book, now_utc_s: float) -> list[ShownNight]:
    start = now_utc_s - (NIGHTS + 1) * 86400
    rows = book.columns(start, now_utc_s, 24 * (NIGHTS + 1))
    found = nights(book.forecasts(start, now_utc_s), rows.at_utc_s, rows.charge_frac,
                   book.vehicle.house.reserve_soc_frac, local_hour)
    return found[-NIGHTS:]


def _outcome(night: ShownNight) -> Outcome:
    reached = "" if night.reached_utc_s is None else f"reserve at {clock_text(night.reached_utc_s, '%H:%M')}"
    return Outcome(clock_text(night.issued_utc_s, "%a %-d %b"), _short(night.said),
                   f"{100 * night.low_frac:.0f}–{100 * night.high_frac:.0f} %", f"{100 * night.lowest_frac:.0f} %",
                   reached)


def _short(probability: float) -> str:
    short = chance(probability).replace("less than ", "< ").replace("more than ", "> ")
    return short.replace(" ", "\N{NO-BREAK SPACE}")


def _sentence(past: Sequence[ShownNight]) -> str:
    if not past:
        return ""
    inside = sum(n.low_frac <= n.lowest_frac <= n.high_frac for n in past)
    reached = sum(n.reached_utc_s is not None for n in past)
    expected = sum(n.said for n in past)
    return (f"Of {len(past)} nights the lowest point came out inside the forecast range in {inside} "
            f"(8 in 10 are meant to). The reserve was reached in {reached}; the forecasts expected "
            f"{expected:.1f}.")
