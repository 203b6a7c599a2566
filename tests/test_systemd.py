"""The units: understood by systemd to the last key, and closed to what they do not need."""
import re
import shutil
import socket
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import commands
from monitor.process.systemd_notify import Notifier

FOLDER = Path(__file__).parent.parent / "systemd"
UNITS = sorted(FOLDER.glob("*.service"))
#: On a server, put there by hand; in a folder of its own, so that no package takes it to a board.
COLLECTOR = FOLDER / "collector" / "ampledger-fleet.service"
needs_systemd = pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="needs systemd-analyze: apt install systemd")


@needs_systemd
def test_every_unit_is_understood_without_a_complaint(tmp_path: Path) -> None:
    """On copies whose program exists here; an unknown key only shows on standard error."""
    for unit in [*UNITS, COLLECTOR]:
        text = re.sub(r"^(ExecStart\w*=[-+]*)/opt/\S+", r"\1/bin/true", unit.read_text(), flags=re.M)
        (tmp_path / unit.name).write_text(text)
    ran = subprocess.run(["systemd-analyze", "verify", "--man=no", "--recursive-errors=no", *map(str, tmp_path.glob("*.service"))],
                         capture_output=True, text=True, timeout=60)
    ours = [line for line in ran.stderr.splitlines() if "ampledger" in line]
    assert ran.returncode == 0 and not ours, ran.stderr


@needs_systemd
@pytest.mark.parametrize(("unit", "most"), [("ampledger", 15), ("ampledger-dashboard", 15), ("ampledger-setup", 15),
                                             ("ampledger-setup-finish", 15), ("collector/ampledger-fleet", 15)])
def test_every_unit_is_hardened(unit: str, most: int) -> None:
    """Overall exposure on systemd's own scale, 0 (closed) to 100: at most 1.5 of 10."""
    ran = subprocess.run(["systemd-analyze", "security", "--offline=true", f"--threshold={most}", "--no-pager",
                          str(FOLDER / f"{unit}.service")],
                         capture_output=True, text=True, timeout=60, check=False)
    assert ran.returncode == 0, ran.stdout[-300:] + ran.stderr
    assert {unit.stem for unit in UNITS} == {"ampledger", "ampledger-dashboard", "ampledger-setup", "ampledger-setup-finish"}


@pytest.mark.skipif(shutil.which("systemd-sysusers") is None, reason="needs systemd-sysusers: apt install systemd")
def test_each_service_has_a_user_of_its_own_and_the_pages_are_not_in_the_group_that_reads_secrets(tmp_path: Path) -> None:
    """The users as systemd-sysusers makes them in an empty system."""
    (tmp_path / "usr/lib/sysusers.d").mkdir(parents=True)
    (tmp_path / "etc").mkdir()
    shutil.copy(FOLDER / "sysusers.conf", tmp_path / "usr/lib/sysusers.d/ampledger.conf")
    subprocess.run(["systemd-sysusers", f"--root={tmp_path}"], check=True, capture_output=True, timeout=60)
    users = {line.split(":")[0]: line.split(":") for line in (tmp_path / "etc/passwd").read_text().splitlines()}
    groups = {line.split(":")[0]: (line.split(":")[2],
                                   line.split(":")[3].split(",")) for line in (tmp_path / "etc/group").read_text().splitlines()}
    assert set(users) == {"ampledger", "ampledger-pages"} and all(u[6].endswith("nologin") for u in users.values())
    assert groups["ampledger-log"][1] == ["ampledger"] and users["ampledger-pages"][3] == groups["ampledger-log"][0]
    assert users["ampledger"][3] == groups["ampledger"][0] and groups["ampledger"][1] == [""]
    settings = {unit.stem: dict(line.split("=", 1) for line in unit.read_text().splitlines() if "=" in line and line[:1] != "#")
                for unit in UNITS if not unit.stem.startswith("ampledger-setup")}
    assert {name: s["User"] for name, s in settings.items()} == {"ampledger": "ampledger", "ampledger-dashboard": "ampledger-pages"}
    assert all(s["Group"] == "ampledger-log" for s in settings.values())
    assert "SupplementaryGroups" not in settings["ampledger-dashboard"] and "StateDirectory" not in settings["ampledger-dashboard"]


@pytest.mark.skipif(shutil.which("systemd-sysusers") is None, reason="needs systemd-sysusers: apt install systemd")
def test_the_collector_has_a_user_of_its_own_and_starts_as_its_document_says(tmp_path: Path) -> None:
    """The user as systemd-sysusers makes it; the program, its settings and the name in the database are those of docs/fleet.md."""
    (tmp_path / "usr/lib/sysusers.d").mkdir(parents=True)
    (tmp_path / "etc").mkdir()
    shutil.copy(COLLECTOR.with_name("sysusers.conf"), tmp_path / "usr/lib/sysusers.d/ampledger-fleet.conf")
    subprocess.run(["systemd-sysusers", f"--root={tmp_path}"], check=True, capture_output=True, timeout=60)
    users = [line.split(":") for line in (tmp_path / "etc/passwd").read_text().splitlines()]
    assert [u[0] for u in users] == ["ampledger-fleet"] and users[0][6].endswith("nologin")
    unit = dict(line.split("=", 1) for line in COLLECTOR.read_text().splitlines() if "=" in line and line[:1] != "#")
    assert unit["User"] == unit["Group"] == "ampledger-fleet"
    said = (FOLDER.parent / "docs/fleet.md").read_text()
    for word in ("createuser ampledger-fleet", "/etc/ampledger-fleet/fleet.toml", "/opt/ampledger-fleet/bin/", "systemd/collector"):
        assert word in said, word
    program, *arguments = unit["ExecStart"].split()
    assert program == "/opt/ampledger-fleet/bin/ampledger" and "/etc/ampledger-fleet/fleet.toml" in arguments
    ran = CliRunner().invoke(commands, [*arguments[:2], "--help"])
    assert ran.exit_code == 0 and "--settings" in ran.output


@pytest.mark.parametrize("abstract", [False, True])
def test_the_daemon_tells_systemd_what_it_expects(tmp_path: Path, abstract: bool) -> None:
    """sd_notify(3): datagrams of NAME=value lines to the socket in NOTIFY_SOCKET."""
    name = f"@ampledger-test-{tmp_path.name}" if abstract else str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("\0" + name[1:] if abstract else name)
        manager.settimeout(5)
        notifier = Notifier(name)
        notifier.ready("measuring")
        notifier.alive()
        notifier.status("house 80 %")
        notifier.stopping()
        assert [manager.recv(1000) for _ in range(4)] == [b"READY=1\nSTATUS=measuring", b"WATCHDOG=1", b"STATUS=house 80 %", b"STOPPING=1"]
        notifier.close()
    Notifier("").ready("nobody asked")
    gone = Notifier(name)
    gone.alive()  # nobody listens any more: no error
    gone.close()
