"""ampledger fleet: the collector of many vehicles – enrol, serve, import, judge again. A board needs none of it."""
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from monitor.commands.fleet_trial import trial

settings_option = click.option("--settings", "settings_file", type=click.Path(path_type=Path, dir_okay=False), envvar="AMPLEDGER_FLEET",
                               show_envvar=True, help="The collector's settings (TOML). Default: fleet.toml here.")
collection_option = click.option("--collection", help="The database instead: postgresql://user@host/name, or sqlite:///file to try it.")


def collector(command: Any) -> Any:
    """The two options that name the collection."""
    return settings_option(collection_option(command))


@click.group(short_help="Many vehicles: collect what their boards publish.")
def fleet() -> None:
    """Collect what many boards publish, on PostgreSQL, and look at all of them.

    Each board stays whole by itself; it only sends what it has logged. `ampledger docs fleet` says how it all begins.
    """


fleet.add_command(trial)


@fleet.command(short_help="Enrol a vehicle; prints its key.")
@click.argument("name")
@collector
def enrol(name: str, settings_file: Path | None, collection: str | None) -> None:
    """Enrol the vehicle NAME and print its key, this once. On its board: [publish] url and key_file."""
    from monitor.fleet import keys

    with _open_collection(settings_file, collection) as engine, engine.begin() as connection:
        key = keys.enrol(connection, name, time.time())
    click.echo(f"{key}\n")
    click.echo(f"The key of {name}, shown this once. On its board put it into a file that only the service may read, and into "
               "ampledger.toml:\n\n[publish]\nurl = \"https://THIS-COLLECTOR\"\nkey_file = \"fleet.key\"", err=True)


@fleet.command(short_help="A new key for a vehicle; the old one ends.")
@click.argument("name")
@collector
def key(name: str, settings_file: Path | None, collection: str | None) -> None:
    """Print a new key for NAME. The old one is taken no more."""
    from monitor.fleet import keys

    with _open_collection(settings_file, collection) as engine, engine.begin() as connection:
        click.echo(keys.renew(connection, name))


@fleet.command(short_help="Take a vehicle's key back.")
@click.argument("name")
@collector
def revoke(name: str, settings_file: Path | None, collection: str | None) -> None:
    """Take no more from NAME. What came stays."""
    from monitor.fleet import keys

    with _open_collection(settings_file, collection) as engine, engine.begin() as connection:
        keys.revoke(connection, name, time.time())
    click.echo(f"Nothing more is taken from {name}; what came stays.")


@fleet.command(short_help="A vehicle's board was replaced.")
@click.argument("name")
@collector
def move(name: str, settings_file: Path | None, collection: str | None) -> None:
    """Let the next board that comes with the key of NAME publish for it: the old board was replaced."""
    from monitor.fleet import keys

    with _open_collection(settings_file, collection) as engine, engine.begin() as connection:
        keys.move(connection, name)
    click.echo(f"The next board with the key of {name} publishes for it.")


@fleet.command(short_help="What the fleet knows of a vehicle's battery.")
@click.argument("name")
@click.option("--model", help="What the house battery is called.")
@click.option("--delivery", help="Which delivery it came with.")
@click.option("--fitted", "fitted_on", metavar="DAY", help="When it was fitted, as 2026-05-31.")
@click.option("--taken-out", "ended_on", metavar="DAY", help="When it was taken out, used up.")
@collector
def battery(name: str, model: str | None, delivery: str | None, fitted_on: str | None, ended_on: str | None, settings_file: Path | None,
            collection: str | None) -> None:
    """Keep model, delivery and days of the house battery of NAME, for the page Batteries."""
    from monitor.fleet import keys

    values: dict[str, str | date | None] = {"model": model, "delivery": delivery, "fitted_on": _day(fitted_on), "ended_on": _day(ended_on)}
    with _open_collection(settings_file, collection) as engine, engine.begin() as connection:
        keys.describe(connection, name, {k: v for k, v in values.items() if v is not None})
        row = keys.find(connection, name)
    click.echo(f"{name}: {row.model or 'model not known'}, delivery {row.delivery or 'not known'}, fitted {row.fitted_on or 'not known'}"
               + (f", taken out {row.ended_on}" if row.ended_on else ""))


@fleet.command(short_help="Let somebody look; prints a code.")
@click.argument("name")
@click.option("--role", type=click.Choice(["see", "acknowledge", "administer"]), default="see", show_default=True, help="What they may do.")
@click.option("--remove", is_flag=True, help="They may look no more.")
@collector
def person(name: str, role: str, remove: bool, settings_file: Path | None, collection: str | None) -> None:
    """Give NAME a new code for the pages and print it, this once."""
    from monitor.fleet import people

    with _open_collection(settings_file, collection) as engine, engine.begin() as connection:
        if remove:
            people.remove(connection, name)
            click.echo(f"{name} may look no more.")
        else:
            click.echo(f"{people.put(connection, name, role)}\n")
            click.echo(f"The code of {name}, shown this once; role: {role}.", err=True)


