"""Open alerts as they are shown: in the words of now, causes before what follows from them, one line for one cause."""
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, TypeVar

from monitor.alerts.rules import RANK
from monitor.findings import Condition
from monitor.reporting.sentences import capitalise

Shown = TypeVar("Shown", bound=Any)
INSTRUMENTS = ("shunt_reversed", "house_divider_wrong", "starter_divider_wrong", "sensor_lost", "sensors_disagree", "shunt_bypassed",
               "channel_at_limit", "sensor_noisy", "temperature_sensor_loose")
#: What follows -> what it may follow from. Faults of instruments come before everything.
CAUSES: dict[str, tuple[str, ...]] = {
    "starter_drain": ("isolator_stuck_closed",),
    "starter_low": ("alternator_not_charging", "isolator_stuck_closed", "starter_drain", "starter_part_charged"),
    "starter_under_voltage": ("isolator_stuck_closed", "starter_drain", "starter_low"),
    "starter_part_charged": ("alternator_not_charging", "starter_drain", "path_resistance_grown"),
    "starter_freeze_risk": ("starter_drain", "starter_low"),
    "crank_weak": ("starter_low", "starter_part_charged"),
    "start_failed": ("starter_low", "crank_weak"),
    "will_not_start": ("starter_drain", "starter_low", "starter_under_voltage", "start_failed"),
    "isolator_stuck_open": ("isolator_intermittent",),
    "path_resistance_grown": ("isolator_intermittent",),
    "house_never_full": ("alternator_not_charging", "isolator_stuck_open", "isolator_intermittent", "path_resistance_grown"),
    "house_reserve_forecast": ("isolator_stuck_open", "path_resistance_grown", "fridge_working_harder", "battery_worn", "battery_watch"),
    "house_low": ("isolator_stuck_open", "path_resistance_grown", "fridge_working_harder", "house_reserve_forecast"),
    "house_under_voltage": ("house_low",),
    "house_deep_discharge": ("house_low", "house_under_voltage"),
    "house_freeze_risk": ("house_low", "house_deep_discharge"),
    "house_overcharged": ("house_over_voltage",),
    "house_runaway": ("house_over_voltage", "house_overcharged"),
    "copy_failed": ("log_not_writable",),
    "copy_late": ("copy_failed",),
    "maintenance_failed": ("log_not_writable",),
    "log_tail_lost": ("unclean_ends",),
    "log_damaged": ("log_check_failed",),
}


def in_todays_words(alert: Shown, conditions: Sequence[Condition]) -> Shown:
    """The alert with the headline, meaning and evidence of now; one that is over keeps the words it was sent with.

    alert : with state, kind, battery and the texts of a condition
    """
    if alert.state not in ("active", "active acknowledged"):
        return alert
    live = next((c for c in conditions if c.active and (c.kind, c.battery) == (alert.kind, alert.battery) and c.seen), None)
    if live is None:
        return alert
    return replace(alert, seen=live.seen, means=live.means, look_first=live.look_first, clears_when=live.clears_when,
                   evidence=live.evidence, figures=live.figures or alert.figures)


def in_order(alerts: Sequence[Shown]) -> list[Shown]:
    """The most urgent first, but each after the open alerts that may have caused it, and instruments before all.

    >>> from collections import namedtuple
    >>> A = namedtuple("A", "kind priority")
    >>> found = in_order([A("will_not_start", "high"), A("fridge_working_harder", "low"), A("starter_low", "medium")])
    >>> [a.kind for a in found]
    ['starter_low', 'will_not_start', 'fridge_working_harder']
    """
    waiting = sorted(alerts, key=lambda a: (a.kind not in INSTRUMENTS, -RANK[a.priority]))
    by_kind: dict[str, list[Shown]] = {}
    for alert in waiting:
        by_kind.setdefault(alert.kind, []).append(alert)
    placed: list[Shown] = []

    def place(alert: Shown, above: tuple[str, ...]) -> None:
        for cause in CAUSES.get(alert.kind, ()):
            for one in by_kind.get(cause, ()):
                if one not in placed and cause not in above:
                    place(one, (*above, alert.kind))
        if alert not in placed:
            placed.append(alert)

    for alert in waiting:
        place(alert, ())
    return placed


def clears_words(clears_when: str) -> str:
    """What would make it go away, without "It clears", for a line that is headed by it.

    >>> clears_words("It clears when the voltage has come down.")
    'When the voltage has come down.'
    """
    return capitalise(clears_when.removeprefix("It clears "))


def times_words(count: int) -> str:
    """How often a cause has come, in words; nothing the first time.

    >>> times_words(1), times_words(2), times_words(5)
    ('', 'second time', '5 times')
    """
    return "" if count < 2 else "second time" if count == 2 else f"{count} times"
