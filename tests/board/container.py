"""A minimal Debian with its own systemd, in a folder: made by mmdebstrap, booted by systemd-nspawn, asked by nsenter."""
import shutil
import subprocess
import time
from hashlib import sha256
from pathlib import Path

#: What a board's image has at least.
PACKAGES = "systemd,systemd-sysv,dbus,python3,passwd,sudo"
#: The board's address in the vehicle's network; on its loopback, for not every kernel has dummy interfaces.
ADDRESS = "192.168.42.7"


def make_root(suite: str, cache: Path, target: Path) -> None:
    """A fresh root of a Debian; the archive it is unpacked from is made once."""
    archive = cache / f"{suite}-{sha256(PACKAGES.encode()).hexdigest()[:8]}.tar"
    if not archive.exists():
        cache.mkdir(parents=True, exist_ok=True)
        part = cache / f"{suite}.part.tar"
        subprocess.run(["mmdebstrap", "--quiet", "--variant=minbase", f"--include={PACKAGES}", suite, str(part)], check=True)
        part.rename(archive)
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir(parents=True)
    subprocess.run(["tar", "-xf", str(archive), "-C", str(target)], check=True)


class Container:
    """A Debian that is booted. It has no network but its own: nothing can be fetched from anywhere."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._console = open(root.with_suffix(".console"), "wb")  # noqa: SIM115
        self._nspawn = subprocess.Popen(
            ["systemd-nspawn", "--quiet", "--register=no", "--keep-unit", "--private-network", "-D", str(root), "-b"],
            stdin=subprocess.DEVNULL, stdout=self._console, stderr=subprocess.STDOUT)
        end_s = time.monotonic() + 120
        while time.monotonic() < end_s:
            if (pid := self._init()) and self.run("systemctl", "is-system-running").stdout.strip() in ("running", "degraded"):
                subprocess.run(["nsenter", "-t", pid, "-n", "sh", "-c", f"ip link set lo up; ip addr add {ADDRESS}/32 dev lo"], check=True)
                return
            time.sleep(1)
        self.end()
        raise AssertionError(f"{root}: systemd did not come up: {root.with_suffix('.console').read_text(errors='replace')[-2000:]}")

    def _init(self) -> str | None:
        children = Path(f"/proc/{self._nspawn.pid}/task/{self._nspawn.pid}/children")
        return children.read_text().split()[0] if children.exists() and children.read_text().split() else None

    def run(self, *command: str, stdin: str = "", timeout_s: float = 300) -> subprocess.CompletedProcess[str]:
        """A command inside, as root, with its output and errors together."""
        return subprocess.run(
            ["nsenter", "-t", self._init() or "0", "-m", "-u", "-i", "-n", "-p", "-r", "-w", "env", "-i", "TERM=dumb", "LANG=C.UTF-8",
             "DEBIAN_FRONTEND=noninteractive", "PATH=/usr/sbin:/usr/bin:/sbin:/bin", "HOME=/root", *command],
            input=stdin, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, timeout=timeout_s, errors="replace")

    def show_kernel(self, folder: str) -> None:
        """Lets the folder stand in place of /sys, as if the kernel had found these chips; systemd's own part stays."""
        self.sh(f"mkdir -p {folder}/fs/cgroup && mount --rbind /sys/fs/cgroup {folder}/fs/cgroup && mount --rbind {folder} /sys")

    def as_person(self, line: str, stdin: str = "") -> str:
        """What a line says that a person types who may use sudo, as on a board's image."""
        self.sh("id traveller >/dev/null 2>&1 || { useradd -m -s /bin/bash -G sudo traveller; "
                "echo '%sudo ALL=(ALL) NOPASSWD: ALL' > /etc/sudoers.d/traveller; }")
        return self.sh(line, user="traveller", stdin=stdin)

    def sh(self, line: str, user: str = "root", timeout_s: float = 300, stdin: str = "") -> str:
        """What a line of shell says; it must succeed."""
        command = ("sh", "-c", line) if user == "root" else ("su", "-", user, "-c", line)
        done = self.run(*command, timeout_s=timeout_s, stdin=stdin)
        assert done.returncode == 0, f"{line}\nended with {done.returncode}:\n{done.stdout}"
        return done.stdout

    def until(self, line: str, timeout_s: float = 240) -> str:
        """What a line of shell says once it succeeds."""
        end_s = time.monotonic() + timeout_s
        while time.monotonic() < end_s:
            done = self.run("sh", "-c", line)
            if done.returncode == 0:
                return done.stdout
            time.sleep(2)
        raise AssertionError(f"{line}\nstill fails:\n{done.stdout}\n{self.run('journalctl', '-n', '60', '--no-pager').stdout}")

    def get(self, path: str = "/", port: int = 21873) -> tuple[int, str]:
        """What the pages answer at the board's address: status and text."""
        code = (f"import urllib.request as u, urllib.error as e\ntry:\n a = u.urlopen('http://{ADDRESS}:{port}{path}', timeout=20)\n"
                " print(a.status); print(a.read().decode())\nexcept e.HTTPError as x:\n print(x.code); print(x.read().decode())\n"
                "except e.URLError as x:\n print(0); print(x)\n")
        status, _, text = self.run("python3", "-c", code).stdout.partition("\n")
        return int(status), text

    def page(self, timeout_s: float = 60) -> str:
        """The first page, once it is served."""
        end_s = time.monotonic() + timeout_s
        while (found := self.get())[0] != 200:
            assert time.monotonic() < end_s, found
            time.sleep(1)
        return found[1]

    def end(self) -> None:
        """Powers it off."""
        if self._nspawn.poll() is None and (pid := self._init()):
            subprocess.run(["kill", "-s", "RTMIN+4", pid])
            try:
                self._nspawn.wait(60)
            except subprocess.TimeoutExpired:
                self._nspawn.kill()
                self._nspawn.wait()
        self._console.close()
