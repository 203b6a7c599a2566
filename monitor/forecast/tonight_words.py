"""The one plain sentence on tonight: the page, the message and the terminal all say it."""
from monitor.findings import ForecastFindings


def sentence(found: ForecastFindings, reserve_frac: float, charge_frac: float, hour: float | None) -> str:
    """What tonight comes to, with times on the clock where one is trusted, else in hours from now.

    found: what was found; reserve_frac: charge the owner wants to keep, 0 to 1; charge_frac: charge left, 0 to 1; hour:
    local clock hour, None: not known.
    """
    p = found.probability_before_sun
    if p is None or found.lowest_frac is None:
        return f"Tonight cannot be foreseen yet: {found.because or 'nothing has been measured'}."
    rough = f" ({found.because})" if found.because else ""
    lowest = f"lowest about {_pct(found.lowest_frac)}"
    if found.lowest_low_frac is not None and found.lowest_high_frac is not None:
        lowest += f" ({_pct(found.lowest_low_frac)} to {_pct(found.lowest_high_frac)})"
    carries = "" if found.sun_back_in_s is None else f"the sun carries the load again {_when(found.sun_back_in_s, hour)}"
    sun = carries and f" until {carries}"
    reserve = f"the reserve of {_pct(reserve_frac)}"
    if charge_frac < reserve_frac:
        again = carries and f"; {carries}"
        return f"The charge is below {reserve} already{again}: {lowest}{rough}."
    if p < 0.1:
        return f"The charge lasts{sun}: {lowest}{rough}."
    if p < 0.3:
        return f"The charge should last{sun}: {lowest}; {_chance(p)} that {reserve} is reached before{rough}."
    when = ""
    if found.reserve_in_s is not None:
        when = f", most likely {_when(found.reserve_in_s, hour)}"
        if found.reserve_in_low_s is not None and found.reserve_in_high_s is not None:
            first, last = (_when(t, hour, bare=True) for t in (found.reserve_in_low_s, found.reserve_in_high_s))
            when += f" ({first} to {last})"
    if p < 0.5:
        return f"The charge may not last{sun}: {_chance(p)} that {reserve} is reached before{when}{rough}."
    return f"The charge will probably not last{sun}: {_chance(p)} that {reserve} is reached before{when}{rough}."


def _pct(frac: float) -> str:
    return f"{100 * frac:.0f} %"


def _chance(p: float) -> str:
    tenths = min(max(round(10 * p), 1), 9)
    return f"{tenths} chance{'s' if tenths > 1 else ''} in 10"


def _when(in_s: float, hour: float | None, bare: bool = False) -> str:
    hours = in_s / 3600
    if hour is None or hours > 24:
        said = f"{hours:.0f} h"
        return said if bare else f"in about {said}"
    minutes = int(round((hour + hours) % 24 * 6)) * 10
    said = f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
    return said if bare else f"about {said}"
