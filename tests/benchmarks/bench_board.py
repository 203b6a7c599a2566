"""What the whole takes of the board: start, memory of both processes, exposure of the units, and learning again beside the beat.

`python -m tests.benchmarks.bench_board [DAYS]`: over a log of so many days (20 by default), real processes on a real clock.
"""
import http.client
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from monitor.logbook.reader import Reader
from monitor.store import requests
from tests.benchmarks import bench_boot
from tests.benchmarks.bench_pages import ASKS, long_log, unit_ms
from tests.drivers.counterparts import HwmonFolder
from tests.ports import free_port, wait_until_open
from tests.test_crowd import CONFIG

ROOT = Path(__file__).parent.parent.parent
DAYS = 20.0
BEAT_S = 1.0
#: three minutes of the daemon's life are enough for all that it loads at its first ones
SETTLED_S = 200.0
PATIENCE_S = 3600.0


def main(arguments: list[str]) -> None:
    """Prints a line for each promise. arguments: days of the log."""
    days = float(arguments[0]) if arguments else DAYS
    unit = unit_ms(time.process_time)
    print(f"unit of work U, processor time: {unit:.1f} ms (18.2 ms where the goals were set)")
    for unit_file in sorted((ROOT / "systemd").glob("*.service")):
        print(f"exposure of {unit_file.name}: {exposure(unit_file)}   goal 1.5")
    with tempfile.TemporaryDirectory() as top:
        folder = Path(top)
        bench_boot.KEPT["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
        bench_boot.daemon(folder / "compiling")
        starts = sorted(bench_boot.daemon(folder / f"start {i}")[:2] for i in range(5))
        print(f"process start to the first reading: median {starts[2][0]:.2f} s, best {starts[0][0]:.2f} s, processor time "
              f"{min(cpu for _, cpu in starts):.2f} s   goal 0.5 s", flush=True)
        beside(folder / "log", days)


def exposure(unit_file: Path) -> str:
    """systemd's own figure for a unit, 0 closed to 10."""
    if shutil.which("systemd-analyze") is None:
        return "needs systemd-analyze"
    ran = subprocess.run(["systemd-analyze", "security", "--offline=true", "--no-pager", str(unit_file)], capture_output=True, text=True,
                         check=False)
    return ran.stdout.splitlines()[-1].rpartition(": ")[2].split()[0]


def beside(folder: Path, days: float) -> None:
    """A daemon and its pages over a log of so many days: memory, then everything learnt again. folder: not there yet."""
    folder.mkdir()
    chip = HwmonFolder(folder / "hwmon")
    (folder / "ampledger.toml").write_text(CONFIG.format(beat_s=BEAT_S, root=chip.options.root))
    database, port = long_log(folder / "ampledger.db", days), free_port()
    kept = {**bench_boot.KEPT, "MALLOC_ARENA_MAX": "1"}
    daemon = subprocess.Popen([sys.executable, "-m", "monitor", "run", "--config", str(folder / "ampledger.toml")], env=kept,
                              stderr=subprocess.DEVNULL)
    pages = subprocess.Popen([sys.executable, "-m", "dashboard", "--database", str(database), "--address", f"127.0.0.1:{port}"], env=kept,
                             stderr=subprocess.DEVNULL)
    try:
        wait_until_open(port)
        for path in ASKS:
            link = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
            link.request("GET", path)
            link.getresponse().read()
            link.close()
        time.sleep(SETTLED_S)
        print(f"proportional memory over a log of {days:.0f} days: daemon {pss_mb(daemon.pid):.1f} MB (goal 60), pages "
              f"{pss_mb(pages.pid):.1f} MB (goal 45)", flush=True)
        began, began_s = time.monotonic(), Reader(database).span()[1]
        requests.leave(requests.folder_of(database), "relearn")
        while not Reader(database).events_of("relearnt"):
            if time.monotonic() - began > PATIENCE_S:
                print("learning again did not end in time")
                return
            time.sleep(0.5)
        took_s = time.monotonic() - began
        time.sleep(70)  # until the last beats are written
        moments = [at for at, _ in Reader(database).rows(began_s) if at > began_s]
        steps = sorted(later - before for before, later in zip(moments, moments[1:]))
        late = sum(step > 2 * BEAT_S for step in steps)
        print(f"learning {days:.0f} days again beside the beat: {took_s:.0f} s, a year at that rate {took_s * 365 / days:.0f} s; of "
              f"{len(steps)} beats {late} came later than by one, the longest step {steps[-1]:.2f} s", flush=True)
    finally:
        for process in (daemon, pages):
            process.terminate()
            process.wait(60)


def pss_mb(pid: int) -> float:
    """Proportional set size of a process (proc(5), smaps_rollup) [MB]."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024


if __name__ == "__main__":
    main(sys.argv[1:])
