"""What the package says when it has been put on a board: how to go on, and where a phone finds the set-up."""
import os
import time

import click

from monitor.commands.options import PAGES_PORT, USUAL

#: So long the set-up's pages may take to come up [s].
UP_S = 60.0


@click.command("after-install", hidden=True)
def after_install() -> None:
    """Start the set-up's pages where nothing is configured yet, and say how to go on.

    The package runs it at the end of its installation; it can be run again to see the phone's address and code.
    """
    from monitor.commands.setup_phone import SERVICE_CODE, show_setup_way
    from monitor.process import network

    if USUAL[1].exists():
        click.echo("The configuration is as it was: /etc/ampledger/ampledger.toml. Where a phone finds the pages: sudo ampledger pages "
                   "address")
        return
    click.echo("\nampledger is installed. Read `ampledger docs wiring` before you touch a cable.")
    if os.geteuid() == 0 and network.systemctl("start", "ampledger-setup"):
        end_s = time.monotonic() + UP_S
        while not SERVICE_CODE.exists() and time.monotonic() < end_s:
            time.sleep(0.2)
        if SERVICE_CODE.exists():
            show_setup_way(SERVICE_CODE.read_text().strip(), PAGES_PORT)
            click.echo("Or answer at this terminal: sudo ampledger setup")
            return
    click.echo("Next: sudo ampledger setup          (asks at this terminal)\n"
               "  or: sudo ampledger setup --phone  (asks on a phone: prints address and access code)")
