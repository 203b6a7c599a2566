"""ampledger on itself: failed and late checks and copies, copies on the wrong card, lost ends, cuts, and a sign of life."""
import json
import os
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.alerts import rules
from monitor.alerts.channels import Command, NotDelivered
from monitor.alerts.heartbeat import Heartbeat
from monitor.cli import commands
from monitor.process import copies
from monitor.process.maintenance import Maintenance
from monitor.store import backup
from monitor.store.backup import NotCopied
from monitor.store.self_watch import CHECK, COPY, CUTS_COUNT, DAY_S, SelfWatch
from monitor.store.writer import Writer
from tests import store_fixture
from tests.vehicle_by_hand import daemon, live


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return store_fixture.fill(tmp_path_factory.mktemp("log") / "ampledger.db", days=0.2)


@pytest.fixture
def database(filled: Path, tmp_path: Path) -> Path:
    for file in filled.parent.glob("ampledger*"):
        (shutil.copytree if file.is_dir() else shutil.copy)(file, tmp_path / file.name)
    return tmp_path / "ampledger.db"


@pytest.fixture
def stick(tmp_path: Path):
    """Another card, mounted."""
    place = tmp_path / "stick"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=32m", "tmpfs", str(place)], capture_output=True, text=True, check=False)
    if mounted.returncode:
        pytest.skip(f"needs the right to mount a small file system (run as root): {mounted.stderr.strip()}")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=False, capture_output=True)


def active(watch: SelfWatch, at_s: float) -> list[str]:
    return [c.kind for c in watch.conditions(at_s, copies=True) if c.active]


def test_a_night_s_copy_goes_to_the_stick_and_not_onto_the_card_when_the_stick_is_gone(database: Path, stick: Path) -> None:
    told, watch, writer = [], SelfWatch(None), Writer(database)
    writer.start()
    chores = Maintenance(writer, database, raw_days=400, backup_to=stick, tell=lambda *news: told.append(news), watch=watch)
    for _ in range(5):
        chores.night()
    names = sorted(f.name for f in stick.iterdir())
    assert [name[:17] for name in names] == ["ampledger-000003-", "ampledger-000004-", "ampledger-000005-"] and active(watch, 0.0) == []
    assert all(backup.prove(f).minutes for f in stick.iterdir())
    subprocess.run(["umount", str(stick)], check=True)
    chores.night()
    assert list(stick.iterdir()) == [] and active(watch, 0.0) == ["copy_failed"]
    assert "on the card that the log is on" in next(c.evidence for c in watch.conditions(0.0, copies=True) if c.kind == "copy_failed")
    stick.rmdir()
    chores.night()
    assert not stick.exists() and "is the stick plugged in" in next(c.evidence for c in watch.conditions(0.0, copies=True) if c.active)
    assert [kind for kind, _ in told] == ["chore_failed"]
    writer.close()


def test_a_wrong_date_in_a_name_keeps_and_drops_no_wrong_copy(database: Path, stick: Path) -> None:
    for day in ("2125-01-01", "2125-01-02", "2125-01-03"):
        copies.rotate(database, stick, day, same_card=False)
    (stick / "ampledger-2126-01-01.db").write_text("of an earlier ampledger")
    for day in ("2026-11-29", "2026-11-30", "1970-01-01"):
        copies.rotate(database, stick, day, same_card=False)
    assert sorted(f.name[17:-3] for f in stick.iterdir()) == ["1970-01-01", "2026-11-29", "2026-11-30"]


