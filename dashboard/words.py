"""Times, readings and alerts as the pages print them."""
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from monitor.logbook.reader import LoggedItem
from monitor.reporting import alert_view
from monitor.reporting.sentences import number, span

#: quantity -> (what a person calls it, unit, decimals), in the order of the page
QUANTITIES = {
    "house_voltage_v": ("House voltage", "V", 2), "house_current_a": ("House current", "A", 2),
    "house_temperature_c": ("House temperature", "°C", 1), "starter_voltage_v": ("Starter voltage", "V", 2),
    "starter_temperature_c": ("Starter temperature", "°C", 1), "ambient_temperature_c": ("Air temperature", "°C", 1),
    "solar_current_a": ("Solar current", "A", 2), "ignition_on": ("Ignition", "", 0),
}
RANKS = {"high": "Urgent", "medium": "Soon", "low": "When convenient"}


@dataclass(frozen=True, slots=True)
class AlertLine:
    """One alert as a page shows it."""

    id: int
    kind: str
    battery: str
    priority: str
    rank: str
    since: str
    when: str
    lasted: str
    seen: str
    parts: tuple[tuple[str, str], ...]
    state: str
    may_acknowledge: bool
    gone: bool
    evidence: str
    times: str


WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def clock_text(utc_s: float, like: str = "%a %-d %b, %H:%M") -> str:
    """A moment by the board's own time zone.

    Weekday, day, month and minute, in English whatever the board's language.
    """
    t = time.localtime(utc_s)
    day, month = WEEKDAYS[t.tm_wday], MONTHS[t.tm_mon - 1]
    return (like.replace("%a", day).replace("%b", month).replace("%-d", str(t.tm_mday)).replace("%Y", str(t.tm_year))
            .replace("%H", f"{t.tm_hour:02d}").replace("%M", f"{t.tm_min:02d}"))


def local_ms(utc_s: Sequence[float]) -> list[int]:
    """Milliseconds whose UTC reading is the board's local clock: what a date axis without zones wants."""
    if not utc_s:
        return []
    first, last = (time.localtime(t).tm_gmtoff for t in (utc_s[0], utc_s[-1]))
    if first == last and utc_s[-1] - utc_s[0] < 100 * 86400:
        return [round((t + first) * 1000) for t in utc_s]
    return [round((t + time.localtime(t).tm_gmtoff) * 1000) for t in utc_s]


def local_hour(utc_s: float) -> float:
    """The local clock hour, 0 to 24."""
    t = time.localtime(utc_s)
    return t.tm_hour + t.tm_min / 60 + t.tm_sec / 3600


def age_words(age_s: float) -> str:
    """How long ago, for a reading."""
    return "just now" if age_s < 90 else f"{span(age_s)} ago"


def reading(label: str, value: float | None, unit: str, digits: int, note: str = "") -> tuple[str, str, str] | None:
    """A measured value as a row, None when it was not measured.

    label: what it is; value: in SI units; unit: printed behind it; digits: decimals; note: what stands beside it.
    """
    return None if value is None else (label, f"{number(value, digits)} {unit}", note)


def current_words(current_a: float | None) -> tuple[str, str, str] | None:
    """The house current with its direction in words."""
    if current_a is None:
        return None
    way = "charging" if current_a > 0.05 else "discharging" if current_a < -0.05 else ""
    return ("Current", f"{number(abs(current_a), 1)} A {way}".strip(), "")


def alert_line(logged: LoggedItem, at_s: float, when: Callable[[float], str]) -> AlertLine:
    """An alert of the log, ready to print. at_s is now on the log's line, when turns such a time into words.

    logged: the alert and when it was raised; at_s: the log's time [s]; when: turns the log's time into words.
    """
    alert = logged.what
    shelved = alert.shelved_until_s is not None and alert.shelved_until_s > at_s
    state = {
        "active": "", "active acknowledged": f"Seen by {alert.acknowledged_by or 'someone'}; still there.",
        "returned": "", "normal": "",
    }[alert.state]
    if shelved:
        state = f"Reminds you {when(alert.shelved_until_s)}. {state}".strip()
    rank = "Reminder set" if shelved else RANKS[alert.priority]
    began, lasted = clock_text(logged.at_utc_s), ""
    if logged.until_utc_s is not None:
        lasted = f"for {span(logged.until_utc_s - logged.at_utc_s)}"
    since = f"{began}, {lasted}" if lasted else f"since {began}"
    parts = (("What it means", alert.means), ("Check first", alert.look_first), ("Clears", alert_view.clears_words(alert.clears_when)))
    return AlertLine(
        alert.id, alert.kind, alert.battery, alert.priority, rank, since, began, lasted, alert.seen,
        tuple((h, t) for h, t in parts if t), state, alert.state in ("active", "returned"),
        alert.state == "returned", alert.evidence, alert_view.times_words(alert.count))
