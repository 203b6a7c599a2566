"""The services of this board: the daemon and the pages started, a set-up that waits for a phone ended."""
import time

from monitor.process import network

#: So long a start that took the place of ours may take [s].
SUPERSEDED_S = 20.0
#: Set-up on a phone as a service; it holds the pages' port while it waits.
SERVICE = "ampledger-setup"


def end_waiting_service() -> bool:
    """Ends a set-up on a phone that waits as a service, for another one takes its place; whether there was one."""
    return network.systemctl("is-active", "--quiet", SERVICE) and network.systemctl("stop", SERVICE)


def start_services() -> str:
    """Starts the daemon and the pages of this board, now and at every boot. Returns what is to be told of it."""
    end_waiting_service()
    network.systemctl("daemon-reload")
    network.systemctl("enable", "ampledger", "ampledger-dashboard")
    why = network.ask_systemd("restart", "ampledger", "ampledger-dashboard")
    # a start that somebody else asked for meanwhile takes the place of ours, which systemctl then calls cancelled
    if not why or _come_up("ampledger", "ampledger-dashboard"):
        return "The daemon and the pages are started."
    return f"The daemon and the pages could not be started: {why}\nTry it by hand: sudo systemctl restart ampledger ampledger-dashboard"


def _come_up(*units: str) -> bool:
    """Whether all of these run within a while."""
    end_s = time.monotonic() + SUPERSEDED_S
    # one by one: of several units is-active asks whether any is
    while not (up := all(network.systemctl("is-active", "--quiet", unit) for unit in units)) and time.monotonic() < end_s:
        time.sleep(0.5)
    return up
