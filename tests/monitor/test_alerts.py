"""The life of an alert, by the states and the delay words of the alarm standards."""
import pytest

from monitor.alerts import rules
from monitor.findings import Condition
from monitor.store.saving import from_text, to_text


def _c(active: bool, kind: str = "house_low", priority: str = "medium", on: float = 0.0, off: float = 0.0) -> Condition:
    return Condition(kind, "house", active, priority, "seen", "means", "look", "clears", on, off, (("charge_frac", 0.4),))


def _walk(states: list[bool], step_s: float = 60.0, **how) -> tuple[rules.AlertsState, list[str]]:
    held, said = rules.begin(), []
    for k, active in enumerate(states):
        held = rules.update(held, (_c(active, **how),), k * step_s)
        said += [change.what for change in held.news]
    return held, said


def test_an_alert_goes_from_normal_to_active_to_returned_to_normal() -> None:
    """IEC 62682 / ISA-18.2 (from memory): normal, unacknowledged active, returned unacknowledged, normal."""
    held, said = _walk([False, True, True, False])
    assert said == ["raised", "cleared"]
    assert held.alerts[0].state == "returned" and held.alerts[0].open
    held = rules.acknowledge(held, 1, 300)
    assert held.alerts[0].state == "normal" and not held.alerts[0].open


def test_an_acknowledged_alert_returns_straight_to_normal() -> None:
    held, _ = _walk([True])
    held = rules.acknowledge(held, 1, 30)
    assert held.alerts[0].state == "active acknowledged"
    held = rules.update(held, (_c(False),), 60)
    assert held.alerts[0].state == "normal"


def test_an_on_delay_lets_a_motors_inrush_pass() -> None:
    """IEC 62541-9, annex B: on-delay; the standard's own example is a motor's inrush."""
    _, said = _walk([True, True, False, False, True, False], step_s=1, on=60)
    assert said == []


def test_an_on_delay_raises_what_stays() -> None:
    held, said = _walk([True] * 100, step_s=1, on=60)
    assert said == ["raised"] and held.alerts[0].raised_at_s == 60


def test_an_off_delay_keeps_it_active_through_short_recoveries() -> None:
    held, said = _walk([True, False, True, False, False], step_s=30, off=120)
    assert said == ["raised"] and held.alerts[0].state == "active"


def test_noise_on_the_threshold_gives_one_alert() -> None:
    """ISA-18.2 chattering: a value that crosses its limit every second for ten minutes."""
    held, said = _walk([k % 2 == 0 for k in range(600)], step_s=1)
    assert sum(1 for a in held.alerts) == 1
    announced = [1 for what in said if what == "raised"]
    assert len(held.alerts) == 1 and announced  # the later returns are not announced:
    held, told = rules.begin(), 0
    for k in range(600):
        held = rules.update(held, (_c(k % 2 == 0),), float(k))
        told += sum(c.announce for c in held.news if c.what == "raised")
    assert told == 1


def test_a_flood_is_kept_but_not_announced() -> None:
    """ISA-18.2-2016 16.4 (public summary): a flood is more than ten alarms in ten minutes."""
    conditions = tuple(_c(True, kind=f"sensor_lost_{k}") for k in range(40))
    held = rules.update(rules.begin(), conditions, 0.0)
    assert len(held.alerts) == 40
    assert sum(change.announce for change in held.news) <= 10


def test_a_shelved_alert_is_quiet_and_comes_back_at_its_end() -> None:
    held, _ = _walk([True])
    held = rules.shelve(held, 1, until_s=3600, at_s=60)
    for at_s in range(120, 3600, 60):
        held = rules.update(held, (_c(True),), float(at_s))
        assert not any(change.announce for change in held.news)
    held = rules.update(held, (_c(True),), 3600.0)
    assert [(c.what, c.announce) for c in held.news] == [("unshelved", True)]


@pytest.mark.parametrize("until_s", [0.0, 60.0, 60 + 8 * 86400.0])
def test_every_shelf_has_an_end_within_a_week(until_s: float) -> None:
    held, _ = _walk([True])
    with pytest.raises(ValueError, match="seven days"):
        rules.shelve(held, 1, until_s, at_s=60)


def test_getting_worse_asks_anew() -> None:
    held, _ = _walk([True], priority="low")
    held = rules.acknowledge(held, 1, 10)
    held = rules.update(held, (_c(True, priority="high"),), 60.0)
    assert [c.what for c in held.news] == ["worse"]
    assert held.alerts[0].state == "active" and held.alerts[0].priority == "high"


def test_a_condition_nobody_speaks_of_any_more_is_over() -> None:
    held, _ = _walk([True])
    held = rules.update(held, (), 60.0)
    assert held.alerts[0].state == "returned"


def test_acknowledging_what_is_not_open_says_so() -> None:
    with pytest.raises(KeyError, match="no open alert number 7"):
        rules.acknowledge(rules.begin(), 7, 0.0)


def test_alerts_survive_a_restart_exactly() -> None:
    held, _ = _walk([True, True, False, True], on=0)
    held = rules.shelve(held, 1, 7200, 300)
    assert from_text(rules.AlertsState, to_text(held)) == held


def test_closed_alerts_are_let_go_and_open_ones_never() -> None:
    held = rules.begin()
    for k in range(60):
        held = rules.update(held, (_c(True, kind=f"k{k}"),), k * 10000.0)
        if k > 2:
            held = rules.acknowledge(held, k + 1, k * 10000.0 + 1)
    open_ones = [a.kind for a in held.alerts if a.open]
    assert {"k0", "k1", "k2", "k59"} <= set(open_ones)
    assert len(held.alerts) <= 25
