"""From the start of the process to the first reading, to being ready, and to the pages' first answer."""
import os
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

from tests.benchmarks.bench_pages import unit_ms
from tests.drivers.counterparts import HwmonFolder
from tests.monitor.test_service import heard
from tests.ports import free_port
from tests.test_crowd import CONFIG

TIMES = 9
#: Bytecode is kept as an installer leaves it, whatever the surroundings say: nobody compiles at each start.
KEPT = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


def main() -> None:
    """Prints medians and best; both are upper bounds where the machine is shared. U is a loop: 18.2 ms where the goals were set."""
    with tempfile.TemporaryDirectory() as folder:
        KEPT["PYTHONPYCACHEPREFIX"] = str(Path(folder) / "compiled")
        daemon(Path(folder) / "compiling")
        pages(Path(folder))
        starts = [daemon(Path(folder) / str(i)) for i in range(TIMES)]
        unit_s = unit_ms(time.process_time) / 1000
        ready = [pages(Path(folder)) for _ in range(TIMES)]
    for name, values, goal in (("start to the first reading", [a for a, _, _ in starts], "0.1"),
                               ("  processor time of that", [b for _, b, _ in starts], ""),
                               ("start to ready (log open, first beat)", [c for _, _, c in starts], ""),
                               ("start of the pages to their first answer", [a for a, _ in ready], "0.5"),
                               ("  processor time of that", [b for _, b in ready], "")):
        values.sort()
        print(f"{name:<44} median {values[TIMES // 2]:.2f} s, best {values[0]:.2f} s"
              + (f"   goal {goal} s" if goal else f" = {values[0] / unit_s:.1f} U" if "processor" in name else ""))
    print(f"unit of work U, processor time: {1000 * unit_s:.1f} ms")


def spent_s(pid: int) -> float:
    """Processor time of a process so far (proc(5), stat) [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def daemon(folder: Path) -> tuple[float, float, float]:
    """Seconds to the first reading, processor seconds of them, and seconds to READY=1.

    The instrument's file is a pipe: opening it shows when it is read.
    """
    folder.mkdir()
    chip = HwmonFolder(folder / "hwmon")
    pipe = chip.place / "in1_input"
    pipe.unlink()
    os.mkfifo(pipe)
    (folder / "ampledger.toml").write_text(CONFIG.format(beat_s=60, root=chip.options.root))
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(folder / "notify"))
        manager.settimeout(60)
        started = time.perf_counter()
        process = subprocess.Popen([sys.executable, "-m", "monitor", "run", "--config", str(folder / "ampledger.toml")],
                                   env={**KEPT, "NOTIFY_SOCKET": str(folder / "notify")}, stderr=subprocess.DEVNULL)
        try:
            with open(pipe, "w") as opened:
                first_s, first_cpu_s = time.perf_counter() - started, spent_s(process.pid)
                opened.write("12650\n")
            pipe.unlink()
            pipe.write_text("12650\n")
            heard(manager, "READY=1")
            return first_s, first_cpu_s, time.perf_counter() - started
        finally:
            process.kill()
            process.wait(10)


def pages(folder: Path) -> tuple[float, float]:
    """Seconds until the pages have answered once, and processor seconds of them."""
    port = free_port()
    started = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-m", "dashboard", "--database", str(folder / "none.db"), "--address", f"127.0.0.1:{port}"],
                               env=KEPT, stderr=subprocess.DEVNULL)
    try:
        while True:
            try:
                with closing(socket.create_connection(("127.0.0.1", port), 1)) as link:
                    link.sendall(b"GET /code HTTP/1.0\r\nHost: localhost\r\n\r\n")
                    assert link.recv(100).startswith(b"HTTP/1.")
                    return time.perf_counter() - started, spent_s(process.pid)
            except OSError:
                time.sleep(0.005)
    finally:
        process.terminate()
        process.wait(10)
