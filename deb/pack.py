"""Makes the Debian package of a laid-out tree."""
import hashlib
import shutil
import subprocess
from pathlib import Path

from stage import MAINTAINER, debian_version

HERE = Path(__file__).parent
_CONTROL = """\
Package: ampledger
Version: {version}
Architecture: {arch}
Maintainer: {maintainer}
Installed-Size: {size_kb}
Depends: python3 (>= 3.11), python3 (<< 3.14), libc6 (>= 2.36), libgcc-s1, init-system-helpers (>= 1.54~), debconf (>= 0.5) | debconf-2.0
Recommends: systemd, tzdata
Suggests: avahi-daemon, network-manager, gpsd, python3-pip
Section: utils
Priority: optional
Description: watches a vehicle's starter and house battery
 A daemon for a small computer in a vehicle with two 12 V batteries, and pages
 for the phone, without internet: how full the house battery is, whether it
 lasts the night, whether the starter battery stands alone and charged, whether
 a battery is worn out. It only observes.
 .
 Everything it needs beside Python is in the package{left_out}.
"""


def pack(tree: Path, arch: str, version: str, left_out: dict[str, str], target: Path) -> Path:
    """The package of a tree, in the folder `target`."""
    control = tree / "DEBIAN"
    shutil.rmtree(control, ignore_errors=True)
    files = [path for path in sorted(tree.rglob("*")) if path.is_file() and not path.is_symlink()]
    control.mkdir()
    for name in ("config", "postinst", "prerm", "postrm"):
        shutil.copyfile(HERE / name, control / name)
        (control / name).chmod(0o755)
    for name in ("templates", "triggers"):
        shutil.copyfile(HERE / name, control / name)
    text = "".join(f"{hashlib.md5(path.read_bytes()).hexdigest()}  {path.relative_to(tree)}\n" for path in files)
    (control / "md5sums").write_text(text)
    said = "".join(f",\n except the extra {extra} ({part} has no ready-made part for {arch})" for extra, part in left_out.items())
    (control / "control").write_text(_CONTROL.format(
        version=debian_version(version), arch=arch, maintainer=MAINTAINER, left_out=said,
        size_kb=sum(path.stat().st_size for path in files) // 1024 + 1))
    target.mkdir(parents=True, exist_ok=True)
    file = target / f"ampledger_{debian_version(version)}_{arch}.deb"
    subprocess.run(["dpkg-deb", "--root-owner-group", "-Zxz", "--build", str(tree), str(file)], check=True, capture_output=True)
    return file

