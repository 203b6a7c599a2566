"""Every alert about starter, isolator and path says what was seen, what it means, where to look, how it goes away."""
import pytest

from monitor.battery.label import Battery, Vehicle
from monitor.detection.join import join_alerts, path_resistance
from monitor.detection.join.isolator_evidence import IsolatorEvidence
from monitor.detection.join.join_record import JoinRecord
from monitor.detection.join.uncharged_run import UnchargedRun
from monitor.detection.starter import crank, starter_alerts
from monitor.detection.starter.drain_verdict import Drain
from monitor.detection.starter.starter_alerts import LevelAlert
from tests.alert_words import assert_plain

VEHICLE = Vehicle(Battery("house", "agm", 100), Battery("starter", "flooded", 70))
DC_DC = Vehicle(VEHICLE.house, VEHICLE.starter, charging="dc_dc")
DRAIN = Drain("slow", 7200.0, 0.0, 0.2, 0.1, 0.4, 0.06)
WEAK = crank.CrankVerdict("weak", "lowest 8.9 V", 12.6, 8.9, 9.8, 1.2, None, 0.28, True, 1.4)
FAILED = crank.CrankVerdict("failed", "lowest 8.1 V; the engine did not take over", 12.4, 8.1, 9.0, 4.0, None, 0.4,
                            False, 2.0)
EDGES = tuple((float(k), 30.0, 0.45) for k in range(10))
GROWN = tuple((100.0 + k, 30.0, 1.2) for k in range(6))


def starter_condition(kind, *, found=None, level=LevelAlert(), starts=crank.CrankState(), rest_v=12.7, temperature_c=15.0,
                      uncharged_s=0.0):
    return next(c for c in starter_alerts.conditions(
        VEHICLE, level, found, 86400.0 if found else None, starts, rest_v=rest_v, temperature_c=temperature_c,
        house_v=12.6, uncharged_s=uncharged_s, at_s=1e6) if c.kind == kind)


STARTER = {
    "starter_drain": dict(found=DRAIN),
    "starter_low": dict(level=LevelAlert(low=True), rest_v=12.0),
    "starter_freeze_risk": dict(level=LevelAlert(low=True, flat=True), rest_v=11.7, temperature_c=-14.0),
    "starter_part_charged": dict(uncharged_s=20 * 86400.0),
    "crank_weak": dict(starts=crank.CrankState(count=1, last=WEAK)),
    "start_failed": dict(starts=crank.CrankState(count=1, last=FAILED)),
    "starter_over_voltage": dict(level=LevelAlert(over_s=120.0, volts=15.6)),
    "starter_under_voltage": dict(level=LevelAlert(under_s=600.0, volts=11.2)),
    "will_not_start": dict(level=LevelAlert(low=True, flat=True), rest_v=11.6),
}
JOIN = {
    "isolator_stuck_closed": (JoinRecord(stuck=True, joined_s=7200.0), IsolatorEvidence(steps=6, step_xy=0.01, step_xx=0.03), VEHICLE),
    "isolator_stuck_open": (JoinRecord(runs_missed=2, starter_v=14.2, house_v=12.4), IsolatorEvidence(), VEHICLE),
    "isolator_intermittent": (JoinRecord(openings=(1.0, 2.0, 3.0), follows=3), IsolatorEvidence(), VEHICLE),
    "path_resistance_grown": (JoinRecord(), IsolatorEvidence(), VEHICLE),
    "alternator_not_charging": (JoinRecord(), IsolatorEvidence(), VEHICLE),
}
CHARGED, DEAD = UnchargedRun(), UnchargedRun(began="run", now_v=12.1, loaded_s=1500.0, goes_on=True, found=True)


def four(condition) -> tuple[str, ...]:
    return condition.seen, condition.means, condition.look_first, condition.clears_when


@pytest.mark.parametrize("kind", STARTER)
def test_every_starter_alert_says_all_four_things(kind: str) -> None:
    condition = starter_condition(kind, **STARTER[kind])
    assert condition.active
    assert all(len(text) > 20 and text.endswith(".") for text in four(condition))
    assert any(letter.isdigit() for letter in condition.seen + condition.evidence), "a figure belongs to what was seen"
    assert_plain(condition)


@pytest.mark.parametrize("kind", JOIN)
def test_every_alert_of_the_join_says_all_four_things(kind: str) -> None:
    record, touching, vehicle = JOIN[kind]
    path = path_resistance.PathResistance(EDGES, GROWN, 16, 60.0) if kind == "path_resistance_grown" else path_resistance.PathResistance()
    condition = next(c for c in join_alerts.conditions(
        record, touching, path, vehicle, DEAD if kind == "alternator_not_charging" else CHARGED) if c.kind == kind)
    assert condition.active
    assert all(len(text) > 20 and text.endswith(".") for text in four(condition))
    assert any(letter.isdigit() for letter in condition.seen + condition.evidence)
    assert_plain(condition)


def test_no_kind_was_left_out() -> None:
    assert set(STARTER) == set(starter_alerts.TEXTS)
    assert set(JOIN) == set(join_alerts.TEXTS)


def test_a_sudden_fault_says_all_four_things_too() -> None:
    condition = starter_condition("starter_drain", found=Drain("sudden", 60.0, 0.0, 0.0, 0.0, 0.0, 1.9))
    assert condition.active and all(len(text) > 20 for text in four(condition))


def test_what_may_be_a_charger_that_pauses_is_not_called_intermittent() -> None:
    """Before it is known what sits between the batteries."""
    record = JoinRecord(openings=(1.0, 2.0, 3.0))
    assert not any(c.active for c in join_alerts.conditions(
        record, IsolatorEvidence(), path_resistance.PathResistance(), VEHICLE, CHARGED))


def test_a_charger_is_not_called_an_isolator() -> None:
    record, touching, _ = JOIN["isolator_stuck_open"]
    condition = next(c for c in join_alerts.conditions(
        record, touching, path_resistance.PathResistance(), DC_DC, CHARGED) if c.active)
    assert "DC-DC charger" in condition.means and "isolator" not in " ".join(four(condition)[1:])
