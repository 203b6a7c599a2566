"""Years of life in words: how long it should last, what shortens it most, and what that rests on."""
from monitor.findings import Answer, NotYet
from monitor.reporting.sentences import number
from monitor.wear.life import LONGEST_YEARS, LifeForecast

#: What shortens a life, as it is said to its owner.
CAUSES = {"heat": "heat", "standing part-charged": "standing part-charged", "layered acid": "acid that layers for want of gassing charges",
          "deep discharges": "going below half", "high charging voltage": "a high charging voltage", "standing full": "standing full",
          "charging in the cold": "charging in the cold", "use": "use itself"}
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
    if years.value >= LONGEST_YEARS:
        return f"{number(LONGEST_YEARS)} years or more (from {_year(years.low)})"
    high = f"{_year(years.high)} or more" if years.high >= LONGEST_YEARS else _year(years.high)
    return f"{_year(years.value)} {'year' if _year(years.value) == '1.0' else 'years'} ({_year(years.low)} to {high})"


def describe_causes(found: LifeForecast, most: int = 3) -> str:
    """What shortens it most, with the years each costs; "" where nothing does.

    >>> describe_causes(LifeForecast(NotYet(""), NotYet(""), 0.8, (("heat", 1.94), ("standing part-charged", 0.8))))
    'heat: 1.9 years; standing part-charged: 0.8'
    """
    said = [f"{CAUSES[cause]}: {_year(years)}" for cause, years in found.shortened_by[:most]]
    return "; ".join([f"{said[0]} years", *said[1:]]) if said else ""


def _year(years: float) -> str:
    return number(years, 1)
