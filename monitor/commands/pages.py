"""ampledger pages: serve them as configured, open them to the vehicle's network, close them, say where they are."""
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import USUAL, config_option, load_config
from monitor.commands.pages_access import open_pages, port_of


@click.group(invoke_without_command=True, short_help="Serve the pages, open them to phones, or close them.")
@config_option
@click.option("--prepare", metavar="FOLDER", type=click.Path(path_type=Path), help="For the service, as root: put into FOLDER what its "
              "owner needs to serve the pages, and end.")
@click.option("--prepared", metavar="FOLDER", type=click.Path(path_type=Path), help="For the service: serve by what was put into FOLDER, "
              "without reading the configuration.")
@click.pass_context
def pages(ctx: click.Context, config_file: Path | None, prepare: Path | None, prepared: Path | None) -> None:
    """Serve the pages over the log, at the address and with the code of the configuration. Ctrl-C ends it.

    The same as `python -m dashboard` with the options that follow from [log] and [dashboard]: a process
    of its own that only reads the log, so a slow page cannot delay a reading. Where nothing is configured
    yet it does what `ampledger setup --phone` does.
    """
    from monitor.process import pages_settings

    if ctx.invoked_subcommand is not None:
        return
    if prepared is not None:
        pages_settings.serve(pages_settings.read(prepared), prepared)
        return
    if prepare is None and not _path(config_file).exists():
        from monitor.commands.setup import setup

        click.echo(f"{_path(config_file)}: there is no configuration yet; set-up on a phone begins.")
        ctx.invoke(setup, config_file=config_file, phone=True)
        return
    config = load_config(config_file, need_sources=False)
    if prepare is not None:
        pages_settings.prepare(config, prepare)
    else:
        pages_settings.serve(pages_settings.settings_of(config), Path())


@pages.command("open", short_help="Let the phones on the vehicle's network in, with an access code.")
@config_option
@click.option("--code-to-read", is_flag=True, help="Ask for the code before showing anything, too.")
@click.option("--new-code", is_flag=True, help="Make a new code where there is one already.")
def open_(config_file: Path | None, code_to_read: bool, new_code: bool) -> None:
    """Open the pages to the vehicle's network, and make the access code that changing anything needs.

    Prints the address for a phone, as text and as a QR code, and the code, which is stored nowhere but as a hash.
    Only private networks get through, the internet does not: never forward this port (`ampledger docs network`).
    """
    path = _path(config_file)
    code = open_pages(path, code_to_read=code_to_read, new_code=new_code)
    click.echo(f"{path}: the pages are open to the vehicle's network." + (" The services were started anew." if restart_pages() else ""))
    show_way(load_config(path, need_sources=False).dashboard, code)


@pages.command(short_help="Let only this board see the pages.")
@config_option
def close(config_file: Path | None) -> None:
    """Close the pages to every network: they answer this board alone, and the access code is gone."""
    from monitor.commissioning import document
    from monitor.process import network

    path = _path(config_file)
    doc = document.read(path)
    port = port_of(doc)
    document.note_result(doc, "dashboard", address=f"127.0.0.1:{port}", code_hash=None, code_to_read=None)
    document.write(doc, path)
    if network.is_service():
        network.close_wall()
    click.echo(f"{path}: the pages answer this board only." + (" The service was started anew." if restart_pages() else ""))


@pages.command(short_help="Show where a phone finds the pages.")
@config_option
def address(config_file: Path | None) -> None:
    """Print the address for a phone, as text and as a QR code."""
    from monitor.cli import Refused

    table = load_config(config_file, need_sources=False).dashboard
    if not table.open_to_network:
        raise Refused("the pages answer this board only; `ampledger pages open` lets the phones on the vehicle's network in")
    show_way(table, None)


def restart_pages() -> bool:
    """Starts the pages' service anew, where it is one; whether it was done."""
    from monitor.process import network

    return network.systemctl("daemon-reload") and network.systemctl("restart", "ampledger-dashboard")


def show_way(table: Any, code: str | None) -> None:
    """The address for a phone in words and as a QR code, and the code where it was just made."""
    from monitor.process import network

    port = int(table.address.rpartition(":")[2])
    urls = network.list_urls(port, table.certificate_file is not None)
    if urls:
        click.echo(f"\nOn a phone in the same network: {urls[0]}" + "".join(f"\n  or {url}" for url in urls[1:4]) + "\n")
        click.echo(network.draw_qr(urls[0]))
    else:
        click.echo(f"\nThis board is in no network yet. Its own Wi-Fi, or a camp's: `ampledger docs network`. "
                   f"Then the pages are at port {port} of its address: `ampledger pages address`.")
    if code is not None:
        click.echo(f"Access code: {code}   (write it down; changing anything asks for it. A forgotten one: ampledger pages open "
                   "--new-code)")
    elif table.code_hash is not None:
        click.echo("The access code stays as it was (--new-code makes another).")


def _path(config_file: Path | None) -> Path:
    return config_file or next((place for place in USUAL if place.exists()), USUAL[0])
