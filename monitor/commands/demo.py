"""ampledger demo: a simulated vehicle, some weeks of life, then live, with its pages."""
import ctypes
import gc
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import takewhile
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import PAGES_PORT
from monitor.process.stop import SignalSafeEvent

FILES = ("undelivered.json", "ampledger.toml")
BEAT_S = 1.0
#: However fast it goes, readings lie no further apart [simulated s]: longer is a gap.
CLOSE_S = 60.0
#: Latest days of the past in which readings come every minute.
FINE_DAYS = 1.0


@click.command(short_help="Show everything on a simulated vehicle.")
@click.option("--days", type=click.FloatRange(0, 180), help="Days of life to begin with, up to this time of day; 0 for none. "
              "Default: up to an evening that matters, ten days in.")
@click.option("--speed", default=60.0, show_default=True, type=click.FloatRange(1, 3600),
              help="Simulated seconds a second; 60 is an hour a minute.")
@click.option("--scenario", help="Which journey; `ampledger demo --scenario list` tells of each. Default: the first.")
@click.option("--seed", default=11, show_default=True, help="Random seed: changes weather and use.")
@click.option("--folder", default=Path("demo-data"), show_default=True, type=click.Path(path_type=Path, file_okay=False),
              help="Where the log is put; an earlier demo there is replaced, anything else is left alone.")
@click.option("--port", default=PAGES_PORT, show_default=True, type=click.IntRange(0, 65535),
              help="Of the pages; where it is taken, the next free one.")
@click.option("--until", "until_s", type=float, hidden=True, help="End by itself after so many seconds of live running.")
def demo(days: float | None, speed: float, scenario: str | None, seed: int, folder: Path, port: int, until_s: float | None) -> None:
    """Show everything on a simulated vehicle: some weeks of life at once, then live at many times the speed of life.

    The readings come from a simulated vehicle and go through the same trackers, alert rules and log as
    real ones; every page says that they are simulated. Serves the pages on this machine only and prints
    their address. Ctrl-C ends it. Writes nothing outside FOLDER.
    """
    from drivers.simulated import SimulatedOptions
    from drivers.vehicle.scenarios import DEMO, SCENARIOS, TOLD
    from monitor.cli import Refused
    from monitor.store.lock import hold_lock

    if scenario == "list":
        click.echo("\n".join(f"{name:<22} {TOLD[name]}" for name in SCENARIOS))
        return
    if scenario is not None and scenario not in SCENARIOS:
        raise Refused(f"no journey called {scenario!r}; choose one of {', '.join(SCENARIOS)}")
    wanted, port = port, _free_port(port)
    if wanted not in (0, port):
        click.echo(f"Port {wanted} is taken; the pages are at {port}.")
    options = SimulatedOptions(scenario=scenario or DEMO, seed=seed, speed=min(speed * BEAT_S, CLOSE_S))
    with hold_lock(folder / "ampledger.db") as ours:
        if not ours:
            raise Refused(f"another ampledger is writing in {folder}; name another --folder")
        config_file = _prepare(folder, options)
    _live(config_file, options, days, speed, port, until_s)
    click.echo(f"\nEnded. The log stays in {folder}; look at it with: ampledger status --config {folder / 'ampledger.toml'}")


def _live(config_file: Path, options: Any, days: float | None, speed: float, port: int, until_s: float | None) -> None:
    """The past at once, then the present with its pages: one journey, so that the second goes on where the first ended."""
    from dataclasses import replace

    from drivers.simulated import SimulatedDriver
    from monitor.cli import Refused
    from monitor.config import load
    from monitor.process import service

    service.journal_lines()
    driver = SimulatedDriver(options)
    under_way = Ready(driver)
    whole = replace(load.load(config_file), sources=(load.Source("simulated", lambda _: under_way, options),))
    begins_utc_s, past_s = _span(days)
    stop = SignalSafeEvent()
    if past_s:
        with _catch_interrupt(stop):
            _past(whole, driver, begins_utc_s, past_s, stop)
        if stop.is_set():
            raise click.Abort
    if until_s is not None:
        threading.Timer(until_s, stop.set).start()
    with _pages(whole.log.database, port, stop) as ended:
        click.echo(f"Live now at {speed:g} times the speed of life. Everything is SIMULATED.\n\n"
                   f"    http://127.0.0.1:{port}/\n\nCtrl-C ends it.")
        try:
            service.run(whole, stop=stop, begins_utc_s=begins_utc_s, pace_s=options.speed / speed)
        except service.CannotRun as error:
            raise Refused(str(error)) from None
    if ended():
        raise Refused(f"the pages ended by themselves; try: python -m dashboard --database {whole.log.database}")


@contextmanager
def _catch_interrupt(stop: SignalSafeEvent) -> Iterator[None]:
    """Ctrl-C only sets stop: an exception between any two steps could be lost in a finalizer or leave a lock held."""
    before = signal.signal(signal.SIGINT, lambda *_: stop.set())
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _past(whole: Any, driver: Any, begins_utc_s: float, past_s: float, stop: SignalSafeEvent) -> None:
    """Some days through the daemon itself, as fast as they go."""
    from monitor import pipeline
    from monitor.clocks.board_clock import BoardClock
    from monitor.process.daemon import Daemon
    from monitor.store.lock import hold_lock

    began, days = time.perf_counter(), past_s / 86400
    with hold_lock(whole.log.database):
        daemon = Daemon(whole.log.database, whole.vehicle, whole.sources, clock=BoardClock(time.sleep), begin=pipeline.begin,
                        step=pipeline.step, simulated=True, begins_utc_s=begins_utc_s)
        gc.disable()  # nothing in it makes cycles, and looking for them costs a twelfth
        try:
            daemon.past(_show_progress(takewhile(lambda _: not stop.is_set(), _history(driver, days)), days))
        finally:
            gc.enable()
            daemon.close()
    if not stop.is_set():
        click.echo(f"{days:.1f} days of life are in the log ({time.perf_counter() - began:.1f} s).")


