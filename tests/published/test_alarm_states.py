"""The life of an alert against what the alarm-management standards say.

IEC 62682:2014 / ANSI/ISA-18.2-2016: states and transitions (from memory); alarm rates, flood and chattering by a
public summary of ISA-18.2-2016, 16.4. IEC 62541-9 (OPC UA part 9, v1.05), annex B.1.5: on-delay, off-delay, deadband.
"""
from dataclasses import replace

import pytest

from monitor.alerts import rules
from monitor.battery.label import Battery, Vehicle
from monitor.detection.house import house_alerts
from monitor.findings import ChargeFindings, Condition, JoinFindings, NotYet
from monitor.sample import Minute

#: (what happens, in order) -> (state, shelved?): on/off is the cause, ack, shelve, end is the shelf's expiry
TRANSITIONS = [
    ("", "normal", False),
    ("on", "active", False),
    ("on ack", "active acknowledged", False),
    ("on off", "returned", False),
    ("on ack off", "normal", False),
    ("on off ack", "normal", False),
    ("on off on", "active", False),
    ("on ack off on", "active acknowledged", False),   # within the hold-off it is the same one going on
    ("on shelve", "active", True),
    ("on shelve off", "returned", True),
    ("on shelve end", "active", False),
    ("on shelve off end", "returned", False),
    ("on ack shelve end", "active acknowledged", False),
]


@pytest.mark.parametrize(("story", "state", "shelved"), TRANSITIONS)
def test_every_transition_of_the_standards_state_diagram(story: str, state: str, shelved: bool) -> None:
    held, cause, at_s = rules.begin(), False, 0.0
    for word in ["", *story.split()]:
        at_s += 60.0
        if word in ("on", "off"):
            cause = word == "on"
        if word == "ack":
            held = rules.acknowledge(held, 1, at_s)
        elif word == "shelve":
            held = rules.shelve(held, 1, at_s + 600, at_s)
        else:
            at_s += 900.0 if word == "end" else 0.0
            held = rules.update(held, (Condition("limit", "house", cause),), at_s)
    alert = held.alerts[0] if held.alerts else None
    assert (alert.state if alert else "normal") == state
    assert (alert is not None and alert.shelved_until_s is not None) == shelved
    assert len(held.alerts) <= 1


def test_an_active_alert_survives_being_shelved_and_no_shelf_is_without_end() -> None:
    held = rules.update(rules.begin(), (Condition("limit", "house", True),), 0.0)
    for until_s in (0.0, -1.0, 8 * 86400.0, float("inf")):
        with pytest.raises(ValueError):
            rules.shelve(held, 1, until_s, 0.0)


@pytest.mark.parametrize(("on_delay_s", "lasts_s", "raised"), [(60, 5, False), (60, 59, False), (60, 61, True), (0, 1, True)])
def test_on_delay_the_cause_must_persist(on_delay_s: float, lasts_s: int, raised: bool) -> None:
    """IEC 62541-9 B.1.5; its example is a motor's inrush. Fleeting alarms (ISA-18.2: active under 10 s) never show."""
    held = rules.begin()
    for k in range(200):
        held = rules.update(held, (Condition("limit", "house", 10 <= k < 10 + lasts_s, on_delay_s=on_delay_s),), float(k))
    assert bool(held.alerts) == raised


def test_off_delay_it_stays_active_through_short_recoveries() -> None:
    """IEC 62541-9 B.1.5."""
    held, said = rules.begin(), []
    for k in range(400):
        held = rules.update(held, (Condition("limit", "house", k < 200 and k % 20 < 10, off_delay_s=60.0),), float(k))
        said += [(change.what, change.at_s) for change in held.news]
    assert [what for what, _ in said] == ["raised", "cleared"] and said[1][1] == 190 + 60


def test_a_value_that_chatters_by_20_mv_about_its_limit_is_one_alert() -> None:
    """ISA-18.2-2016 16.4: chattering is for example more than 5 transitions in 5 minutes."""
    nothing = NotYet("")
    unknown = ChargeFindings(nothing, nothing, nothing, nothing, nothing, nothing)
    vehicle = Vehicle(Battery("house", "agm", 100), Battery("starter", "flooded", 70))
    held, alerts, transitions = house_alerts.begin(), rules.begin(), 0
    for k in range(240):
        minute = Minute(60.0 * k, 60.0 * k + 60, (), house_voltage_v=11.0 + (0.02 if k % 2 else -0.02))
        held = house_alerts.update(held, minute, vehicle, unknown, JoinFindings())
        alerts = rules.update(alerts, house_alerts.conditions(held, vehicle), minute.end_s)
        transitions += len(alerts.news)
    assert transitions == 1 and alerts.alerts[0].state == "active"


def test_forty_broken_sensors_at_once_do_not_flood_a_person() -> None:
    """ISA-18.2-2016 16.4: a flood begins above 10 alarms in 10 minutes and ends below 5."""
    held, sent = rules.begin(), []
    for k in range(0, 3600, 60):
        conditions = tuple(Condition(f"sensor_{n}", "house", k >= 60 * n) for n in range(40))
        held = rules.update(held, conditions, float(k))
        sent += [change.at_s for change in held.news if change.announce and change.what == "raised"]
    assert len(held.alerts) == 40, "none is lost"
    assert max(sum(1 for t in sent if start <= t < start + 600) for start in sent) <= 10


def test_what_a_flood_held_back_is_still_open_and_rising_priority_speaks() -> None:
    held = rules.update(rules.begin(), tuple(Condition(f"c{n}", "house", True, "low") for n in range(20)), 0.0)
    late = replace(Condition("c19", "house", True), priority="high")
    held = rules.update(held, tuple(Condition(f"c{n}", "house", True, "low") for n in range(19)) + (late,), 1200.0)
    assert [(change.what, change.alert.kind, change.announce) for change in held.news] == [("worse", "c19", True)]


def test_what_was_foretold_is_kept_but_not_sent_again_unless_it_is_worse() -> None:
    """ISA-18.2 (from memory): suppressed by design."""
    foretold = Condition("house_reserve_forecast", "house", True, "medium")
    held = rules.update(rules.begin(), (foretold,), 0.0)
    held = rules.update(held, (foretold, Condition("house_low", "house", True, "medium")), 60.0)
    assert [(c.alert.kind, c.announce) for c in held.news] == [("house_low", False)]
    held = rules.update(held, (foretold, Condition("house_low", "house", True, "high")), 120.0)
    assert [(c.what, c.announce) for c in held.news] == [("worse", True)]
