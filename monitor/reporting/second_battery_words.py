"""Whether one battery does for engine and camp, in words for the command and the page."""
from monitor.findings import Estimate
from monitor.planning.labels_ratings import Span
from monitor.planning.second_battery import CAUTION, SecondBatteryAnswer
from monitor.reporting.life_words import describe_causes, describe_years
from monitor.reporting.sentences import number

__all__ = ["CAUTION", "describe_headline", "list_rows"]


def describe_headline(found: SecondBatteryAnswer) -> str:
    """The answer in at most twelve words."""
    hours = number(found.hours.low)
    if found.need_two:
        return f"Fit a second battery: a start is sure for only {hours} h."
    return f"One may do: a start is sure for {hours} h."


def list_rows(found: SecondBatteryAnswer) -> list[tuple[str, str, str]]:
    """The figures behind it, as (label, value, note)."""
    rows = [
        ("Loads, mean", f"{number(found.load_a, 1)} A", f"{number(found.needed_ah)} Ah in {number(found.night_hours)} h"),
        (f"A start gets doubtful at {number(found.temperature_c)} °C", _span(found.hours, "h"), "of these loads, from the luckiest to the "
         "unluckiest battery"),
        ("Charge that a start needs there", _span(Span(*(100 * x for x in (found.start_needs_frac.low, found.start_needs_frac.usual,
                                                                            found.start_needs_frac.high))), "%"), "")]
    rows += [(f"The same at {number(c)} °C", _span(hours, "h"), "") for c, hours in found.by_temperature]
    rows.append(("Its life used like this every day", describe_years(found.life.years), describe_causes(found.life)))
    rows.append(("Its life without the camp", describe_years(found.life_unused.years), ""))
    years, unused = found.life.years, found.life_unused.years
    if isinstance(years, Estimate) and isinstance(unused, Estimate) and unused.value > years.value:
        rows.append(("So the camp costs", f"{number(unused.value - years.value, 1)} years of it",
                     "of the middle figures, every day of the year"))
    return rows


def _span(span: Span, unit: str) -> str:
    return f"{number(span.usual)} {unit}, range {number(span.low)} to {number(span.high)}"
