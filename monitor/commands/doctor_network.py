"""What doctor says of the way from a phone to the pages."""
import shutil
import subprocess
from collections.abc import Iterator
from typing import Any

from monitor.process import network
from monitor.reporting.health_row import HealthRow


def find_network(config: Any) -> Iterator[HealthRow]:
    """Whether a phone gets to the pages, by which Wi-Fi, and whether the internet could."""
    table = config.dashboard
    port = int(table.address.rpartition(":")[2])
    if not table.open_to_network:
        yield HealthRow("Pages", "ok", "they answer this board only", "For phones: `ampledger pages open` (makes an access code too).")
    else:
        urls = network.list_urls(port, table.certificate_file is not None)
        yield HealthRow("Pages", "ok" if urls else "look",
                      f"open to the vehicle's network, {urls[0]}" if urls else "open, but this board is in no network",
                      "" if urls else "Its own Wi-Fi, or a camp's: `ampledger docs network`.")
        if network.is_service() and not network.WALL.exists():
            yield HealthRow("Pages", "wrong", "systemd lets nobody but this board through to them",
                          "`ampledger pages open` opens both; nothing else is changed by it.")
    public = [one for one in network.find_addresses() if one.public]
    for one in public:
        yield HealthRow("Network", "look", f"{one.interface} has an address that the internet can reach ({one.address})",
                      "ampledger lets only private networks in. Never forward its port; from afar use a tunnel: `ampledger docs network`.")
    yield from _wifi()


def _wifi() -> Iterator[HealthRow]:
    """The board's own Wi-Fi or the one it joined, where NetworkManager keeps it."""
    if shutil.which("nmcli") is None:
        return
    rows = _nmcli("-t", "-f", "TYPE,STATE,CONNECTION", "device")
    for row in rows:
        kind, state, name = (row.split(":", 2) + ["", ""])[:3]
        if kind != "wifi":
            continue
        if state != "connected":
            yield HealthRow("Wi-fi", "look", f"the radio is {state or 'off'}",
                          "Its own Wi-Fi, or joining a camp's: `ampledger docs network`.")
            continue
        own = _nmcli("-g", "802-11-wireless.mode", "connection", "show", name) == ["ap"]
        yield HealthRow("Wi-fi", "ok", f"this board's own: {name}" if own else f"joined {name}",
                      "" if own else "Strangers in the same Wi-Fi can read the pages; `ampledger pages open --code-to-read` asks them for "
                                     "the code.")


def _nmcli(*arguments: str) -> list[str]:
    try:
        done = subprocess.run(["nmcli", *arguments], capture_output=True, text=True, timeout=10, errors="replace")
    except (OSError, subprocess.TimeoutExpired):  # NetworkManager is busy, or not as it was
        return []
    return done.stdout.strip().splitlines() if done.returncode == 0 else []