def test_no_older_copy_goes_where_the_new_one_holds_damage(database: Path, stick: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for day in ("1", "2", "3"):
        copies.rotate(database, stick, day, same_card=False)
    sound = backup.prove(database)
    monkeypatch.setattr(backup, "prove", lambda _: type(sound)(sound.minutes, sound.hours_packed, 2, sound.version))
    copies.rotate(database, stick, "4", same_card=False)
    assert len(list(stick.iterdir())) == 4


def test_the_command_refuses_the_log_s_own_card_and_an_existing_copy(database: Path, stick: Path) -> None:
    def run(*arguments: object) -> tuple[int, str]:
        done = CliRunner().invoke(commands, ["backup", "--database", str(database), *map(str, arguments)])
        return done.exit_code, done.output

    code, said = run(database.parent / "nowhere" / "copy.db")
    assert code == 1 and "on the card that the log is on" in said and not (database.parent / "nowhere").exists()
    assert run(stick / "copy.db")[0] == 0
    before = (stick / "copy.db").read_bytes()
    code, said = run(stick / "copy.db")
    assert code == 1 and "is there already" in said and (stick / "copy.db").read_bytes() == before
    assert run("--replace", stick / "copy.db")[0] == 0
    assert run("--same-card", database.parent / "beside.db")[0] == 0


def test_two_partitions_of_one_disk_are_one_card(tmp_path: Path) -> None:
    """A tree as sysfs has it: dev/block/MAJOR:MINOR leads to the partition's folder inside the disk's."""
    root, number = tmp_path / "root", os.stat(tmp_path).st_dev
    other = os.stat("/proc").st_dev
    for disk, part, device in (("mmcblk0", "mmcblk0p2", number), ("mmcblk0", "mmcblk0p3", other)):
        place = root / "sys/devices/mmc" / disk / part
        place.mkdir(parents=True)
        (place / "partition").write_text("2\n")
        link = root / f"sys/dev/block/{os.major(device)}:{os.minor(device)}"
        link.parent.mkdir(parents=True, exist_ok=True)
        link.symlink_to(place)
    assert copies.same_disk(tmp_path / "log.db", Path("/proc/self"), root) and not copies.same_disk(tmp_path, Path("/proc/self"))
    with pytest.raises(NotCopied, match="--same-card"):
        copies.check_target(tmp_path / "log.db", tmp_path / "not" / "there.db")


def test_failures_and_lateness_are_alerts_that_outlive_a_restart_and_clear() -> None:
    kept: list[str] = []
    watch = SelfWatch(None, kept.append)
    watch.note_job(CHECK, 0.0, "row 7 of minutes cannot be read")
    watch.note_job(COPY, 0.0)
    assert active(watch, 1000.0) == ["log_check_failed"]
    again = SelfWatch(kept[-1])
    assert active(again, 3 * DAY_S) == ["log_check_failed"] and active(again, 5 * DAY_S) == ["log_check_failed", "copy_late"]
    held = rules.update(rules.begin(), again.conditions(5 * DAY_S, copies=True), 5 * DAY_S)
    assert [a.kind for a in held.alerts] == ["log_check_failed"], "an overdue copy is made up for before it is told"
    held = rules.update(held, again.conditions(5.5 * DAY_S, copies=True), 5.5 * DAY_S)
    assert [a.kind for a in held.alerts] == ["log_check_failed", "copy_late"]
    again.note_job(CHECK, 6 * DAY_S)
    again.note_job(COPY, 6 * DAY_S)
    held = rules.update(held, again.conditions(6 * DAY_S, copies=True), 6 * DAY_S)
    assert {a.state for a in held.alerts} == {"returned"}
    assert SelfWatch("{").state == SelfWatch(None).state


def test_cuts_in_number_and_a_lost_end_are_told() -> None:
    watch = SelfWatch(None)
    for number in range(CUTS_COUNT):
        assert active(watch, number * 3600.0) == []
        watch.note_cut(number * 3600.0)
    assert active(watch, 20 * 3600.0) == ["unclean_ends"] and active(watch, 9 * DAY_S) == []
    watch.note_lost(9 * DAY_S, 1800.0)
    (lost,) = [c for c in watch.conditions(9 * DAY_S, copies=False) if c.active]
    assert lost.kind == "log_tail_lost" and "30 minutes" in lost.evidence and active(watch, 13 * DAY_S) == []


def test_a_daemon_counts_its_unclean_ends_and_no_clean_ones(tmp_path: Path) -> None:
    database = tmp_path / "ampledger.db"
    life = daemon(database)
    for cut in (False, True, True):
        live(life, 130)
        life.daemon.writer.flush()
        if cut:
            kept = {f.name: f.read_bytes() for f in tmp_path.iterdir() if f.is_file() and "shm" not in f.name}
        life.daemon.close()
        if cut:
            for file in tmp_path.iterdir():
                if file.is_file():
                    file.unlink()
            for name, content in kept.items():
                (tmp_path / name).write_bytes(content)
        life.clock.move(5)
        life = daemon(database, clock=life.clock)
    live(life, 70)
    life.daemon.close()
    assert len(life.daemon.self_watch.state.cuts_s) == 2


def test_a_sign_of_life_goes_out_while_minutes_come_and_not_when_they_stop(tmp_path: Path) -> None:
    out, clock = tmp_path / "out", [0.0]
    script = tmp_path / "beat.py"
    script.write_text(f"import sys; open({str(out)!r}, 'a').write(sys.stdin.read() + '\\n')")
    heartbeat = Heartbeat([Command((sys.executable, str(script)))], interval_s=0.3, now=lambda: clock[0])
    time.sleep(0.5)
    assert not out.exists()
    heartbeat.live({"what": "heartbeat", "status": "house 80 %"})
    until(lambda: out.exists() and out.read_text().count("\n") >= 2)
    assert json.loads(out.read_text().splitlines()[0])["status"] == "house 80 %"
    clock[0] = 200.0  # no minute for longer than three
    time.sleep(0.5)
    count = out.read_text().count("\n")
    time.sleep(1.0)
    assert out.read_text().count("\n") == count
    heartbeat.close()
    assert not any(t.name == "heartbeat" for t in threading.enumerate())


def test_a_sign_of_life_that_does_not_get_out_is_told() -> None:
    class Down:
        name, tries = "topic", 0

        def hand(self, values: dict, timeout_s: float) -> None:
            self.tries += 1
            if self.tries <= 4:
                raise NotDelivered("no broker")

    down = Down()
    heartbeat = Heartbeat([down], interval_s=0.05)
    heartbeat.live({})
    until(lambda: heartbeat.condition().active or down.tries > 3)
    assert "no broker" in heartbeat.condition().means
    until(lambda: down.tries > 5 and not heartbeat.condition().active)
    heartbeat.close()
    idle = Heartbeat([], interval_s=1)
    assert idle.alive() and not idle.condition().active
    idle.close()


def until(true, within_s: float = 20.0) -> None:
    end = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < end
        time.sleep(0.02)
