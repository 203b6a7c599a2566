"""make deb: dist/ampledger_VERSION_ARCH.deb and the wheel of the same version. make install: the same files into place."""
import argparse
import platform
import shutil
import subprocess
import sys
from pathlib import Path

import pack
import stage
import wheels

ROOT = Path(__file__).parent.parent
BUILD = ROOT / "build"


def main() -> None:
    """Builds for the processors named, or lays the files out for `make install`."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--arch", nargs="+", choices=sorted(wheels.MACHINES), default=[native()])
    arguments.add_argument("--tree-only", action="store_true", help="stop before the package is made")
    arguments.add_argument("--print-arch", action="store_true", help="only say what this machine is")
    chosen = arguments.parse_args()
    if chosen.print_arch:
        print(native())
        return
    own = wheels.build_own(ROOT, ROOT / "dist")
    for arch in chosen.arch:
        parts, left_out = wheels.fetch(arch, BUILD / "wheels" / arch)
        tree = BUILD / "tree" / arch
        version = stage.stage(tree, parts, own)
        for extra, part in left_out.items():
            print(f"{arch}: without the extra {extra}: {part} has no wheel for it")
        if not chosen.tree_only:
            overrides = tree / "usr/share/lintian/overrides/ampledger"
            overrides.parent.mkdir(parents=True)
            shutil.copyfile(stage.HERE / "lintian-overrides", overrides)
            file = pack.pack(tree, arch, version, left_out, ROOT / "dist")
            print(f"{file.relative_to(ROOT)}: {file.stat().st_size / 1e6:.1f} MB")


def native() -> str:
    """Debian's name of this machine's processor."""
    if shutil.which("dpkg"):
        return subprocess.run(["dpkg", "--print-architecture"], check=True, capture_output=True, text=True).stdout.strip()
    return next((arch for arch, machine in wheels.MACHINES.items() if machine == platform.machine()), "amd64")


if __name__ == "__main__":
    sys.exit(main())
