"""The line of time: never back, exact within a boot, honest across boots; the wall clock only labels it."""
import time
from pathlib import Path

import pytest

from monitor.clocks import clock as clocks
from monitor.clocks.board_clock import BoardClock
from monitor.clocks.clock import LastRow, Trust
from tests.hand_clock import NETWORK, NOBODY, HandClock

SIXTY_DAYS_S = 60 * 86400.0


def ended(line: clocks.Timeline, clock: HandClock) -> LastRow:
    """The log ends now."""
    return LastRow(line.at_s(clock.boot_s()), line.boot_offset_s, line.labels)


def test_the_board_s_clock_counts_suspend_and_knows_its_boot() -> None:
    """CLOCK_BOOTTIME is not below CLOCK_MONOTONIC, for it counts suspend too (clock_getres(2), man-pages 6.03)."""
    clock = BoardClock(time.sleep)
    assert clock.boot_s() >= time.clock_gettime(time.CLOCK_MONOTONIC) - 0.01
    assert clock.boot_id() == Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    before = clock.boot_s()
    clock.wait(before + 0.02)
    assert 0.02 <= clock.boot_s() - before < 1.0
    assert 0 <= clock.hour(clock.utc_s()) < 24
    assert clock.trust().source


def test_a_log_begins_at_zero_and_is_dated_by_the_wall_clock() -> None:
    clock = HandClock(boot_s=100.0, utc_s=2e9)
    line = clocks.begin(clock, None)
    assert line.at_s(100.0) == 0.0 and line.at_s(160.0) == 60.0
    assert line.label.utc_trusted and line.utc_s(60.0) == 2e9 + 60


def test_a_restart_in_the_same_boot_knows_the_silence_exactly_whatever_the_wall_clock_did() -> None:
    clock = HandClock()
    line = clocks.begin(clock, None)
    clock.move(500)
    last = ended(line, clock)
    clock.move(42.5)
    clock.set_wall(0.0)
    clock.vouched = NOBODY
    again = clocks.begin(clock, last)
    assert again.at_s(clock.boot_s()) - last.at_s == 42.5
    assert again.label.gap_doubt_s == 0.0


def test_across_boots_two_trusted_clocks_know_the_silence() -> None:
    clock = HandClock()
    line = clocks.begin(clock, None)
    clock.move(500)
    last = ended(line, clock)
    clock.reboot("second boot", off_s=7200.0)
    again = clocks.begin(clock, last)
    assert again.at_s(clock.boot_s()) - last.at_s == pytest.approx(7200.0)
    assert again.label.gap_doubt_s == 0.0 and again.label.utc_trusted


@pytest.mark.parametrize("wall_s", [0.0, 315532800.0, 1782000500.0, 9e9])
def test_across_boots_without_a_trusted_clock_the_silence_is_a_prior_with_its_doubt(wall_s: float) -> None:
    """Log-uniform from a minute to sixty days: the median is their geometric mean, and the doubt is days."""
    clock = HandClock()
    line = clocks.begin(clock, None)
    clock.move(500)
    last = ended(line, clock)
    clock.reboot("second boot", off_s=7200.0, trust=NOBODY, utc_s=wall_s)
    again = clocks.begin(clock, last)
    gap_s = again.at_s(clock.boot_s()) - last.at_s
    assert gap_s == pytest.approx((60 * SIXTY_DAYS_S) ** 0.5, rel=1e-6)
    assert 3 * 86400 < again.label.gap_doubt_s < 10 * 86400
    assert not again.label.utc_trusted
    assert again.utc_s(again.at_s(clock.boot_s())) > line.utc_s(last.at_s)  # never shown before the log's end


def test_a_wall_clock_that_is_set_moves_the_label_and_never_the_line() -> None:
    clock = HandClock(trust=NOBODY)
    line = clocks.begin(clock, None)
    moments = []
    for step in (3.0, -3.0, 86400.0 * 3650, -86400.0 * 7300, 0.5):
        clock.move(60)
        clock.set_wall(clock.utc_s() + step)
        line, labels = clocks.look(line, clock)
        moments.append(line.at_s(clock.boot_s()))
        assert bool(labels) == (abs(step) > 2)
        assert abs(line.utc_s(moments[-1]) - clock.utc_s()) <= 2.0
    assert moments == [60.0, 120.0, 180.0, 240.0, 300.0]


def test_when_a_trusted_time_appears_the_whole_boot_and_undated_boots_before_it_are_dated() -> None:
    clock = HandClock()
    line = clocks.begin(clock, None)  # first boot: dated by the network
    clock.move(1000)
    last = ended(line, clock)
    clock.reboot("second boot", 3600.0, trust=NOBODY, utc_s=0.0)
    line = clocks.begin(clock, last)
    clock.move(1000)
    last = ended(line, clock)
    clock.reboot("third boot", 3600.0, trust=NOBODY, utc_s=0.0)
    line = clocks.begin(clock, last)
    assert [x.boot_id for x in line.labels] == ["first boot", "second boot", "third boot"]
    clock.move(100)
    truth_s = 1.8e9
    clock.set_wall(truth_s)
    clock.vouched = NETWORK
    dated, labels = clocks.look(line, clock)
    assert [(x.boot_id, x.utc_trusted) for x in labels] == [("third boot", True), ("second boot", False)]
    now_s = dated.at_s(clock.boot_s())
    assert dated.utc_s(now_s) == pytest.approx(truth_s)
    assert labels[1].utc_sigma_s >= line.label.gap_doubt_s  # the silence between is as unsure as it was
    assert dated.boot_offset_s == line.boot_offset_s


def test_a_better_clock_dates_anew_and_a_drift_begins_a_new_label() -> None:
    clock = HandClock(trust=Trust(True, 60.0, "clock chip"))
    line = clocks.begin(clock, None)
    clock.move(600)
    clock.set_wall(clock.utc_s() + 40)
    clock.vouched = NETWORK
    line, labels = clocks.look(line, clock)
    assert labels[0].at_s == 0.0 and line.utc_s(line.at_s(clock.boot_s())) == clock.utc_s()
    clock.move(86400)
    clock.set_wall(clock.utc_s() + 4.3)  # 50 ppm in a day
    line, labels = clocks.look(line, clock)
    assert labels[0].at_s == 87000.0 and line.utc_s(line.at_s(clock.boot_s())) == clock.utc_s()
    assert clocks.look(line, clock)[1] == ()


def test_a_clock_that_nobody_vouches_for_does_not_undo_a_good_label() -> None:
    clock = HandClock()
    line = clocks.begin(clock, None)
    clock.move(600)
    clock.vouched = NOBODY
    clock.set_wall(0.0)
    assert clocks.look(line, clock) == (line, ())


def test_a_clock_chip_that_was_set_into_the_clock_at_boot_is_trusted_to_a_minute(tmp_path: Path) -> None:
    """sysfs-class-rtc: hctosys is 1 if this clock set the system time at boot (Linux ABI/testing)."""
    chip = tmp_path / "sys/class/rtc/rtc0/hctosys"
    chip.parent.mkdir(parents=True)
    clock = BoardClock(time.sleep, root=tmp_path)
    clock._kernel_says = lambda: None
    assert not clock.trust().trusted
    for text, trusted in (("0\n", False), ("1\n", True)):
        chip.write_text(text)
        assert clock.trust().trusted == trusted
    assert clock.trust() == Trust(True, 60.0, "clock chip")
    assert clock.boot_id() == "unknown boot"