def _history(driver: Any, days: float) -> Iterator[Any]:
    """The journey so far: a reading every two minutes, every minute in the latest days, more finely around drives."""
    yield from driver.history(max(days - FINE_DAYS, 0.0), step_s=120.0)
    yield from driver.history(min(days, FINE_DAYS))


@contextmanager
def _pages(database: Path, port: int, stop: SignalSafeEvent) -> Iterator[Any]:
    """The pages in a process of their own; where they end by themselves, stop is set and the thing yielded says so."""
    pages = subprocess.Popen([sys.executable, "-m", "dashboard", "--database", str(database), "--address", f"127.0.0.1:{port}"],
                             stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                             start_new_session=True, preexec_fn=_end_with_parent)
    told_to_end, ended = threading.Event(), []

    def watch_over() -> None:
        pages.wait()
        if not told_to_end.is_set():
            ended.append(True)
            stop.set()

    watcher = threading.Thread(target=watch_over, name="pages", daemon=True)
    watcher.start()
    try:
        yield lambda: bool(ended)
    finally:
        told_to_end.set()
        pages.terminate()
        watcher.join(5)
        if watcher.is_alive():
            pages.kill()


class Ready:
    """The simulated vehicle as an instrument that is already under way, and stays so when it is closed."""

    def __init__(self, driver: Any) -> None:
        self._driver = driver


    def read(self) -> Any:
        return self._driver.read()

    def close(self) -> None:
        """The journey goes on when it is opened again."""


def _is_demo(config_file: Path) -> bool:
    """Whether an earlier demo wrote a configuration."""
    try:
        return 'driver = "simulated"' in config_file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return False


def _prepare(folder: Path, options: Any) -> Path:
    """An empty folder with a configuration in it; refuses a folder that holds a real log."""
    from monitor.cli import Refused
    from monitor.logbook.reader import Reader
    from monitor.store import past
    from monitor.store.reading import NoLog

    plan = options.plan()
    database = folder / "ampledger.db"
    sealed, now = past.folder_of(database), None
    with suppress(NoLog):
        now = Reader(database).now()
    if now is not None and not now.simulated:
        raise Refused(f"{folder} holds the log of a real vehicle; name another --folder")
    if now is None and (database.exists() or sealed.exists()) and not _is_demo(folder / "ampledger.toml"):
        raise Refused(f"{folder} holds a log that cannot be read and may be a real vehicle's; name another --folder")
    folder.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(sealed, ignore_errors=True)
    for file in (*folder.glob(f"{database.name}*"), *(folder / name for name in FILES)):
        file.unlink(missing_ok=True)
    config_file = folder / "ampledger.toml"
    config_file.write_text(f"""# The simulated vehicle of `ampledger demo`, as its owner would describe it: only what is on the labels.
[house]
chemistry = "{plan.house.chemistry}"
rated_capacity_ah = {plan.house.label_ah:g}
absorption_v = {plan.absorption_v:g}
float_v = {plan.float_v:g}

[starter]
chemistry = "{plan.starter.chemistry}"
rated_capacity_ah = {plan.starter.label_ah:g}

[vehicle]
latitude_deg = {plan.latitude_deg:g}

[[source]]
driver = "simulated"
scenario = "{options.scenario}"
seed = {options.seed}
speed = {options.speed:g}
""")
    return config_file


def _end_with_parent() -> None:
    """No pages are left behind, however the demo ends: prctl(2), PR_SET_PDEATHSIG."""
    ctypes.CDLL(None).prctl(1, signal.SIGTERM)


def _span(days: float | None) -> tuple[float, float]:
    """Second 0 of the journey [UTC], and how much of it is lived through at once [s].

    days : so many days up to now; None: up to the evening that matters, dated so that it is the latest evening
    """
    from drivers.vehicle.scenarios import EVENING_S

    if days is not None:
        begins = _midnight_utc_s(days)
        return begins, time.time() - begins if days else 0.0
    whole_days, hour_s = divmod(EVENING_S, 86400)
    today = _midnight_utc_s(0) + hour_s <= time.time()
    return _midnight_utc_s(whole_days + (0 if today else 1)), EVENING_S


def _midnight_utc_s(days: float) -> float:
    """Second 0 of the journey: the local midnight that lies so many days back [UTC]."""
    began = time.localtime(time.time() - days * 86400)
    return time.mktime((began.tm_year, began.tm_mon, began.tm_mday, 0, 0, 0, 0, 0, -1))


def _show_progress(readings: Any, days: float) -> Any:
    """The same readings, with a progress bar where somebody watches."""
    if not sys.stderr.isatty():
        yield from readings
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("living through {task.total:.0f} days"), BarColumn(), TextColumn("day {task.completed:.0f}"),
               TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task, shown = bar.add_task("", total=days), 0.0
        for reading in readings:
            if reading.at_s - shown > 7200:
                shown = reading.at_s
                bar.update(task, completed=shown / 86400)
            yield reading


def _free_port(port: int, left: int = 20) -> int:
    """The port, or the next one that is free."""
    from monitor.cli import Refused

    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            if left == 0:
                raise Refused(f"the ports up to {port} are taken; name another with --port, or --port 0 for any") from None
            return _free_port(port + 1, left - 1)
        return int(probe.getsockname()[1])
