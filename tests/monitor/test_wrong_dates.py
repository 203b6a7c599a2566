"""Wrong dates: every combination of right and wrong witnesses; nothing learnt or logged is lost, the right time mends the wrong one."""
import shutil
import time
from itertools import product
from pathlib import Path

import pytest

from monitor.clocks import clock as clocks
from monitor.clocks import testimony
from monitor.clocks.clock import Trust, Witness
from monitor.logbook.reader import Reader
from monitor.store import requests, thinning
from monitor.store.open_log import OpenLog
from monitor.store.time_labels import Testimony as Word
from monitor.store.time_labels import TimeLabel
from tests.hand_clock import NETWORK, NOBODY, HandClock
from tests.vehicle_by_hand import daemon, live

DAY_S, YEAR_S = 86400.0, 365.25 * 86400.0
BEGINS_UTC_S = 1790000000.0  # September 2026
#: how far a wrong clock is off [s]; None: it shows 1970
ERRORS = {"1970": None, "+1 h": 3600.0, "+500 days": 500 * DAY_S, "+50 years": 50 * YEAR_S, "-1 day": -DAY_S, "2125": 98.3 * YEAR_S}
HISTORY_BOOTS, HISTORY_S = 6, 130


def boot(database: Path, clock: HandClock, seconds: float) -> list:
    """A daemon that lives for so long and ends; returns the alert changes it told."""
    life = daemon(database, clock=clock)
    live(life, seconds)
    life.daemon.close()
    return life.told


