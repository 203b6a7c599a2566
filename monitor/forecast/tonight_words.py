"""Tonight in words: the answer in at most twelve, the figures behind it; page, message and terminal all say the same."""
from monitor.findings import ForecastFindings
from monitor.parameters import table

P = table("forecast", "tonight_words")
LASTS, EVEN, PROBABLY = P.number("lasts"), P.number("even"), P.number("probably")


def headline(found: ForecastFindings, charge_frac: float, hour: float | None) -> str:
    """Whether it lasts the night, about the mark that comes first: your reserve, or where the fridge stops.

    found: what was found; charge_frac: charge left, 0 to 1; hour: local clock hour, None: not known.
    """
    p, mark = found.probability_before_sun, found.first_mark_frac
    if p is None:
        return "Tonight cannot be forecast yet."
    reserve = "your reserve" if mark is None else f"your reserve of {_pct(mark)}"
    if found.is_below_mark(charge_frac):
        return "The fridge may stop at any moment." if found.fridge_first else f"Already below {reserve}."
    if p < LASTS:
        return "The fridge should run through the night." if found.fridge_first else "It should last the night."
    at = " tonight" if found.reserve_in_s is None or hour is None else f" {clock(found.reserve_in_s, hour)}"
    if found.fridge_first:
        word = "may" if p < EVEN else "may well" if p <= PROBABLY else "will probably"
        return f"The fridge {word} stop{at if p > PROBABLY else ' tonight'}."
    if p < EVEN:
        return f"It may fall below {reserve} tonight."
    if p <= PROBABLY:
        return f"About even whether it stays above {reserve}."
    return f"It will probably fall below {reserve}{at}."


def detail(found: ForecastFindings, charge_frac: float, hour: float | None) -> str:
    """The figures behind the headline: the risk, when, the lowest point, the fridge. Of a battery below its reserve no risk is said.

    found: what was found; charge_frac: charge left, 0 to 1; hour: local clock hour, None: not known.
    """
    p = found.probability_before_sun
    if p is None or found.lowest_frac is None:
        return f"Not known yet, because {found.because or 'nothing has been measured'}."
    sun = "" if found.sun_back_in_s is None else f"solar takes over {clock(found.sun_back_in_s, hour)}"
    when = "" if found.reserve_in_s is None or p < EVEN else f", most likely {clock(found.reserve_in_s, hour)}"
    below = found.is_below_mark(charge_frac) and not found.fridge_first
    said = [part for part in ("" if below else f"the risk is {chance(p)}{when}", sun) if part]
    said = [f"{'; '.join(said)}.".capitalize()] if said else []
    lowest = f"Lowest point about {_pct(found.lowest_frac)}"
    if found.lowest_low_frac is not None and found.lowest_high_frac is not None:
        lowest += f", 80 % range {100 * found.lowest_low_frac:.0f} to {_pct(found.lowest_high_frac)}"
    said.append(f"{lowest}.")
    if found.probability_fridge_stops is not None and not found.fridge_first and found.fridge_stops_frac is not None:
        said.append(f"The fridge stops at about {_pct(found.fridge_stops_frac)}; "
                    f"the risk of that is {chance(found.probability_fridge_stops)}.")
    if found.because:
        said.append(f"Take it as rough: {found.because}.")
    return " ".join(said)


def chance(probability: float) -> str:
    """A probability in words a person can weigh; the only way the product says one.

    >>> chance(0.002), chance(0.27), chance(0.998)
    ('less than 1 in 100', '27 in 100', 'more than 99 in 100')
    """
    if probability < 0.01:
        return "less than 1 in 100"
    if probability > 0.99:
        return "more than 99 in 100"
    return f"{100 * probability:.0f} in 100"


def clock(in_s: float, hour: float | None) -> str:
    """A coming moment in steps of ten minutes: by the clock where the local hour now is known, else how far off.

    Within a day the hour says enough; later ones have their day with them.

    >>> clock(6 * 3600, 21.7), clock(6 * 3600, None), clock(1200, None), clock(28 * 3600, 21.7), clock(60 * 3600, 21.7)
    ('about 03:40', 'about 6 h from now', 'within half an hour', 'about 01:40 the day after tomorrow', 'about 09:40 in 3 days')
    """
    if hour is None:
        hours = round(in_s / 3600)
        return f"about {hours} h from now" if hours else "within half an hour"
    days, minutes = divmod(round((hour + in_s / 3600) * 6) * 10, 24 * 60)
    after = (" tomorrow", " the day after tomorrow")
    day = "" if in_s <= 24 * 3600 else after[days - 1] if days <= len(after) else f" in {days} days"
    return f"about {minutes // 60:02d}:{minutes % 60:02d}{day}"


def _pct(frac: float) -> str:
    return f"{100 * frac:.0f} %"
