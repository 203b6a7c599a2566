"""Years of life in words: how long it should last, what shortens it most, and what that rests on."""
from collections.abc import Sequence

from monitor.findings import Answer, Estimate, NotYet
from monitor.planning.battery_life import LifeReport
from monitor.reporting.sentences import number
from monitor.wear.life import LEAST_DAYS, LONGEST_YEARS, LifeForecast

#: A log of so many days holds every season (choice).
WHOLE_YEAR_DAYS = 330.0
#: Below so many years it has come to it by now (choice: less than three weeks).
BY_NOW_YEARS = 0.05
#: What shortens a life, as it is said to its owner.
CAUSES = {"heat": "heat", "standing part-charged": "standing part-charged", "layered acid": "acid that layers for want of gassing charges",
          "deep discharges": "going below half", "high charging voltage": "a high charging voltage", "standing full": "standing full",
          "charging in the cold": "charging in the cold", "use": "use itself"}
TOO_YOUNG = f"Not known yet, because the log is younger than {LEAST_DAYS:.0f} days."
METHOD = ("Years are a forecast by published wear models, for the usual battery of its kind unless the data sheet's figures are given: "
          "one battery may die early of one bad cell. They do not say when a fault makes it unsafe.")


def describe_years(years: Answer) -> str:
    """Years with their 95 % range.

    >>> from monitor.findings import Estimate
    >>> describe_years(Estimate(6.24, 3.91, 9.0, "learnt"))
    '6.2 years (3.9 to 9.0)'
    """
    if isinstance(years, NotYet):
        return f"not known yet, because {years.because}"
    if years.value < BY_NOW_YEARS:
        return f"reached by now (at the latest in {_year(years.high)} years)"
    if years.value >= LONGEST_YEARS:
        return f"{number(LONGEST_YEARS)} years or more (from {_year(years.low)})"
    if years.high < 1.0:
        return f"{number(12 * years.value)} months ({number(12 * years.low)} to {number(12 * years.high)})"
    high = f"{_year(years.high)} or more" if years.high >= LONGEST_YEARS else _year(years.high)
    return f"{_year(years.value)} years ({_year(years.low)} to {high})"


def describe_causes(found: LifeForecast, most: int = 3) -> str:
    """What shortens it most, with the years each costs; "" where nothing does.

    >>> describe_causes(LifeForecast(NotYet(""), NotYet(""), 0.8, (("heat", 1.94), ("standing part-charged", 0.8))))
    'heat: 1.9 years; standing part-charged: 0.8'
    """
    said = [f"{CAUSES[cause]}: {_year(years)}" for cause, years in found.shortened_by[:most]]
    return "; ".join([f"{said[0]} years", *said[1:]]) if said else ""


def tell_years(years: Answer) -> str:
    """Years of life with their range, or a dash."""
    if not isinstance(years, Estimate):
        return "–"
    digits = 0 if years.value >= 3 else 1
    return f"{number(years.value, digits)} ({number(years.low, digits)}–{number(years.high, digits)})"


def list_causes(shortened_by: Sequence[tuple[str, float]]) -> str:
    """What shortens a life, the three that cost most.

    >>> list_causes([("heat", 1.9), ("use", 0.8)])
    'heat (1.9 years), use itself (0.8 years)'
    """
    return ", ".join(f"{CAUSES.get(cause, cause)} ({number(years, 1)} years)" for cause, years in shortened_by[:3])


def _year(years: float) -> str:
    return number(years, 1)


def list_rows(report: LifeReport) -> list[tuple[str, str, str]]:
    """The years left and what they rest on, as (label, value, note)."""
    found = report.forecast
    if isinstance(found.years, NotYet):
        return [("Years left", describe_years(found.years), "")]
    rows = []
    if report.nights_because:
        rows.append(("Until it is too small for you", "not known", f"because {report.nights_because.rstrip('.')}"))
    elif report.short_already:
        rows.append(("Until it is too small for you", "already so", f"even all of its rating is short on more than "
                     f"{number(report.short_nights)} nights in 30"))
    else:
        rows.append(("Until it is too small for you", describe_years(found.years),
                     f"short on more than {number(report.short_nights)} nights in 30, as below {number(100 * found.criterion_frac)} % of "
                     f"its rating"))
    rows.append(("Until it holds 80 %", describe_years(found.years_to_80), "the usual end of life"))
    if causes := describe_causes(found):
        rows.append(("What shortens it most", causes, "a battery of its kind would live so much longer without"))
    if not isinstance(found.loss_per_year, NotYet):
        loss = found.loss_per_year
        rows.append(("Loses in a year", f"{number(100 * loss.value)} points ({number(100 * loss.low)} to {number(100 * loss.high)})",
                     "of its rating, used like this"))
    weight = f"an ampere-hour weighs {number(found.weight_ratio, 1)} times one of the standard's cycles" if report.lead_acid else ""
    rows.append(("Full cycles in a year", number(found.full_cycles_per_year), weight))
    rows.append(("Rests on", f"{number(report.days)} days of log", "; ".join(_doubts(report))))
    return rows


def _doubts(report: LifeReport) -> list[str]:
    """What makes it less sure, in words."""
    said = []
    if not report.forecast.agrees:
        said.append("wear and measured capacity do not agree, so the range is widened")
    if report.age_years is None:
        said.append("when it was put in is not known: see New battery")
    if not report.thermometer:
        said.append("no thermometer is on it: 20 °C is supposed")
    if report.days < WHOLE_YEAR_DAYS:
        said.append("less than a year of log: other seasons are not in it")
    return said


def describe_headline(report: LifeReport) -> str:
    """The years left in a sentence of at most twelve words."""
    years = report.forecast.years_to_80 if report.nights_because or report.short_already else report.forecast.years
    if isinstance(years, NotYet):
        return "Years left: not known yet."
    if years.value < BY_NOW_YEARS:
        return "Used up by now, as the figures stand."
    if years.value >= LONGEST_YEARS:
        return f"More than {_year(years.low)} years left."
    return f"About {describe_years(years)} left."
