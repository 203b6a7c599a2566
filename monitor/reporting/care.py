"""When the house battery was last full, hot, balanced or equalised, out of the hours of the log."""
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from monitor.battery.label import Battery
from monitor.battery.limits import limits_of
from monitor.parameters import table
from monitor.reporting.sentences import number, span

P = table("reporting", "care")
BALANCE_V, EQUALISE_LESS_V = P.number("balance_v"), P.number("equalise_less_v")
BREAK_S, BALANCING_S = 3600.0 * P.number("break_h"), 3600.0 * P.number("balancing_h")


@dataclass(frozen=True, slots=True)
class CareHour:
    """One hour of the house battery; None where it was not measured."""

    start_utc_s: float
    end_utc_s: float
    voltage_v: float | None
    temperature_c: float | None


def list_care(battery: Battery, hours: Sequence[CareHour], full_utc_s: float | None, now_utc_s: float,
              when: Callable[[float], str]) -> list[tuple[str, str, str]]:
    """Rows of (label, value, note).

    Parameters
    ----------
    battery : its label
    hours : of the log, oldest first
    full_utc_s : the latest full charge, None where the log has none
    now_utc_s : the latest minute
    when : a moment in words
    """
    rows = [_last("Last full", full_utc_s, now_utc_s, when)]
    spell = _hot_spell(hours, limits_of(battery.chemistry).hot_c)
    limit = f"above {number(limits_of(battery.chemistry).hot_c)} °C"
    if not any(h.temperature_c is not None for h in hours):
        rows.append(("Too hot", "not known", "there is no thermometer on the battery"))
    elif spell is None:
        rows.append(("Too hot", "never in this log", limit))
    elif now_utc_s - spell[1] <= BREAK_S:
        rows.append(("Hot since", when(spell[0]), f"{limit}; hottest hour {number(spell[2])} °C"))
    else:
        rows.append(("Last too hot", when(spell[0]), f"for {span(spell[1] - spell[0])}; {limit}, hottest hour {number(spell[2])} °C"))
    if battery.chemistry == "lfp":
        # a protection that holds the charger off shows the charger's voltage, too
        charged = [] if full_utc_s is None else [h for h in hours if h.start_utc_s <= full_utc_s + BALANCING_S]
        rows.append(_last("Cells last balanced", _latest(charged, BALANCE_V), now_utc_s, when))
    elif battery.chemistry == "flooded":
        least_v = limits_of(battery.chemistry).over_voltage_v if battery.equalise_v is None else battery.equalise_v - EQUALISE_LESS_V
        rows.append(_last("Last equalised", _latest(hours, least_v), now_utc_s, when))
    return rows


def _last(label: str, at_utc_s: float | None, now_utc_s: float, when: Callable[[float], str]) -> tuple[str, str, str]:
    if at_utc_s is None:
        return (label, "not in this log", "")
    return (label, when(at_utc_s), f"{span(now_utc_s - at_utc_s)} ago" if now_utc_s - at_utc_s > 60 else "")


def _latest(hours: Sequence[CareHour], least_v: float) -> float | None:
    return next((h.end_utc_s for h in reversed(hours) if h.voltage_v is not None and h.voltage_v >= least_v), None)


def _hot_spell(hours: Sequence[CareHour], hot_c: float) -> tuple[float, float, float] | None:
    """Begin, end and hottest hour [°C] of the latest spell above the limit."""
    begin: float | None = None
    end = most = 0.0
    for hour in reversed(hours):
        if hour.temperature_c is None or hour.temperature_c <= hot_c:
            continue
        if begin is not None and begin - hour.end_utc_s > BREAK_S:
            break
        if begin is None:
            end = hour.end_utc_s
        begin, most = hour.start_utc_s, max(most, hour.temperature_c)
    return None if begin is None else (begin, end, most)