@pytest.fixture(scope="module")
def history(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """Six boots, dated rightly by the network; and when the last one ended."""
    database, clock = tmp_path_factory.mktemp("history") / "ampledger.db", HandClock(utc_s=BEGINS_UTC_S, boot="boot 0")
    for number in range(HISTORY_BOOTS):
        boot(database, clock, HISTORY_S)
        clock.reboot(f"boot {number + 1}", off_s=8 * 3600.0)
    return database, clock.utc_s() - 8 * 3600.0


def rows(database: Path) -> list[tuple[float, float]]:
    """(UTC, moment on the line of time) of every reading."""
    return [(at, sample.at_s) for at, sample in Reader(database).rows(-1)]


@pytest.mark.parametrize("error", ERRORS)
@pytest.mark.parametrize("right", list(product((True, False), repeat=4)), ids=lambda r: "".join("RW"[not x] for x in r))
def test_every_combination_of_right_and_wrong_witnesses_costs_nothing(history, tmp_path: Path, right, error: str) -> None:
    """Network, chip, satellites and owner, each right or wrong in the same way, in one boot; in the next they are all right."""
    database, clock = tmp_path / "ampledger.db", HandClock(utc_s=history[1], boot=f"boot {HISTORY_BOOTS - 1}")
    shutil.copytree(history[0].parent, tmp_path, dirs_exist_ok=True)
    before = rows(database)
    true_s = history[1] + 3 * 3600.0
    shown = [true_s if is_right else 0.0 if ERRORS[error] is None else true_s + ERRORS[error] for is_right in right]
    network, chip, satellites, owner = shown
    clock.reboot("the boot in question", off_s=3 * 3600.0, utc_s=network, trust=NETWORK if testimony.possible(network) else NOBODY)
    clock.others = (Witness(chip, 60.0, testimony.CHIP), Witness(satellites, 0.5, testimony.SATELLITES))
    life = daemon(database, clock=clock)
    for second in range(200):
        clock.others = tuple(Witness(w.utc_s + 1.0, w.sigma_s, w.source) for w in clock.others)
        live(life, 1)
        if second == 90:
            requests.leave(requests.folder_of(database), "set_clock", utc_s=owner + second, sigma_s=2.0, asked_boot_s=clock.boot_s())
    life.daemon.close()
    asked = [c.alert.kind for c in life.told if c.alert.kind == "clock_doubtful" and c.what == "raised"]
    assert not (asked and all(right))
    now_s = true_s + 200 + 2 * 3600.0
    clock.reboot("the next boot", off_s=2 * 3600.0, utc_s=now_s, trust=NETWORK)
    clock.others = (Witness(now_s, 60.0, testimony.CHIP), Witness(now_s, 0.5, testimony.SATELLITES))
    boot(database, clock, 130)

    log = OpenLog(database)
    minutes = len(list(Reader(database).rows_of_level("minutes", -1)))
    for _ in range(3):
        thinning.retire(log.sql, log.past, raw_days=400)
    assert len(list(Reader(database).rows_of_level("minutes", -1))) == minutes
    log.close()
    after = rows(database)
    assert len(after) >= len(before) + 200 + 130 - 63 and [at_s for _, at_s in after] == sorted(at_s for _, at_s in after)
    # what was learnt before is known after: nothing began afresh, and every ampere-hour is counted once
    assert not {e.what.kind for e in Reader(database).events()} & {"begun_afresh", "state_damaged", "log_damaged"}
    counted = life.daemon.state.watch.counts.total.spent_ah
    assert counted == pytest.approx((HISTORY_BOOTS * HISTORY_S + 200) / 3600, rel=0.1)
    # the right time is back: the history is dated as it was, the latest boot rightly, the one in question in between
    for (utc_s, _), (was_s, _) in zip(after, before):
        assert utc_s == pytest.approx(was_s, abs=2.0)
    assert 0 <= clock.utc_s() - after[-1][0] <= 60  # the minute that is being filled is not a row yet
    between = [utc_s for utc_s, at_s in after[len(before):-100]]
    assert all(before[-1][0] - 1 <= utc_s <= after[-1][0] for utc_s in between) and between == sorted(between)


def label(at_s: float, boot_id: str, offset_s: float = 0.0, gap_s: float = 3600.0, trusted: bool = False) -> TimeLabel:
    return TimeLabel(at_s, boot_id, offset_s, 1.0, trusted, "network time", gap_s, 3 * DAY_S)


def said(at_s: float, boot_id: str, off_s: float, source: str = "network time", sigma_s: float = 0.1) -> Word:
    return Word(at_s, boot_id, BEGINS_UTC_S + off_s, sigma_s, source)


def offsets(agreed: testimony.Agreed) -> list[float]:
    return [round(x.utc_offset_s - BEGINS_UTC_S) for x in agreed.labels]


LABELS = [label(k * 10000.0, f"boot {k}") for k in range(4)]


def test_a_winter_is_believed_of_one_clock_and_two_winters_are_not() -> None:
    for days, believed in ((200.0, True), (500.0, False)):
        agreed = testimony.agree(LABELS[:2], (said(0.0, "boot 0", 0.0), said(0.0, "boot 0", 0.0, testimony.CHIP),
                                              said(10000.0, "boot 1", days * DAY_S)))
        # the latest of two equals: without a history the later word is taken, with one it is not
        history = testimony.agree(LABELS[:3], (said(0.0, "boot 0", 0.0), said(10000.0, "boot 1", 0.0),
                                               said(20000.0, "boot 2", days * DAY_S)))
        assert (history.doubted is None) == believed and agreed.labels[-1].utc_trusted in (True, believed)


def test_two_that_do_not_know_of_each_other_are_believed_for_ten_years() -> None:
    heard = [said(0.0, "boot 0", 0.0), said(10000.0, "boot 1", 0.0)]
    far = 900 * DAY_S
    chip_too = testimony.agree(LABELS[:3], (*heard, said(20000.0, "boot 2", far), said(20000.0, "boot 2", far, testimony.CHIP)))
    assert chip_too.doubted is not None, "the kernel writes the network's time into the chip"
    satellites_too = testimony.agree(LABELS[:3], (*heard, said(20000.0, "boot 2", far), said(20000.0, "boot 2", far, testimony.SATELLITES)))
    assert satellites_too.doubted is None and offsets(satellites_too) == [0, 0, round(far)]
    asked = testimony.agree(LABELS[:3], (*heard, said(20000.0, "boot 2", far), said(20000.0, "boot 2", far, testimony.SURE)))
    assert asked.doubted is None and asked.labels[-1].utc_trusted


def test_a_boot_dated_wrongly_by_the_owner_is_mended_by_the_network_and_the_owner_asked_twice_outweighs_it() -> None:
    heard = (said(0.0, "boot 0", 300 * DAY_S, testimony.OWNER), said(10000.0, "boot 1", 0.0))
    mended = testimony.agree(LABELS[:2], heard)
    assert offsets(mended) == [0, 0] and [x.source for x in mended.labels] == ["dated backwards", "network time"]
    assert offsets(testimony.agree(LABELS[:2], (*heard, said(10050.0, "boot 1", -DAY_S, testimony.SURE))))[-1] == -DAY_S


def test_boots_that_nobody_dated_lie_between_their_neighbours_and_say_how_unsure_that_is() -> None:
    agreed = testimony.agree(LABELS, (said(0.0, "boot 0", 0.0), said(30000.0, "boot 3", 30 * DAY_S)))
    assert offsets(agreed) == [0, 10 * DAY_S, 20 * DAY_S, 30 * DAY_S]
    assert all(x.utc_sigma_s >= 30 * DAY_S / 12**0.5 and not x.utc_trusted for x in agreed.labels[1:3])
    assert all(x.gap_s == 3600.0 and x.at_s == y.at_s for x, y in zip(agreed.labels, LABELS)), "the line of time itself never moves"


def test_many_boots_by_a_chip_that_was_set_wrongly_do_not_outweigh_the_network() -> None:
    labels = [label(k * 1000.0, f"boot {k}") for k in range(201)]
    heard: tuple[Word, ...] = ()
    for k in range(200):
        heard = testimony.heard_too(heard, said(k * 1000.0, f"boot {k}", 800 * DAY_S, testimony.CHIP))
    heard = testimony.heard_too(heard, said(200000.0, "boot 200", 0.0))
    agreed = testimony.agree(labels, heard)
    assert agreed.doubted is None and agreed.labels[-1].utc_trusted and set(offsets(agreed)) == {0}


def test_what_is_kept_in_mind_is_bounded_and_boots_beyond_it_keep_their_dates() -> None:
    labels = [label(k * 1000.0, f"boot {k}") for k in range(300)]
    heard: tuple[Word, ...] = (said(0.0, "boot 0", 0.0, testimony.SURE),)
    for k in range(300):
        heard = testimony.heard_too(heard, said(k * 1000.0, f"boot {k}", 600.0 * k))
        if k == 150:
            labels[:151] = testimony.agree(labels[:151], heard).labels
    assert len(heard) <= testimony.KEPT + 1 and heard[0].source == testimony.SURE
    assert offsets(testimony.agree(labels, heard)) == [600 * k for k in range(300)]


def test_a_log_that_kept_no_witnesses_is_dated_by_its_labels() -> None:
    labels = [label(0.0, "boot 0", BEGINS_UTC_S, trusted=True), label(10000.0, "boot 1", BEGINS_UTC_S + 50.0, trusted=True)]
    assert offsets(testimony.agree(labels, testimony.heard_of(labels))) == [0, 50]


def test_a_network_that_sets_the_clock_by_decades_within_a_boot_moves_no_history(tmp_path: Path) -> None:
    """A fresh log, its first boot: the clock leaps by 40 years (no date that can be), by 300 days, and back."""
    database, clock = tmp_path / "ampledger.db", HandClock(utc_s=BEGINS_UTC_S)
    life = daemon(database, clock=clock)
    live(life, 130)
    for leap_s in (40 * YEAR_S, 300 * DAY_S):
        clock.set_wall(clock.utc_s() + leap_s)
        live(life, 120)
        clock.set_wall(clock.utc_s() - leap_s)
        live(life, 120)
    life.daemon.close()
    span = Reader(database).span()
    assert span[0] == pytest.approx(BEGINS_UTC_S, abs=62) and span[1] == pytest.approx(clock.utc_s(), abs=62)


def test_the_owner_is_asked_and_what_is_said_twice_holds(history, tmp_path: Path) -> None:
    """A phone that is 200 years off is refused; a date 900 days on is asked for again, and then believed over the network."""
    database, clock = tmp_path / "ampledger.db", HandClock(utc_s=history[1], boot=f"boot {HISTORY_BOOTS - 1}")
    shutil.copytree(history[0].parent, tmp_path, dirs_exist_ok=True)
    clock.reboot("late", off_s=900 * DAY_S, trust=Trust(True, 0.05, "network time"))
    life = daemon(database, clock=clock)
    live(life, 130)
    assert [c.alert.kind for c in life.told] == ["clock_doubtful"] and not life.daemon.label.utc_trusted
    for utc_s, sure in ((4.9e9, 0), (4.9e9, 1), (clock.utc_s() - 950 * DAY_S, 0)):
        requests.leave(requests.folder_of(database), "set_clock", utc_s=utc_s, sigma_s=2.0, asked_boot_s=clock.boot_s(), sure=sure)
        live(life, 62)
        assert not life.daemon.label.utc_trusted
    requests.leave(requests.folder_of(database), "set_clock", utc_s=clock.utc_s(), sigma_s=2.0, asked_boot_s=clock.boot_s(), sure=1)
    live(life, 130)
    life.daemon.close()
    assert life.daemon.label.utc_trusted and Reader(database).now().utc_s == pytest.approx(clock.utc_s(), abs=62)
    messages = [e.what.message for e in Reader(database).events() if e.what.kind == "request_refused"]
    assert len(messages) == 3 and "not a date that can be" in messages[0] and "say it again as sure" in messages[2]
    assert Reader(database).span()[0] == pytest.approx(BEGINS_UTC_S, abs=62)


def test_every_stretch_of_ten_years_of_starts_is_dated_anew_when_the_right_time_comes() -> None:
    """18,000 starts, each seventh dated by a chip that is three years fast, and in the last of them the right time."""
    fast_s = 3 * 365 * 86400.0
    labels = [TimeLabel(k * 17500.0, f"boot {k}", BEGINS_UTC_S + fast_s, 60.0, k % 7 == 0, testimony.CHIP if k % 7 == 0 else "counted on",
                        3600.0, 1e4) for k in range(18000)]
    heard: tuple[Word, ...] = ()
    for x in labels[-1000:]:
        if x.utc_trusted:
            heard = testimony.heard_too(heard, Word(x.at_s, x.boot_id, x.utc_offset_s, 60.0, testimony.CHIP))
    line = clocks.Timeline(0.0, tuple(labels), heard)
    began = time.process_time()
    after, written = clocks.add_testimony(line, labels[-1].at_s, BEGINS_UTC_S, 0.01, testimony.SATELLITES)
    assert time.process_time() - began < 5.0  # of a busy machine: no start waits for it
    assert {x.utc_offset_s for x in after.labels} == {BEGINS_UTC_S} and len(written) == 18000
    assert after.label.utc_trusted and not after.labels[0].utc_trusted
