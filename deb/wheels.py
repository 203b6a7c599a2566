"""Fetches the wheels of pins.txt for a processor and each Python, and builds ampledger's own. Nothing is compiled."""
import hashlib
import json
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
#: Pythons that the package serves: Debian 12 has 3.11, Debian 13 has 3.13, what lies between 3.12.
PYTHONS = ("3.11", "3.12", "3.13")
#: Debian's name of a processor -> that of wheels.
MACHINES = {"amd64": "x86_64", "arm64": "aarch64", "armhf": "armv7l"}
#: glibc versions of wheels that Debian 12 (glibc 2.36) can load, as the tags say it (PEP 600).
GLIBC = (36, 34, 31, 28, 17, 5)


@dataclass(frozen=True)
class Pin:
    """One part: name, version, and the extras that alone need it (none: always needed)."""

    name: str
    version: str
    extras: frozenset[str]


def pins(file: Path = HERE / "pins.txt") -> list[Pin]:
    """The parts of pins.txt."""
    found = []
    for line in file.read_text().splitlines():
        part, _, extras = line.partition("#")
        if part.strip():
            name, _, version = part.strip().partition("==")
            found.append(Pin(name, version, frozenset(word.strip() for word in extras.split(",") if word.strip())))
    return found


def fetch(arch: str, folder: Path) -> tuple[list[Path], dict[str, str]]:
    """Wheels of every part for one processor, and the extras left out: extra -> the part that has no wheel.

    What was fetched before is not fetched again while pins.txt stays the same.

    Raises
    ------
    SystemExit : a part that is always needed has no wheel
    """
    wanted, kept = pins(), folder / "fetched.json"
    mark = hashlib.sha256((HERE / "pins.txt").read_bytes() + repr(PYTHONS).encode()).hexdigest()
    before = json.loads(kept.read_text()) if kept.exists() else {}
    if before.get("pins") != mark:
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        before = {"pins": mark, "left_out": _fetch(wanted, arch, folder)}
        kept.write_text(json.dumps(before))
    left_out = before["left_out"]
    return [wheel for pin in wanted if not pin.extras or pin.extras - left_out.keys()
            for wheel in sorted(folder.glob(f"{pin.name.replace('-', '_')}-*.whl"))], left_out


def _fetch(wanted: list[Pin], arch: str, folder: Path) -> dict[str, str]:
    for python in PYTHONS:
        if not _download([pin for pin in wanted if not pin.extras], arch, python, folder):
            raise SystemExit(f"not every part that is always needed has a wheel for {arch} and Python {python}; nothing was built")
    left_out: dict[str, str] = {}
    beside = [pin for pin in wanted if pin.extras]
    for python in PYTHONS:
        if not _download(beside, arch, python, folder):
            for pin in beside:
                if not _download([pin], arch, python, folder):
                    left_out |= dict.fromkeys(pin.extras, pin.name)
    return left_out


def _download(some: list[Pin], arch: str, python: str, folder: Path) -> bool:
    machine, tag = MACHINES[arch], "cp" + python.replace(".", "")
    platforms = [f"manylinux_2_{minor}_{machine}" for minor in GLIBC] + [f"manylinux2014_{machine}", f"linux_{machine}"]
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary", ":all:", "--python-version", python,
               "--implementation", "cp", *(x for abi in (tag, "abi3", "none") for x in ("--abi", abi)),
               *(x for name in platforms for x in ("--platform", name)), *(f"{pin.name}=={pin.version}" for pin in some), "-d", str(folder)]
    return subprocess.run(command, capture_output=True).returncode == 0


def build_own(root: Path, folder: Path) -> Path:
    """The wheel of ampledger itself."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("ampledger-*.whl"):
        old.unlink()
    subprocess.run([sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", str(root), "-w", str(folder)], check=True)
    return next(folder.glob("ampledger-*.whl"))
