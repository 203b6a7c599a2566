"""The package on a bare Debian 12 and 13, word for word as README has it: installed, set up, measuring, opened, upgraded, removed.

Needs root, mmdebstrap, systemd-container and a network for building (not for the board): `make test-board`.
"""
import gzip
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.board.container import ADDRESS, Container, make_root
from tests.monitor.board import ROOT, Board

TOOLS = ("mmdebstrap", "systemd-nspawn", "nsenter", "ip", "dpkg-deb", "lintian")
pytestmark = [pytest.mark.board, pytest.mark.skipif(
    os.geteuid() != 0 or not all(map(shutil.which, TOOLS)), reason=f"needs root and {', '.join(TOOLS)}")]
WORK = Path(os.environ.get("AMPLEDGER_BOARD_FOLDER", "/var/tmp/ampledger-board"))
LARGEST_BYTES = 60_000_000
#: What README says to type on the board, in this order; it is typed word for word.
README = re.findall(r"^(sudo .+?)(?: +#.*)?$", (ROOT / "README.md").read_text().partition("## Installing")[2].partition("##")[0],
                    re.MULTILINE)
#: What is answered at the terminal, question by question.
TYPED = ("agm 100", "flooded 70", "1", "1", "1", "skip", "elsewhere", "", "skip", "12.71", "skip")
MOST_ANSWERS = 15
#: Shape and length of the log that an upgrade finds [days].
EARLIER_SHAPE, EARLIER_DAYS = "0002", 2
ANSWERS = 'house = "agm 100"\nstarter = "flooded 70"\nstarter_voltage_v = "in_voltage0"\nstarter_meter_v = 12.71\nall_off = true\n'


@pytest.fixture(scope="module")
def package() -> Path:
    """The package of this checkout, for this machine."""
    named = os.environ.get("AMPLEDGER_DEB")
    if named:
        return Path(named)
    made = subprocess.run([sys.executable, "deb/build.py"], cwd=ROOT, check=True, capture_output=True, text=True).stdout
    return ROOT / made.splitlines()[-1].partition(":")[0]


