"""Every alert of the docs in a state that raises it, read as it is shown and as it is sent: a kind without such a state fails."""
import re
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from monitor.alerts import channels, rules
from monitor.alerts.delivery import Deliverer
from monitor.alerts.heartbeat import MISSED_COUNT, Heartbeat
from monitor.battery.label import Battery, Vehicle
from monitor.clocks.clock import Timeline
from monitor.detection.house import house_alerts, limit_texts, protection
from monitor.detection.house.deep_discharge import Deep
from monitor.detection.house.frost import Acid
from monitor.detection.house.heat import Heat, Runaway
from monitor.detection.join import join_alerts, path_resistance
from monitor.detection.wiring import plausibility_alerts
from monitor.detection.wiring.bypass import Bypass
from monitor.detection.wiring.channel_state import Limit, Noise
from monitor.detection.wiring.plausibility_state import PlausibilityState
from monitor.detection.wiring.sunny_sensor import TemperatureSwings
from monitor.estimation import charge_alerts
from monitor.estimation.charge_suspicion import Suspicion
from monitor.estimation.swap_evidence import SwapEvidence
from monitor.findings import ChargeFindings, Condition, EvidenceLine, NotYet
from monitor.fleet.publish_thread import PublishThread
from monitor.process.capacity_watch import CapacityWatch
from monitor.process.daemon import Daemon
from monitor.process.dating import Dating
from monitor.sampling import sensor_alerts
from monitor.store import saving, time_labels
from monitor.store.self_watch import CHECK, COPY, CUTS_COUNT, DAY_S, THINNING, SelfWatch
from monitor.store.writer import Writer
from monitor.usage import fridge_effort
from monitor.usage.fridge_effort import Effort
from monitor.wear import health
from monitor.wear.capacity_test import CapacityTestRun
from monitor.wear.verdict import NOTHING_YET, Verdict
from monitor.wear.watched_test import WatchedTest
from tests.alert_words import MOST_WORDS, RELATIVE, assert_plain
from tests.golden.test_alert_words import ALERTS
from tests.monitor.test_starter_texts import CHARGED, DEAD, EDGES, GROWN, JOIN, STARTER, starter_condition

DOCS = Path(__file__).parents[2] / "docs"
AGM, LITHIUM = Battery("house", "agm", 100.0), Battery("house", "lfp", 100.0)
STARTER_BATTERY = Battery("starter", "flooded", 70.0)
VEHICLE, WITH_LITHIUM = Vehicle(AGM, STARTER_BATTERY), Vehicle(LITHIUM, STARTER_BATTERY)
NOTHING = ChargeFindings(NotYet("-"), NotYet("-"), *(NotYet("-"),) * 4)


def pick(kind: str, *found: tuple[Condition, ...]) -> Condition:
    """The active one of a kind."""
    return next(c for conditions in found for c in conditions if c.kind == kind and c.active)


def house(kind: str, **state: Any) -> Condition:
    return pick(kind, house_alerts.conditions(house_alerts.HouseAlertsState(**state), VEHICLE))


def wiring(kind: str, **state: Any) -> Condition:
    return pick(kind, plausibility_alerts.conditions(PlausibilityState(**state), VEHICLE, NOTHING, False))


def charge(kind: str, doubt: str = "", **suspicion: Any) -> Condition:
    return pick(kind, charge_alerts.suspicions(Suspicion(**suspicion), doubt))


def judged(kind: str, word: str, weight: str) -> Condition:
    line = EvidenceLine(weight, "usable charge is 52 to 66 % of rated capacity", "a longer charge first")  # type: ignore[arg-type]
    return pick(kind, health.conditions(health.HealthState(judged=Verdict(
        word, (line,), NOTHING_YET.capacity_frac, NOTHING_YET.resistance_growth_ratio))))  # type: ignore[arg-type]


def joined(kind: str) -> Condition:
    record, touching, vehicle = JOIN[kind]
    path = path_resistance.PathResistance(EDGES, GROWN, 16, 60.0) if kind == "path_resistance_grown" else path_resistance.PathResistance()
    return pick(kind, join_alerts.conditions(record, touching, path, vehicle, DEAD if kind == "alternator_not_charging" else CHARGED))


