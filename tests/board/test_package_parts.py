"""What can be said of the package without making it: pins, scripts, manual page, units."""
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]


@pytest.fixture(autouse=True)
def tools(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The scripts of deb/ find each other as they do when they are run."""
    monkeypatch.syspath_prepend(str(ROOT / "deb"))
    yield
    for name in ("manual", "pack", "pins", "stage", "wheels"):
        sys.modules.pop(name, None)


def test_every_requirement_of_every_extra_for_boards_is_pinned_within_its_bounds() -> None:
    from packaging.requirements import Requirement
    from pins import NOT_FOR_BOARDS
    from wheels import pins

    pinned = {pin.name: pin for pin in pins()}
    extras = {name: texts for name, texts in PROJECT["optional-dependencies"].items() if name not in NOT_FOR_BOARDS}
    for extra, texts in {"": PROJECT["dependencies"], **extras}.items():
        for need in map(Requirement, texts):
            pin = pinned[need.name.lower()]
            assert need.specifier.contains(pin.version), need
            assert extra in pin.extras or not pin.extras


def test_a_version_before_a_release_sorts_before_it() -> None:
    from stage import debian_version

    for before, after in (("0.2.0rc1", "0.2.0"), ("0.2.0.dev3", "0.2.0rc1"), ("0.2.0", "0.2.1")):
        order = subprocess.run(["dpkg", "--compare-versions", debian_version(before), "lt", debian_version(after)])
        assert order.returncode == 0, (before, after)


def test_the_manual_page_names_every_command_and_is_sound_roff() -> None:
    import click
    from manual import manual

    from monitor.cli import commands

    page = manual("1.2.3")
    for name in commands.list_commands(click.Context(commands)):
        command = commands.get_command(click.Context(commands), name)
        assert command is not None
        assert command.hidden or f"ampledger {name}".replace("-", "\\-") in page
    if os.path.exists("/usr/bin/mandoc") or os.path.exists("/usr/bin/groff"):
        tool = ["mandoc", "-T", "lint", "-W", "error"] if os.path.exists("/usr/bin/mandoc") else ["groff", "-man", "-Tutf8", "-z", "-ww"]
        done = subprocess.run(tool, input=page, capture_output=True, text=True)
        assert done.returncode == 0 and "error" not in done.stdout + done.stderr, done.stdout + done.stderr


@pytest.mark.parametrize("name", ["config", "postinst", "prerm", "postrm"])
def test_the_maintainer_scripts_are_plain_shell(name: str) -> None:
    text = (ROOT / "deb" / name).read_text()
    assert text.startswith("#!/bin/sh\n") and "set -e" in text
    assert subprocess.run(["dash", "-n", str(ROOT / "deb" / name)]).returncode == 0


def test_the_scripts_name_every_unit_that_is_started_by_itself() -> None:
    started = {unit.name for unit in (ROOT / "systemd").glob("*.service") if "[Install]" in unit.read_text()}
    for name in ("postinst", "prerm", "postrm"):
        named = re.search(r'^units="([^"]*)"', (ROOT / "deb" / name).read_text(), re.MULTILINE)
        assert named and set(named[1].split()) == started, name
