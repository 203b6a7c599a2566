"""Renews pins.txt: the newest versions that pyproject.toml allows, with the extras that need each part."""
import json
import subprocess
import sys
import tomllib
from pathlib import Path

HERE = Path(__file__).parent
#: Extras for the workbench or for a collector of many vehicles, not for a board.
NOT_FOR_BOARDS = ("test", "physics", "fleet")


def resolve(requirements: list[str]) -> dict[str, str]:
    """Name -> version of everything that pip would install for some requirements."""
    done = subprocess.run([sys.executable, "-m", "pip", "install", "--dry-run", "--ignore-installed", "--quiet", "--report", "-",
                           *requirements], check=True, capture_output=True, text=True)
    report = json.loads(done.stdout[done.stdout.index("{"):])
    return {item["metadata"]["name"].lower().replace("_", "-"): item["metadata"]["version"] for item in report["install"]}


def main() -> None:
    """Writes pins.txt anew; its first comment stays."""
    project = tomllib.loads((HERE.parent / "pyproject.toml").read_text())["project"]
    base = resolve(project["dependencies"])
    needed_by: dict[str, tuple[str, list[str]]] = {name: (version, []) for name, version in base.items()}
    for extra, requirements in project["optional-dependencies"].items():
        if extra not in NOT_FOR_BOARDS:
            for name, version in resolve(requirements).items():
                if name not in base:
                    needed_by.setdefault(name, (version, []))[1].append(extra)
    file = HERE / "pins.txt"
    head = [line for line in file.read_text().splitlines() if line.startswith("#")]
    lines = [f"{name}=={version}".ljust(38) + (f"# {', '.join(extras)}" if extras else "")
             for name, (version, extras) in sorted(needed_by.items())]
    file.write_text("\n".join([*head, *(line.rstrip() for line in lines)]) + "\n")


if __name__ == "__main__":
    main()
