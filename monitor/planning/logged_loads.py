"""What the own log says of the loads: an ordinary day by its hours, and how much of it follows the heat."""
from collections.abc import Sequence

from monitor.parameters import table
from monitor.planning.load_catalogue import LOAD_V, Load
from monitor.planning.load_profile import SLOT_H, LoggedSlot, split_days, usual_a

P = table("planning", "logged_loads")
LEAST_DAYS, KNOWN_FRAC = P.count("least_days"), P.number("known_frac")
PER_K, PER_K_SIGMA = P.number("fridge_per_k"), P.sigma("fridge_per_k")
SHARE, SHARE_SIGMA = P.number("fridge_share"), P.sigma("fridge_share")
DAY_SIGMA_LN = P.number("day_sigma_ln")


def read_loads(rows: Sequence[LoggedSlot]) -> list[Load]:
    """The loads of a log: what follows the heat as a fridge, and the rest by the hours of the day.

    How steeply use rises with warmth is what the log's days say, drawn towards the published rise of a usual fridge where they say
    little (a few degrees between its days, or few days).
    rows: quarter hours of the log.

    Raises
    ------
    ValueError : too few days whose use is known
    """
    days = _days(rows)
    if len(days) < LEAST_DAYS:
        raise ValueError(f"the log holds {len(days)} days whose use is known: it takes {LEAST_DAYS} to plan from it; name loads instead")
    n = len(days)
    mean_wh, mean_c = sum(wh for wh, _ in days) / n, sum(c for _, c in days) / n
    xx = sum((c - mean_c) ** 2 for _, c in days)
    xy = sum((c - mean_c) * (wh - mean_wh) for wh, c in days)
    usual, usual_sigma = SHARE * PER_K * mean_wh, (SHARE_SIGMA / SHARE + PER_K_SIGMA / PER_K) * SHARE * PER_K * mean_wh
    slope = xy / xx if xx else 0.0
    left = sum((wh - mean_wh - slope * (c - mean_c)) ** 2 for wh, c in days) / max(n - 2, 1)
    precision = xx / left if left and xx else 0.0
    slope = (slope * precision + usual / usual_sigma**2) / (precision + 1 / usual_sigma**2)
    hours = _hours(list(rows))
    steady = min(hours) * 24
    fridge = min(max(slope, 0.0) / PER_K, steady, mean_wh)
    cooled = [max(watts - fridge / 24, 0.0) for watts in hours]
    scale = (mean_wh - fridge) / sum(cooled) if sum(cooled) else 0.0
    sigma, source = DAY_SIGMA_LN / n**0.5, f"{n} days of the log"
    rest = Load("as the log shows", sigma_ln=sigma, source=source, hourly_w=tuple(w * scale for w in cooled))
    cold = Load("fridge, as the log shows", sigma_ln=sigma, source=source, wh_per_day=fridge, at_c=mean_c, slope_wh_per_k=max(slope, 0.0))
    return [cold, rest]


def _days(rows: Sequence[LoggedSlot]) -> list[tuple[float, float]]:
    """(use [Wh], mean temperature [°C]) of every day of which enough is known."""
    found = []
    for day in split_days(rows):
        known = [r for r in day if r.load_a is not None and r.temperature_c is not None and not r.cut]
        if len(known) * SLOT_H >= KNOWN_FRAC * 24:
            use = sum(r.load_a or 0.0 for r in known) / len(known) * 24 * LOAD_V
            found.append((use, sum(r.temperature_c or 0.0 for r in known) / len(known)))
    return found


def _hours(rows: list[LoggedSlot]) -> list[float]:
    """Mean power by hour of the day [W]."""
    quarters = usual_a(rows)
    return [LOAD_V * sum(quarters[4 * h:4 * h + 4]) / 4 for h in range(24)]
