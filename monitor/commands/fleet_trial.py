"""ampledger fleet trial: some simulated vehicles in a collection of one's own, with its pages; nothing of it stays."""
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

#: Who may look at a trial.
PERSON = "me"


@click.command(short_help="Try it with simulated vehicles, on this machine.")
@click.option("--vehicles", "count", default=4, show_default=True, type=click.IntRange(1, 40), help="How many simulated vehicles.")
@click.option("--days", default=4.0, show_default=True, type=click.FloatRange(0.5, 60), help="Days of life that each has behind it.")
@click.option("--port", default=21874, show_default=True, type=click.IntRange(1024, 65535), help="Of the pages.")
@click.option("--sqlite", is_flag=True, help="Without PostgreSQL, even where it is installed.")
def trial(count: int, days: float, port: int, sqlite: bool) -> None:
    """Try a fleet on this machine: simulated vehicles, a PostgreSQL of its own (Debian's package), and the pages.

    Prints the address and a code. Ctrl-C ends it, and nothing stays.
    """
    from drivers.vehicle.scenarios import SCENARIOS
    from monitor.fleet import by_hand, database, keys, people

    names = [f"{scenario}-{number:02d}" for number, scenario in zip(range(1, count + 1), list(SCENARIOS) * count, strict=False)]
    with tempfile.TemporaryDirectory(prefix="ampledger-fleet-") as folder, _server(Path(folder), sqlite) as address:
        engine = database.open_engine(address)
        database.upgrade(engine)
        for number, name in enumerate(names, 1):
            click.echo(f"{name}: {days:g} days of life (vehicle {number} of {count})", err=True)
            log = _live_through(Path(folder) / name, name.rpartition("-")[0], number, days)
            with engine.begin() as connection:
                keys.enrol(connection, name, time.time())
            by_hand.import_log(engine, log, name, time.time())
        with engine.begin() as connection:
            code = people.put(connection, PERSON, "administer")
        engine.dispose()
        click.echo(f"\nA fleet of {count} SIMULATED vehicles: http://127.0.0.1:{port}/\n\n    name  {PERSON}\n    code  {code}\n\n"
                   "Ctrl-C ends it.")
        pages = subprocess.Popen([sys.executable, "-m", "dashboard.fleet", "--collection", address, "--address", f"127.0.0.1:{port}"])
        signal.signal(signal.SIGTERM, lambda *_: pages.terminate())
        try:
            if pages.wait() > 0:
                sys.exit(1)
        except KeyboardInterrupt:
            pages.terminate()
            pages.wait()


def _live_through(folder: Path, scenario: str, seed: int, days: float) -> Path:
    """The log of a simulated vehicle, made as `ampledger demo` makes it. Raises Refused."""
    from monitor.cli import Refused

    done = subprocess.run([sys.executable, "-m", "monitor", "demo", "--scenario", scenario, "--seed", str(seed), "--days", f"{days:g}",
                           "--folder", str(folder), "--port", "0", "--until", "0.5"], capture_output=True, text=True)
    if done.returncode:
        raise Refused(f"the simulated vehicle could not be lived through: {(done.stderr.strip().splitlines() or ['no word why'])[-1]}")
    return folder / "ampledger.db"


@contextmanager
def _server(folder: Path, sqlite: bool) -> Iterator[str]:
    from monitor.cli import Refused
    from monitor.fleet import local_postgres

    if sqlite or local_postgres.binaries() is None:
        if not sqlite:
            click.echo("PostgreSQL is not installed (sudo apt install postgresql); SQLite serves for this trial.", err=True)
        yield f"sqlite:///{folder / 'fleet.db'}"
        return
    try:
        with local_postgres.local_postgres() as address:
            yield address
    except local_postgres.NoPostgres as error:
        raise Refused(str(error)) from None
