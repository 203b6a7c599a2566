"""Lays out the files as they lie on a board: the program under /opt, everything else where Debian looks for it."""
import gzip
import os
import re
import shutil
import subprocess
import sys
import zipfile
from datetime import UTC, datetime
from email.utils import format_datetime
from importlib.metadata import Distribution, PathDistribution
from pathlib import Path

from manual import manual
from wheels import PYTHONS

HERE = Path(__file__).parent
ROOT = HERE.parent
HOME = Path("opt/ampledger")
MAINTAINER = "ampledger <ampledger@localhost>"
TEXTS = re.compile(r"(licen[cs]e|copying|notice|authors)[^/]*$", re.IGNORECASE)
_SCRIPT = """\
#!/opt/ampledger/bin/python
import sys

from monitor.cli import main

sys.exit(main())
"""
_PYVENV = "home = /usr/bin\ninclude-system-site-packages = false\n"


def stage(tree: Path, wheels: list[Path], own: Path) -> str:
    """Fills an empty folder; returns ampledger's version.

    The virtual environment is the same for every Python: parts in pure Python do not differ, compiled ones carry the
    Python's number in their file names, and lib/pythonX.Y/site-packages lead to one folder. So the system may be
    upgraded to another Python below it, and nothing has to be made on the board.
    """
    shutil.rmtree(tree, ignore_errors=True)
    site = tree / HOME / "lib/site-packages"
    site.mkdir(parents=True)
    for wheel in [*wheels, own]:
        _unpack(wheel, tree / HOME, site)
    for python in PYTHONS:
        folder = tree / HOME / f"lib/python{python}"
        folder.mkdir()
        (folder / "site-packages").symlink_to("../site-packages")
    (tree / HOME / "bin").mkdir()
    (tree / HOME / "bin/python").symlink_to("/usr/bin/python3")
    (tree / HOME / "bin/python3").symlink_to("python")
    (tree / HOME / "pyvenv.cfg").write_text(_PYVENV)
    _write(tree / HOME / "bin/ampledger", _SCRIPT, 0o755)
    check(site)
    version = next(d for d in _distributions(site) if d.metadata["Name"] == "ampledger").version
    _system(tree, site, version)
    _modes(tree)
    return version


def _unpack(wheel: Path, home: Path, site: Path) -> None:
    """One wheel into the shared folder; its data files go where a virtual environment has them."""
    with zipfile.ZipFile(wheel) as archive:
        for info in archive.infolist():
            name, target = info.filename, site / info.filename
            if ".data/" in name:
                kind, _, rest = name.partition(".data/")[2].partition("/")
                if kind != "data":
                    continue  # scripts and headers of others are not used here
                target = home / rest
            if info.is_dir() or name.endswith("/RECORD"):
                continue
            if target.exists() and not name.endswith(("/WHEEL", ".json")) and target.read_bytes() != archive.read(info):
                raise SystemExit(f"{wheel.name}: {name} differs between two Pythons; they cannot share a folder")
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(archive.read(info))


def _distributions(site: Path) -> list[Distribution]:
    return [PathDistribution(folder) for folder in sorted(site.glob("*.dist-info"))]


def check(site: Path) -> None:
    """Every requirement of every part is there, for each Python. Raises SystemExit naming the one that is not."""
    from pip._vendor.packaging.requirements import Requirement  # of the pip that fetched them

    there = {d.metadata["Name"].lower().replace("_", "-"): d.version for d in _distributions(site)}
    for one in _distributions(site):
        for text in one.requires or ():
            need = Requirement(text)
            for python in PYTHONS:
                marks = {"python_version": python, "python_full_version": f"{python}.9", "platform_system": "Linux", "extra": ""}
                if need.marker is not None and not need.marker.evaluate(marks):
                    continue
                name = need.name.lower().replace("_", "-").replace(".", "-")
                if one.metadata["Name"] == "python-can" and name == "msgpack":
                    continue  # only for sending CAN frames by UDP multicast, which no driver of ours does
                if name not in there or not need.specifier.contains(there[name], prereleases=True):
                    raise SystemExit(f"{one.metadata['Name']} needs {need}, found {there.get(name, 'none')}; renew deb/pins.txt")