@pytest.fixture(scope="module")
def earlier(package: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with a lower version: what the upgrade comes from."""
    folder = tmp_path_factory.mktemp("earlier")
    subprocess.run(["dpkg-deb", "-R", str(package), str(folder / "tree")], check=True)
    control = folder / "tree/DEBIAN/control"
    control.write_text(re.sub(r"^Version: .*$", "Version: 0.0.9", control.read_text(), flags=re.MULTILINE))
    subprocess.run(["dpkg-deb", "--root-owner-group", "-Zgzip", "-z1", "--build", str(folder / "tree"),
                    str(folder / "ampledger_0.0.9.deb")],
                   check=True, capture_output=True)
    return folder / "ampledger_0.0.9.deb"


@pytest.fixture(params=["bookworm", "trixie"])
def board(request: pytest.FixtureRequest) -> Iterator[Container]:
    """A bare Debian that is booted, kernel-shaped folders under /srv."""
    root = WORK / request.param
    make_root(request.param, WORK, root)
    Board(root / "srv/kernel").now(house_a=0.0)
    made = Container(root)
    yield made
    made.end()
    shutil.rmtree(root, ignore_errors=True)


def test_the_package_is_small_and_lintian_finds_no_error(package: Path) -> None:
    assert package.stat().st_size <= LARGEST_BYTES
    # -v: without it lintian waited for ever for a child that had ended, three times of three, where the tests run in a sandbox
    found = subprocess.run(["lintian", "-v", "--fail-on", "error", "--allow-root", str(package)], capture_output=True, text=True,
                           timeout=600)
    assert found.returncode == 0, found.stdout


def test_the_package_holds_every_licence_the_manual_completions_and_documents_in_one_version(package: Path) -> None:
    listed = subprocess.run(["dpkg-deb", "-c", str(package)], check=True, capture_output=True, text=True).stdout
    names = [line.split()[5].removeprefix("./") for line in listed.splitlines()]
    parts = {re.sub(r"[-_.]+", "-", found[1]).lower() for name in names
             if (found := re.fullmatch(r"opt/ampledger/lib/site-packages/([^/]+)-[^-/]+\.dist-info/", name))}
    licences = {re.sub(r"[-_.]+", "-", found[1]).lower() for name in names
                if (found := re.match(r"opt/ampledger/share/licences/([^/]+)/[^/]+$", name))}
    assert len(parts) > 30 and parts <= licences and {"plotly-js", "besley"} <= licences, sorted(parts - licences)
    for name in ("usr/bin/ampledger", "usr/share/man/man1/ampledger.1.gz", "usr/share/bash-completion/completions/ampledger",
                 "usr/share/zsh/vendor-completions/_ampledger", "usr/share/fish/vendor_completions.d/ampledger.fish",
                 "usr/share/doc/ampledger/copyright", "opt/ampledger/share/doc/ampledger/wiring.md",
                 *(f"usr/lib/systemd/system/{unit.name}" for unit in (ROOT / "systemd").glob("*.service"))):
        assert name in names, name
    version = subprocess.run(["dpkg-deb", "-f", str(package), "Version"], check=True, capture_output=True, text=True).stdout.strip()
    assert version == tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
    assert list((ROOT / "dist").glob(f"ampledger-{version}-*.whl")), "the wheel beside it has the same version"


def test_from_a_bare_image_to_figures_on_a_phone_and_back(board: Container, package: Path, earlier: Path) -> None:
    begun_s = time.monotonic()
    board.show_kernel("/srv/kernel/sys")
    _install(board, earlier)
    kernel = Board(board.root / "srv/kernel")
    kernel.now(house_a=0.0)
    _set_up(board)
    kernel.now(house_a=-4.2)
    board.until("ampledger status")
    code = _open(board)
    took_s = time.monotonic() - begun_s
    print(f"from the bare image to figures at the phone's address: {took_s:.0f} s, {len(README)} commands, {len(TYPED)} answers")
    assert took_s < 600 and len(README) <= 6 and len(TYPED) <= MOST_ANSWERS
    _people(board)
    minutes = _upgrade(board, package, code)
    _copy_and_restore(board, minutes)
    _remove(board)


def test_make_install_from_a_checkout_measures_serves_and_is_taken_away() -> None:
    """Into a bare root, then its own systemd: the files of the package without the package."""
    root = WORK / "checkout"
    make_root("bookworm", WORK, root)
    subprocess.run(["make", "install", f"DESTDIR={root}", f"PYTHON={sys.executable}"], cwd=ROOT, check=True, capture_output=True, text=True)
    for name in ("postinst", "prerm", "postrm"):
        shutil.copy(ROOT / "deb" / name, root / "root" / name)
    board = Container(root)
    try:
        said = board.sh("sh /root/postinst configure")
        assert f"http://{ADDRESS}:21873/" in said
        Board(root / "srv/kernel").now(house_a=0.0)
        _set_up_by_file(board)
        board.until("ampledger status")
        assert "Access code: " in board.sh("ampledger pages open") and "House battery" in board.page()
        uninstall = (ROOT / "Makefile").read_text().partition("uninstall:\n")[2].partition("\n\n")[0]
        lines = uninstall.replace("\\\n", " ").replace("\t", "").replace("sh deb/", "sh /root/").replace("@echo", "echo")
        board.sh(f"set -e\n{lines}")
        left = board.sh("ls /etc/ampledger /var/lib/ampledger; ls -d /opt/ampledger /usr/bin/ampledger 2>/dev/null; true")
        assert "ampledger.toml" in left and "ampledger.db" in left and "/opt" not in left and "/usr/bin" not in left
    finally:
        board.end()
        shutil.rmtree(root, ignore_errors=True)


#: A phone, inside: it gives the code and answers each question under its heading.
PHONE = """
import json, re, sys, time
from http.cookiejar import CookieJar
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, build_opener
root, code = sys.argv[1:]
ask = build_opener(HTTPCookieProcessor(CookieJar())).open
get = lambda path="/": ask(root + path, timeout=60).read().decode()
def send(path, page, **fields):
    fields["token"] = re.search(r'name="token" value="([^"]+)"', page)[1]
    return ask(root + path, urlencode(fields).encode(), timeout=60).read().decode()
send("/code", get("/code"), code=code)
number = 0
for heading, fields in (
        ("House battery", {"kind": "agm", "capacity_ah": "100"}), ("Starter battery", {"kind": "flooded", "capacity_ah": "70"}),
        ("House voltage", {"text": "1"}), ("Starter voltage", {"text": "1"}), ("House battery temperature", {"text": "1"}),
        ("Which battery is which?", {"text": "skip"}), ("How is this board fed?", {"text": "elsewhere"}),
        ("Zero of the shunt", {"text": ""}), ("House voltage by a multimeter", {"text": "skip"}),
        ("Starter voltage by a multimeter", {"text": "12.71"}), ("Which way the current counts", {"text": "skip"}),
        ("Write it?", {"text": "write open"})):
    state = {"number": 0, "busy": True}
    while state["number"] <= number or state["busy"]:
        time.sleep(0.3)
        state = json.loads(get("/state"))
    page, number = get(), state["number"]
    assert heading in page, page
    send("/answer", page, number=str(number), **fields)
"""


def test_set_up_on_a_phone_after_the_installation_ends_in_figures_on_it(package: Path) -> None:
    """No command but the installation: the questions on the phone, by a user without rights, then live figures at the same address."""
    root = WORK / "phone"
    make_root("bookworm", WORK, root)
    Board(root / "srv/kernel").now(house_a=0.0)
    unit = (ROOT / "systemd/ampledger-setup.service").read_text()
    started = re.search(r"^ExecStart=.*$", unit, re.MULTILINE)
    assert started and "User=ampledger" in unit
    (root / "etc/systemd/system/ampledger-setup.service.d").mkdir(parents=True)
    (root / "etc/systemd/system/ampledger-setup.service.d/kernel.conf").write_text(
        f"[Service]\nExecStart=\n{started[0]} --seconds 1 --sys /srv/kernel/sys --dev /srv/kernel/dev\n")
    board = Container(root)
    try:
        shutil.copy(package, root / "root" / package.name)
        begun_s = time.monotonic()
        said = board.sh(f"cd /root && apt-get install -y ./{package.name}")
        code = re.search(r"Access code: (\S+)", said)
        assert code
        walked = board.run("python3", "-c", PHONE, f"http://{ADDRESS}:21873", code[1])
        assert walked.returncode == 0, walked.stdout + board.sh("journalctl -u ampledger-setup -n 40 --no-pager")
        board.until("test -e /etc/ampledger/ampledger.toml && ampledger status", 120)
        assert "House battery" in board.page()
        print(f"installation, 12 answers on a phone, figures on it: {time.monotonic() - begun_s:.0f} s")
        assert board.sh("stat -c %a:%U:%G /etc/ampledger/ampledger.toml").strip() == "640:root:ampledger"
        assert "open to the vehicle's network" in board.run("ampledger", "doctor").stdout
        assert board.sh("systemctl is-failed ampledger-setup ampledger-setup-finish; true").split() == ["inactive", "inactive"]
    finally:
        board.end()
        shutil.rmtree(root, ignore_errors=True)


def _type(board: Container, line: str, package: str = "", answers: tuple[str, ...] = ()) -> str:
    """A line of README as it stands there, typed by a person who may use sudo."""
    return board.as_person(line.replace("ampledger_VERSION_ARCH.deb", package), "".join(f"{answer}\n" for answer in answers))


def _install(board: Container, package: Path) -> None:
    """README's first line; the end of the installation says how to go on."""
    board.as_person("true")
    shutil.copy(package, board.root / "home/traveller" / package.name)
    said = _type(board, README[0], package.name)
    assert f"http://{ADDRESS}:21873/" in said and "█" in said
    code = re.search(r"Access code: (\S+)", said)
    assert code and code[1] not in board.sh("ps ax -o args 2>/dev/null || cat /proc/[0-9]*/cmdline")
    status, page = board.get()
    assert status == 401 and "access code" in page
    assert board.sh("systemctl is-failed --quiet ampledger ampledger-dashboard ampledger-setup && echo 1 || echo 0").strip() == "0"
    verified = board.sh("systemd-analyze verify --man=no /usr/lib/systemd/system/ampledger*.service 2>&1; true")
    assert "ampledger" not in verified, verified


def _set_up(board: Container) -> None:
    """README's second line, with the set-up on a phone still waiting; its questions are answered at the terminal."""
    _check_set_up(board, _type(board, README[1], answers=TYPED))
    assert board.get()[0] == 0  # closed to the network until somebody opens them
    assert board.sh("systemctl is-active ampledger-setup; true").strip() == "inactive"


def _set_up_by_file(board: Container) -> None:
    """The same questions, answered from a file, over folders that are named."""
    (board.root / "root/answers.toml").write_text(ANSWERS)
    _check_set_up(board, board.sh("ampledger setup --answers /root/answers.toml --seconds 1 --sys /srv/kernel/sys --dev /srv/kernel/dev"))


def _check_set_up(board: Container, said: str) -> None:
    assert "Written: /etc/ampledger/ampledger.toml" in said and "The daemon and the pages are started." in said, (
        said + board.sh("journalctl -n 80 --no-pager; systemctl --failed --no-pager; true"))
    assert board.sh("stat -c %a:%G /etc/ampledger/ampledger.toml").strip() == "640:ampledger"
    board.until("systemctl is-active --quiet ampledger && systemctl is-active --quiet ampledger-dashboard", 60)
    assert "all is well" in board.sh("ampledger check")


def _open(board: Container) -> str:
    """README's last line: opened to the vehicle's network; returns the access code."""
    said = _type(board, README[-1])
    code = re.search(r"Access code: (\S+)", said)
    assert code and f"http://{ADDRESS}:21873/" in said
    page = board.page()
    assert "House battery" in page and "12.6" in page
    assert "open to the vehicle's network" in board.run("ampledger", "doctor").stdout
    return code[1]


def _people(board: Container) -> None:
    """Members of the log's group read the log; nobody but root and the services reads the configuration."""
    board.sh("useradd -m reader && usermod -aG ampledger-log reader && useradd -m stranger")
    for line in ("ampledger status", "ampledger alerts list", "ampledger export -o /tmp/out.csv", "ampledger report -o /tmp/report.html"):
        board.sh(line, user="reader")
    assert "sudo" in board.run("su", "-", "reader", "-c", "ampledger check").stdout
    refused = board.run("su", "-", "stranger", "-c", "ampledger status")
    assert refused.returncode == 1 and "sudo" in refused.stdout and "Traceback" not in refused.stdout
    assert board.run("su", "-", "reader", "-c", "cat /etc/ampledger/ampledger.toml").returncode != 0


def _minutes(board: Container) -> int:
    return int(board.sh("ampledger export --every minutes | wc -l"))


def _upgrade(board: Container, package: Path, code: str) -> int:
    """Configuration, code and log are as they were; the daemon goes on with the log. Returns its minutes."""
    before = board.sh("sha256sum /etc/ampledger/ampledger.toml")
    minutes = _put_earlier_log(board)
    assert minutes > EARLIER_DAYS * 1400, minutes
    shutil.copy(package, board.root / "home/traveller" / package.name)
    _type(board, README[0], package.name)
    assert board.sh("sha256sum /etc/ampledger/ampledger.toml") == before
    board.until("systemctl is-active --quiet ampledger && systemctl is-active --quiet ampledger-dashboard", 60)
    board.page()
    checked = ("import re; from werkzeug.security import check_password_hash as c; "
               f"print(c(re.search('code_hash = \"(.*)\"', open('/etc/ampledger/ampledger.toml').read())[1], '{code}'))")
    assert board.sh(f"/opt/ampledger/bin/python -c \"{checked.replace(chr(34), chr(92) + chr(34))}\"").strip() == "True"
    board.until(f"test $(ampledger export --every minutes | wc -l) -gt {minutes + 1}")
    said = board.until("ampledger status")
    assert "house battery" in said and "stopped growing" not in said, said
    assert board.sh("ampledger doctor | grep -ci damaged; true").strip() == "0"
    return _minutes(board)


def _put_earlier_log(board: Container) -> int:
    """In place of the log the one that the release before wrote, as its daemon left it. Returns its minutes."""
    file = board.root / "var/lib/ampledger/ampledger.db"
    board.sh("systemctl stop ampledger")
    board.sh("rm -rf /var/lib/ampledger/ampledger.db*")
    file.write_bytes(gzip.decompress((ROOT / f"tests/earlier_logs/{EARLIER_SHAPE}.db.gz").read_bytes()))
    board.sh("chown ampledger:ampledger-log /var/lib/ampledger/ampledger.db && chmod 640 /var/lib/ampledger/ampledger.db")
    with closing(sqlite3.connect(f"file:{file}?mode=ro&immutable=1", uri=True)) as log:
        return int(log.execute("select count(*) from minutes").fetchone()[0])


def _copy_and_restore(board: Container, minutes: int) -> None:
    """A copy and the way back, both as root: afterwards the services can still write."""
    board.sh("ampledger backup --same-card /root/copy.db")
    board.sh("systemctl stop ampledger && ampledger restore --yes /root/copy.db && systemctl start ampledger")
    assert board.sh("stat -c %U /var/lib/ampledger/ampledger.db").strip() == "ampledger"
    board.until(f"test $(ampledger export --every minutes | wc -l) -gt {minutes}")


def _remove(board: Container) -> None:
    """Removing leaves configuration and log; purging takes the configuration, and the log only when asked to."""
    board.sh("apt-get remove -y ampledger")
    left = board.sh("ls /etc/ampledger /var/lib/ampledger; ls -d /opt/ampledger 2>/dev/null; true")
    assert "ampledger.toml" in left and "ampledger.db" in left and "/opt/ampledger" not in left
    board.sh("apt-get purge -y ampledger")
    assert board.run("sh", "-c", "ls /etc/ampledger").returncode != 0
    assert "ampledger.db" in board.sh("ls /var/lib/ampledger")
