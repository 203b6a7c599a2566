"""python -m dashboard.fleet: serves the fleet's site over one collection."""
import logging
import sys
from pathlib import Path

import click

from dashboard import server
from dashboard.__main__ import split
from dashboard.fleet import create_site
from monitor.alerts.delivery import Deliverer, channels
from monitor.config.faults import ConfigError
from monitor.fleet import database, rounds, years
from monitor.fleet.batch import MOST_BYTES
from monitor.fleet.settings import FleetFile, SiteTable, read_settings


@click.command()
@click.option("--settings", "settings_file", type=click.Path(path_type=Path, dir_okay=False), help="The collector's settings (TOML).")
@click.option("--collection", help="The database instead: postgresql://user@host/name, or sqlite:///file to try it.")
@click.option("--address", help="Where to listen, instead of what the settings say.")
def main(settings_file: Path | None, collection: str | None, address: str | None) -> None:
    """Serve the fleet's pages and take what boards publish. Ctrl-C ends."""
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(name)s: %(message)s")
    logging.getLogger("alembic").setLevel(logging.WARNING)
    try:
        settings = read_settings(settings_file) if settings_file else FleetFile(database=collection or "")
        site: SiteTable = settings.site
        host, port = split(address or site.address)
        context = server.context_of(site.certificate_file, site.key_file) if site.certificate_file and site.key_file else None
        engine = database.open_engine(collection or settings.database)
        database.upgrade(engine)
        app = create_site(engine, names=site.names, secure=context is not None, identity_header=site.identity_header, proxy=site.proxy)
        deliverer = Deliverer(channels(settings.alerts.command, settings.alerts.apprise, settings.alerts.mqtt), settings.alerts.timeout_s)
    except (ConfigError, ValueError, server.Unusable, database.NoCollection) as error:
        raise click.ClickException(str(error)) from None
    going, counting = rounds.Rounds(engine, deliverer, site.digest_at), years.YearsThread(engine)
    going.start()
    counting.start()
    place = engine.url.render_as_string(hide_password=True)
    click.echo(f"Fleet at {'https' if context else 'http'}://{host}:{port}/ over {place}", err=True)
    try:
        server.serve(app, host, port, context, most_body=MOST_BYTES + 4096, most_of_one=200)
    except OSError as error:
        raise click.ClickException(f"cannot listen on {host}:{port}: {error.strerror}; is another collector running there?") from error
    finally:
        going.close()
        counting.close()
        deliverer.close()


if __name__ == "__main__":
    sys.exit(main())
