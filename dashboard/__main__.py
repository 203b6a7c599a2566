"""python -m dashboard: serves the pages over one log. Reads no configuration, so it needs nothing of the daemon."""
import re
import sys
from ipaddress import ip_address
from pathlib import Path

import click

from dashboard import create_app, server
from monitor.store import requests

HASH = re.compile(r"(scrypt|pbkdf2):[^$\s]+\$[^$\s]+\$[0-9a-f]+")


@click.command()
@click.option("--database", required=True, type=click.Path(path_type=Path, dir_okay=False),
              help="The log to show. It may appear later: until then every page says so.")
@click.option("--address", default="127.0.0.1:21873", show_default=True,
              help="Where to listen: this board only, unless you say otherwise (0.0.0.0:21873 is the whole network).")
@click.option("--requests-folder", type=click.Path(path_type=Path, file_okay=False),
              help="Where requests from the pages are left for the monitor (default: the pages' own door of its log).")
@click.option("--code-file", type=click.Path(path_type=Path, dir_okay=False, exists=True),
              help="A file holding the hash that `ampledger code` printed; then any change needs the code.")
@click.option("--code-to-read", is_flag=True, help="Reading needs the code too.")
@click.option("--name", "names", multiple=True,
              help="A name browsers may call this board by, beside its own. May be repeated.")
@click.option("--results-folder", type=click.Path(path_type=Path, file_okay=False), envvar="CACHE_DIRECTORY",
              help="Where results of long work are kept (default: they go with this process).")
@click.option("--certificate", type=click.Path(path_type=Path, dir_okay=False),
              help="Your certificate with its chain (PEM): the pages are then served by https only.")
@click.option("--key", type=click.Path(path_type=Path, dir_okay=False), help="The certificate's private key (PEM), not locked.")
def main(database: Path, address: str, requests_folder: Path | None, code_file: Path | None, code_to_read: bool,
         names: tuple[str, ...], results_folder: Path | None, certificate: Path | None, key: Path | None) -> None:
    """Serve the pages over one log. They only read it; Ctrl-C ends.

    Nothing is fetched from outside. Without a code, only a browser on the board itself can
    mark an alert as seen or be reminded later.
    """
    host, port = split(address)
    if (certificate is None) != (key is None):
        raise click.ClickException("--certificate and --key belong together; give both or none")
    try:
        context = server.context_of(certificate, key) if certificate and key else None
        app = create_app(database, doors=(lambda: (requests_folder,)) if requests_folder else lambda: requests.doors(database, pages=True),
                         code_hash=hash_in(code_file) if code_file else None, code_to_read=code_to_read, names=names,
                         secure=context is not None, results_folder=results_folder)
    except (ValueError, server.Unusable) as error:
        raise click.ClickException(str(error)) from error
    shown = f"[{host}]" if ":" in host else host
    click.echo(f"Pages at {'https' if context else 'http'}://{shown}:{port}/ over {database}", err=True)
    try:
        server.serve(app, host, port, context)
    except OSError as error:
        raise click.ClickException(
            f"cannot listen on {address}: {error.strerror}; is another dashboard running, "
            "or the port below 1024?") from error


def split(address: str) -> tuple[str, int]:
    """Host and port of an address like 127.0.0.1:21873 or [::1]:21873.

    >>> split("[::1]:21873")
    ('::1', 21873)
    """
    host, _, port = address.rpartition(":")
    host = host.strip("[]") or "127.0.0.1"
    try:
        if host != "localhost":
            ip_address(host)
    except ValueError:
        raise click.ClickException(f"--address {address}: {host!r} is no address of this board in numbers; "
                                   "write 127.0.0.1:21873, or 0.0.0.0:21873 for the whole network") from None
    if not (port.isascii() and port.isdecimal()) or not 1 <= int(port) <= 65535:
        raise click.ClickException(f"--address {address}: the port must be a number from 1 to 65535, "
                                   "as in 127.0.0.1:21873")
    return host, int(port)


def hash_in(file: Path) -> str:
    """The hash in a code file, whether alone or as the configuration line that `ampledger code` prints."""
    found = HASH.search(file.read_text(encoding="utf-8", errors="replace"))
    if found is None:
        raise click.ClickException(f"{file}: no hash in it; put in what `ampledger code` prints")
    return found.group()


if __name__ == "__main__":
    sys.exit(main())