@fleet.command(short_help="Serve the pages, take what boards publish.")
@click.option("--address", help="Where to listen, instead of what the settings say.")
@collector
def serve(address: str | None, settings_file: Path | None, collection: str | None) -> None:
    """Serve the fleet's pages and the door for boards. Several may run over one collection, behind a balancer. Ctrl-C ends."""
    arguments = [sys.executable, "-m", "dashboard.fleet"]
    if collection:
        arguments += ["--collection", collection]
    else:
        arguments += ["--settings", str(_settings_file(settings_file))]
    os.execv(sys.executable, arguments + (["--address", address] if address else []))


@fleet.command("import", short_help="Take a log that was copied by hand.")
@click.argument("log", type=click.Path(path_type=Path))
@click.argument("name")
@collector
def import_(log: Path, name: str, settings_file: Path | None, collection: str | None) -> None:
    """Take what is new in LOG, a vehicle's log or a copy of it, for the enrolled vehicle NAME.

    It is the same as publishing: rows that came before are not taken twice, over whichever way.
    """
    from monitor.cli import Refused
    from monitor.fleet import by_hand

    with _open_collection(settings_file, collection) as engine:
        try:
            sent = by_hand.import_log(engine, log, name, time.time())
        except by_hand.NotImported as error:
            raise Refused(str(error)) from None
    click.echo(f"{log}: nothing new for {name}." if not sent.batches else
               f"{log}: {sent.batches} batches taken for {name}, {sent.size_bytes / 1000:.0f} kB.")


@fleet.command("list", short_help="Every vehicle, the most urgent first.")
@collector
def list_(settings_file: Path | None, collection: str | None) -> None:
    """List every vehicle in a line, those that need somebody first."""
    from monitor.fleet import database, overview

    with _open_collection(settings_file, collection) as engine, database.reading(engine) as connection:
        lines = overview.list_vehicles(connection, time.time())
    for line in lines:
        row = line.row
        charge = f"{row.charge_frac:.0%} ({row.charge_low_frac:.0%} to {row.charge_high_frac:.0%})" if row.charge_frac is not None else "–"
        heard = "never" if row.seen_utc_s is None else f"{datetime.fromtimestamp(row.seen_utc_s):%Y-%m-%d %H:%M}"
        click.echo(f"{line.name:<20} {charge:<20} {heard:<17} {line.sentence}".rstrip())
    if not lines:
        click.echo("No vehicle is enrolled yet: ampledger fleet enrol NAME")


@fleet.command(short_help="Judge stored minutes again with this version.")
@click.argument("names", nargs=-1)
@click.option("--processes", type=click.IntRange(1, 256), help="How many at once. Default: as many as there are cores.")
@click.option("--dask", metavar="ADDRESS", help="A Dask scheduler to run them on instead, as tcp://host:8786.")
@click.option("--run", "run_name", help="What the results are kept under. Default: version and moment.")
@collector
def replay(names: tuple[str, ...], processes: int | None, dask: str | None, run_name: str | None, settings_file: Path | None,
           collection: str | None) -> None:
    """Run this version's trackers over the stored minutes of NAMES (default: all vehicles), and keep what they conclude.

    Shows charge, capacity and verdict beside what each board concluded itself.
    """
    from monitor.cli import Refused
    from monitor.fleet import judging

    with _open_collection(settings_file, collection) as engine:
        try:
            results = judging.judge_fleet(engine, names, run_name, time.time(), processes=processes, dask=dask,
                                          tell=lambda text: click.echo(text, err=True))
        except judging.NotJudged as error:
            raise Refused(str(error)) from None
    for result in results:
        click.echo(result)


def _settings_file(given: Path | None) -> Path:
    return given if given is not None else Path("fleet.toml")


@contextmanager
def _open_collection(settings_file: Path | None, collection: str | None) -> Iterator[Any]:
    """The collection, brought to the present shape; what can go wrong with it is a sentence."""
    from sqlalchemy.exc import DBAPIError

    from monitor.cli import Refused
    from monitor.fleet import database, keys, people
    from monitor.fleet.settings import read_settings

    try:
        engine = database.open_engine(collection or read_settings(_settings_file(settings_file)).database)
        database.upgrade(engine)
        try:
            yield engine
        finally:
            engine.dispose()
    except (database.NoCollection, keys.NoVehicle, people.NoPerson) as error:
        raise Refused(str(error)) from None
    except DBAPIError as error:
        raise Refused(f"the collection cannot be used: {str(error.orig).strip().splitlines()[0]}") from None


def _day(text: str | None) -> date | None:
    from monitor.cli import Refused

    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(f"{text[:20]!r} is no day; write it as 2026-05-31") from None
