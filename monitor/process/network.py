"""How a phone gets to the pages: the board's addresses and name, and systemd's wall around the pages' service."""
import ipaddress
import os
import socket
import subprocess
from dataclasses import dataclass
from pathlib import Path

#: Networks that a router does not pass on to the internet (RFC 1918, RFC 3927, RFC 4193, RFC 4291).
VEHICLE_NETWORKS = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "fc00::/7", "fe80::/10")
WALL = Path("/etc/systemd/system/ampledger-dashboard.service.d/network.conf")
_WALL_TEXT = "# written by `ampledger pages open`; `ampledger pages close` takes it away\n[Service]\nIPAddressAllow={}\n"
AVAHI = Path("/run/avahi-daemon/socket")


@dataclass(frozen=True, slots=True)
class BoardAddress:
    """One address of this board: of which interface, and whether the internet could reach it."""

    interface: str
    address: str
    public: bool


def find_addresses() -> list[BoardAddress]:
    """Every IPv4 address of this board but loopback, those of the vehicle's network first; global IPv6 ones too."""
    import ifaddr

    found = []
    for adapter in ifaddr.get_adapters():
        for one in adapter.ips:
            ip = ipaddress.ip_address(one.ip if isinstance(one.ip, str) else one.ip[0])
            if not ip.is_loopback and (ip.version == 4 or ip.is_global):
                found.append(BoardAddress(adapter.nice_name, str(ip), ip.is_global))
    return sorted(found, key=lambda a: (a.public, ":" in a.address, a.interface.startswith(("docker", "br-", "veth")), a.interface))


def find_name() -> str | None:
    """The board's name as phones find it (mDNS, RFC 6762), or None where nobody here answers for it."""
    return f"{socket.gethostname().partition('.')[0]}.local" if AVAHI.exists() else None


def list_urls(port: int, secure: bool = False) -> list[str]:
    """Where a phone finds the pages, the best first: by name where it is answered for, then by number."""
    hosts = [name] if (name := find_name()) else []
    hosts += [one.address for one in find_addresses() if not one.public and ":" not in one.address]
    return [f"{'https' if secure else 'http'}://{host}:{port}/" for host in hosts]


def draw_qr(text: str) -> str:
    """A QR code (ISO/IEC 18004) in the characters of a terminal, light on dark or dark on light."""
    from io import StringIO

    import segno

    out = StringIO()
    segno.make(text, error="m", micro=False).terminal(out=out, border=2, compact=True)
    return out.getvalue()


def is_systemd() -> bool:
    """Whether this system was started by systemd."""
    return Path("/run/systemd/system").is_dir()


def ask_systemd(*arguments: str) -> str:
    """Lets systemctl do something; why it was not done, in its own last words, "" where it was. An ordinary user does not ask."""
    if not is_systemd():
        return "this system was not started by systemd"
    if os.geteuid() != 0:
        return "only root may do it"
    done = subprocess.run(["systemctl", *arguments], capture_output=True, text=True, errors="replace")
    if done.returncode == 0:
        return ""
    return next((line.strip() for line in done.stderr.splitlines() if line.strip()), f"systemctl ended with {done.returncode}")


def systemctl(*arguments: str) -> bool:
    """Lets systemd do something; whether it was done (`ask_systemd` says why not)."""
    return not ask_systemd(*arguments)


def is_service() -> bool:
    """Whether the pages are a service of this board."""
    return is_systemd() and any((Path(place) / "ampledger-dashboard.service").exists()
                                for place in ("/usr/lib/systemd/system", "/lib/systemd/system", "/etc/systemd/system"))


def open_wall(wall: Path = WALL) -> None:
    """Lets the vehicle's own networks through to the pages' service, and nobody else. Raises OSError."""
    wall.parent.mkdir(parents=True, exist_ok=True)
    wall.write_text(_WALL_TEXT.format(" ".join(VEHICLE_NETWORKS)))


def close_wall(wall: Path = WALL) -> None:
    """The pages answer this board alone again."""
    wall.unlink(missing_ok=True)