def self_watch(kind: str) -> Condition:
    watch = SelfWatch(None)
    for name in (CHECK, THINNING) if kind != "copy_failed" else (COPY,):
        watch.note_job(name, 0.0, "the card did not answer")
    for k in range(CUTS_COUNT):
        watch.note_cut(DAY_S * 5 - k)
    watch.note_lost(DAY_S * 5, 240.0)
    if kind == "copy_late":
        watch.note_job(COPY, 0.0)
    return pick(kind, watch.conditions(DAY_S * 5, copies=True))


def dating(kind: str) -> Condition:
    doubted = time_labels.Testimony(0.0, "boot", 4e9, 1.0, "clock chip") if kind == "clock_doubtful" else None
    line = Timeline(0.0, (time_labels.TimeLabel(0.0, "boot", 1.8e9, 86400.0, False, "-"),), doubted=doubted)
    return pick(kind, Dating.conditions(SimpleNamespace(_begins_utc_s=None, line=line), 100.0))  # type: ignore[arg-type]


def capacity_test() -> Condition:
    test = WatchedTest("somebody", 0.0, 10.5, None, CapacityTestRun("ended"), over="it reached 10.5 V", over_s=60.0,
                       found="87 Ah (84 to 90)")
    return CapacityWatch(saving.to_text(test)).conditions(120.0)[0]


#: Kind -> a state of the real trackers, or of a part of the daemon, that raises it.
RAISED: dict[str, Callable[[], Condition]] = {
    "house_low": lambda: house("house_low", low=True, charge_frac=0.42, voltage_v=12.1),
    "house_under_voltage": lambda: house("house_under_voltage", under=True, voltage_v=10.7),
    "house_over_voltage": lambda: house("house_over_voltage", over=True, voltage_v=15.9, blind=True),
    "house_overcharged": lambda: limit_texts.overcharge(7.0, 14.1, 14.6, AGM, True),
    "house_too_hot": lambda: limit_texts.too_hot(Heat(hours=3.0, most_c=52.0, level="high"), 51.0, LITHIUM),
    "house_runaway": lambda: limit_texts.runaway(Runaway(then_a=2.0, now_a=6.0, now_v=14.4), 48.0),
    "house_deep_discharge": lambda: limit_texts.deep(Deep(lowest_v=9.8, since_s=0.0), AGM),
    "house_freeze_risk": lambda: limit_texts.frost(Acid(density_kg_l=1.08), -6.0, -12.0, False),
    "house_never_full": lambda: limit_texts.never_full(20 * 86400.0, (90.0, 30.0, 4.0), AGM),
    "cold_charging": lambda: limit_texts.cold_charging(8.0, -4.0, False, None, None, 9.0, LITHIUM),
    "protection_tripped": lambda: protection.condition(protection.Protection("discharge", before_v=12.9, before_a=-4.0), WITH_LITHIUM),
    "shunt_reversed": lambda: charge("shunt_reversed", backwards=9.0),
    "battery_swapped": lambda: charge("battery_swapped", swap=SwapEvidence(found=True, found_ratio=0.6)),
    "battery_type_doubtful": lambda: charge("battery_type_doubtful", "holds 13.2 V at rest, as lithium does"),
    "shunt_bypassed": lambda: wiring("shunt_bypassed", bypass=Bypass(idle_a=1.4, idle_times=9, idle_at_s=1e6), at_s=1e6),
    "house_divider_wrong": lambda: plausibility_alerts._divider("house", 1.25),
    "starter_divider_wrong": lambda: plausibility_alerts._divider("starter", 0.8),
    "channel_at_limit": lambda: wiring("channel_at_limit", limit_a=Limit(stuck_s=1e6, stuck_at_s=0.0, stuck_value=50.0)),
    "sensor_noisy": lambda: wiring("sensor_noisy", noise_a=Noise(usual=0.02, grown_h=12, now=0.4)),
    "temperature_sensor_loose": lambda: wiring("temperature_sensor_loose", swings=TemperatureSwings(at_s=(0.0,) * 9, sunny=9, most_k=14.0)),
    "battery_worn": lambda: judged("battery_worn", "replace", "decisive"),
    "battery_watch": lambda: judged("battery_watch", "watch", "strong"),
    "fridge_working_harder": lambda: fridge_effort.conditions(Effort(0.3, 22.0, 20, 0.48, 0.31, 9))[0],
    "sensor_lost": lambda: pick("sensor_lost", sensor_alerts.conditions({"house_current_a": ("it does not answer", 600.0)}, {})),
    "sensors_disagree": lambda: pick("sensors_disagree", sensor_alerts.conditions({}, {"house_voltage_v": "12.7 V and 13.9 V"})),
    "log_not_writable": lambda: Writer.condition(  # type: ignore[arg-type]
        SimpleNamespace(_status=SimpleNamespace(writing=False, why="the card is full"))),
    "log_damaged": lambda: Writer.damage_condition(  # type: ignore[arg-type]
        SimpleNamespace(_damage=(0.0, "Missing: Tue 2 Jun, 10:00 to 11:00.")), 60.0),
    "trackers_failed": lambda: Daemon._own(SimpleNamespace(_broken="division by zero")),  # type: ignore[arg-type]
    "clock_doubtful": lambda: dating("clock_doubtful"), "clock_unconfirmed": lambda: dating("clock_unconfirmed"),
    "capacity_test_over": capacity_test,
    "heartbeat_failed": lambda: Heartbeat.condition(SimpleNamespace(  # type: ignore[arg-type]
        _missed={"topic": (MISSED_COUNT, "no route to the broker")})),
    "publish_refused": lambda: PublishThread.condition(  # type: ignore[arg-type]
        SimpleNamespace(_refused="The collector does not know this board's key.")),
    "not_delivered": lambda: Deliverer.condition(SimpleNamespace(  # type: ignore[arg-type]
        waiting=lambda: [SimpleNamespace(since_s=0.0, given_up=True, channel="topic", why="no route to the broker")], _now=lambda: 9e4)),
    **{kind: lambda kind=kind: self_watch(kind) for kind in (  # type: ignore[misc]
        "log_check_failed", "copy_failed", "copy_late", "maintenance_failed", "log_tail_lost", "unclean_ends")},
    **{kind: lambda kind=kind: starter_condition(kind, **STARTER[kind]) for kind in STARTER},  # type: ignore[misc]
    **{kind: lambda kind=kind: joined(kind) for kind in JOIN},  # type: ignore[misc]
}
#: On record in the golden replays; a message of the collector and the test message are no conditions of a vehicle.
ON_RECORD = {alert.kind: alert for _, alert in ALERTS}
NO_CONDITION = {"fleet_digest", "test"}