def _system(tree: Path, site: Path, version: str) -> None:
    """What lies outside /opt."""
    (tree / "usr/bin").mkdir(parents=True)
    (tree / "usr/bin/ampledger").symlink_to("/opt/ampledger/bin/ampledger")
    for unit in sorted((ROOT / "systemd").glob("*.service")):
        _write(tree / "usr/lib/systemd/system" / unit.name, unit.read_text())
    _write(tree / "usr/lib/sysusers.d/ampledger.conf", (ROOT / "systemd/sysusers.conf").read_text())
    (tree / "etc/ampledger").mkdir(parents=True)
    (tree / HOME / "share/doc/ampledger").mkdir(parents=True, exist_ok=True)
    docs = tree / "usr/share/doc/ampledger"
    docs.mkdir(parents=True)
    (docs / "docs").symlink_to("/opt/ampledger/share/doc/ampledger")
    _packed(docs / "changelog.gz", _changelog(version))
    _packed(docs / "NEWS.md.gz", (ROOT / "CHANGELOG.md").read_text())
    _licences(docs, site)
    _packed(tree / "usr/share/man/man1/ampledger.1.gz", manual(version))
    _completion(tree)


def _changelog(version: str) -> str:
    """Debian's form of it, which dpkg's tools read; what changed stands in NEWS.md."""
    made_s = float(os.environ.get("SOURCE_DATE_EPOCH", (ROOT / "CHANGELOG.md").stat().st_mtime))
    return (f"ampledger ({debian_version(version)}) stable; urgency=medium\n\n  * Changes, for owners: NEWS.md.gz beside this file.\n\n"
            f" -- {MAINTAINER}  {format_datetime(datetime.fromtimestamp(made_s, UTC))}\n")


def debian_version(version: str) -> str:
    """A Python version as Debian sorts it: 0.2.0rc1 comes before 0.2.0.

    >>> debian_version("0.2.0rc1")
    '0.2.0~rc1'
    """
    return re.sub(r"\.?(dev|a|b|rc)(\d+)$", r"~\1\2", version)


def _licences(docs: Path, site: Path) -> None:
    """Every part's own text, and a list of them. Raises SystemExit for a part without one."""
    summary = ["This package was made from ampledger and the parts below, each under its own licence.",
               "Their texts: /opt/ampledger/share/licences/PART/.", "",
               "ampledger\n  Apache-2.0 (the text: /usr/share/common-licenses/Apache-2.0)\n  Copyright: the authors of ampledger\n"]
    home = site.parent.parent / "share/licences"
    for one in _distributions(site):
        name = one.metadata["Name"].lower()
        folder = site / f"{one._path.name}"
        texts = [file for file in sorted(folder.rglob("*")) if file.is_file() and TEXTS.search(file.name)]
        texts += [HERE / f"licences/{name}.txt"] if (HERE / f"licences/{name}.txt").exists() else []
        if not texts:
            raise SystemExit(f"{name}: no licence text in its wheel; put it into deb/licences/{name}.txt")
        for text in texts:
            target = home / name / text.name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(text, target)
        if name != "ampledger":
            said = one.metadata.get("License-Expression") or next(
                (c.rpartition(" :: ")[2] for c in one.metadata.get_all("Classifier") or () if c.startswith("License ::")), "see its text")
            holders = sorted({line.strip() for text in texts for line in text.read_text(errors="replace").splitlines()
                              if re.match(r"\s*(©|copyright\s+(\(c\)|©|\d))", line, re.IGNORECASE)})
            summary.append(f"{one.metadata['Name']} {one.version}\n  {said}\n" + "".join(f"  {line}\n" for line in holders))
    for part in ("plotly", "type"):
        target = home / {"plotly": "plotly.js", "type": "besley"}[part] / "LICENSE"
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(ROOT / "dashboard/static" / part / "LICENSE", target)
        text = target.read_text()
        first = next(line.strip() for line in text.splitlines() if "opyright" in line)
        summary.append(f"{target.parent.name} (in the pages)\n  {'MIT' if part == 'plotly' else 'OFL-1.1'}\n  {first}\n")
    _write(docs / "copyright", "\n".join(summary))


def _completion(tree: Path) -> None:
    """click's own, for three shells."""
    places = {"bash": "bash-completion/completions/ampledger", "zsh": "zsh/vendor-completions/_ampledger",
              "fish": "fish/vendor_completions.d/ampledger.fish"}
    for shell, place in places.items():
        made = subprocess.run([sys.executable, "-c", "from monitor.cli import main; import sys; sys.argv[0] = 'ampledger'; main()"],
                              env={**os.environ, "_AMPLEDGER_COMPLETE": f"{shell}_source", "PYTHONPATH": str(ROOT)},
                              check=True, capture_output=True, text=True)
        _write(tree / "usr/share" / place, made.stdout)


def _write(path: Path, text: str, mode: int = 0o644) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)


def _packed(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(gzip.compress(text.encode(), 9, mtime=0))


def _modes(tree: Path) -> None:
    """Folders 755, files 644, programs 755: whatever the umask of who builds."""
    for path in tree.rglob("*"):
        if path.is_symlink():
            continue
        path.chmod(0o755 if path.is_dir() or path.parent.name == "bin" else 0o644)