def documented() -> set[str]:
    """Every kind in the tables of docs/alerts.md."""
    rows = [line.split("|")[1] for line in (DOCS / "alerts.md").read_text().splitlines() if line.startswith("| `")]
    return {kind for row in rows for kind in re.findall(r"`([a-z_]+)`", row)}


def test_every_kind_of_the_docs_is_raised_here() -> None:
    assert documented() - NO_CONDITION == set(RAISED) | (set(ON_RECORD) & documented())


@pytest.mark.parametrize("kind", sorted(RAISED))
def test_an_alert_is_shown_and_sent_in_words_that_say_enough_by_themselves(kind: str) -> None:
    condition = RAISED[kind]()
    assert condition.active and condition.kind == kind
    assert_plain(condition)
    raised = rules.update(rules.begin(), (condition,), 0.0)
    later = rules.update(raised, (condition,), condition.on_delay_s + 60.0)
    (change,) = (*raised.news, *later.news)
    title, body = channels.title(change), channels.text(change)
    assert title == condition.seen and len(title.split()) <= MOST_WORDS and title[-1] in ".!?"
    for line in body.splitlines():
        assert line[0].isupper() or line[0] in "`−0123456789", line
        assert line.endswith((".", "?")), line
    assert not RELATIVE.search(title) and "…" not in title + body
    assert condition.look_first in body and condition.means in body


@pytest.mark.parametrize("kind", sorted(RAISED))
def test_the_figures_of_a_headline_are_those_that_go_with_it(kind: str) -> None:
    """A program that gets the alert as data reads the same figure as the person; the second figure may be a setting or a limit."""
    condition = RAISED[kind]()
    said = re.findall(r"−?\d+(?:\.\d+)?", condition.seen)
    if not said or not condition.figures:
        return
    given = [value for _, value in condition.figures]
    shown = {f"{value * scale:.{digits}f}".replace("-", "−") for value in given for scale in (1, 100, 1000) for digits in (0, 1, 2)}
    shown |= {f"{value:.3g}" for value in given} | {f"{1 / value:.3g}" for value in given if value}
    assert said[0] in shown, (condition.seen, condition.figures)
