"""The questions of setup on a phone: pages of their own that only ask, an access code, and this process that does."""
import os
import pwd
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from monitor.commands.setup_finish import CODE_HASH
from monitor.process.board_services import end_waiting_service, start_services

#: Where the code of a set-up that runs as a service is found by root [see deb/postinst].
SERVICE_CODE = Path("/run/ampledger-setup/code")
#: So long the phone still sees the last word before the real pages take the port [s].
LAST_WORD_S = 4.0
#: So long the pages may take to come up [s].
UP_S = 60.0


def host(walk: Callable[[Any], Any], path: Path, port: int, code_file: Path | None, patience_s: float, leave: Path | None = None) -> None:
    """Serves the set-up pages, lets `walk(asker)` ask by them, and writes what came of it at the end.

    walk : asks and returns a draft configuration; path : where it goes
    port : of the pages; code_file : where the access code is put for root, None: it is printed
    patience_s : so long one question waits for its answer
    leave : where a user without rights leaves what came of it for root (setup_finish.py); None: it is written by this process

    Raises
    ------
    Refused : nobody answered, or it was ended; nothing was written
    """
    from monitor.cli import Refused
    from monitor.commissioning import document
    from monitor.commissioning.by_page import LeftAlone, PagePrompter, StartOver
    from monitor.commissioning.questions import Recorded, read_answers
    from monitor.commissioning.steps import NotClear
    from monitor.config.faults import ConfigError
    from monitor.process.access_code import hash_code, make_code

    if leave is None and end_waiting_service():
        click.echo("The set-up on a phone that was waiting has ended; this one takes its place, with a code of its own.")
    code = make_code()
    with _folder(code_file) as folder, _pages(folder, port, hash_code(code)):
        _say_way(code, port, code_file)
        pager = PagePrompter(folder, patience_s)
        while True:
            asker = Recorded(pager, read_answers(answers_place(path)), OFFERED)
            try:
                draft = walk(asker)
                choice = pager.ask("write", _summary(draft), _parse_write, "write open")
                kept = document.write(draft.doc, draft.path if leave is None else leave / draft.path.name)
                break
            except (StartOver, NotClear, ConfigError) as why:
                if not isinstance(why, StartOver):
                    pager.say(f"{why}. Nothing was written; it begins again.")
            except LeftAlone:
                raise Refused("nobody answered for a long time: ended, and nothing was written") from None
            except (KeyboardInterrupt, click.Abort):
                raise Refused("ended; nothing was written") from None
        save_answers(asker.given, path if leave is None else leave / path.name)
        opened = choice == "write open"
        if leave is not None and opened:
            (leave / CODE_HASH).write_text(hash_code(code))
        started = leave is None and finish_board(path, code if opened else None)
        pager.finish(opened=opened, kept=kept.name if kept else "", started=started or leave is not None)
        click.echo(f"\nWritten: {path if leave is None else leave}." + (f" The one before is kept as {kept.name}." if kept else ""))
        time.sleep(LAST_WORD_S)
    if started:
        click.echo(start_services())


#: What an earlier walk's answers are offered for: labels and channels, never measurements.
OFFERED = ("house", "starter", "house_voltage_v", "house_current_a", "starter_voltage_v", "house_temperature_c", "solar_current_a")


def answers_place(path: Path) -> Path:
    """Where the answers that made a configuration are kept."""
    return path.with_name(f"{path.stem}-answers.toml")


def save_answers(given: dict[str, str | bool], path: Path) -> None:
    """Keeps the answers beside the configuration: `ampledger setup --answers` takes them again."""
    import tomlkit

    doc = tomlkit.document()
    doc.add(tomlkit.comment("What was answered in `ampledger setup`; it takes this file again with --answers."))
    for key, value in given.items():
        doc[key] = value
    file = answers_place(path)
    file.write_text(tomlkit.dumps(doc), encoding="utf-8")
    file.chmod(0o640)


def finish_board(path: Path, code: str | None) -> bool:
    """Opens the pages where a code is given; whether this board's services are to be started with that configuration."""
    from monitor.commands.options import USUAL
    from monitor.commands.pages_access import open_pages
    from monitor.process import network

    if code is not None:
        open_pages(path, code)
    return path == USUAL[1] and network.is_service() and os.geteuid() == 0


def _parse_write(text: str) -> str:
    from monitor.commissioning.steps import NotClear

    if text in ("write", "write open"):
        return text
    raise NotClear("choose whether the pages are to be open to the vehicle's network")


def _summary(draft: Any) -> str:
    import tomlkit

    return "Nothing is written yet. This is what would be:\n\n" + tomlkit.dumps(draft.doc)


@contextmanager
def _folder(code_file: Path | None) -> Iterator[Path]:
    """A folder of this set-up alone; the pages' user may write the answers, nothing else."""
    folder = Path(tempfile.mkdtemp(prefix="ampledger-setup-", dir=code_file.parent if code_file else None))
    folder.chmod(0o755)
    (folder / "answers").mkdir(mode=0o700)
    if (user := _user()) is not None:
        os.chown(folder / "answers", user.pw_uid, user.pw_gid)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def _pages(folder: Path, port: int, code_hash: str) -> Iterator[None]:
    """The set-up pages, by a user without rights where this one is root."""
    from monitor.commands.demo import _end_with_parent

    hashed = folder / "code-hash"
    hashed.write_text(code_hash)
    hashed.chmod(0o600)
    user = _user()
    who: dict[str, Any] = {} if user is None else {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
    if user is not None:
        os.chown(hashed, user.pw_uid, user.pw_gid)
    pages = subprocess.Popen([sys.executable, "-m", "dashboard.setup_pages", "--folder", str(folder), "--address", f"0.0.0.0:{port}",
                              "--code-file", str(hashed)], stdin=subprocess.DEVNULL, cwd="/", preexec_fn=_end_with_parent, **who)
    try:
        _wait_for(pages, port)
        yield
    finally:
        pages.terminate()
        try:
            pages.wait(5)
        except subprocess.TimeoutExpired:
            pages.kill()


def _wait_for(pages: subprocess.Popen, port: int) -> None:
    """Until the pages answer. Raises Refused where they end instead; they have said why."""
    from monitor.cli import Refused

    end_s = time.monotonic() + UP_S
    while time.monotonic() < end_s:
        if pages.poll() is not None:
            raise Refused("the pages could not be served; nothing was written")
        with socket.socket() as trial:
            if trial.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)


def _user() -> pwd.struct_passwd | None:
    """The pages' user; None where this is an ordinary user, or there is no such user."""
    if os.geteuid() != 0:
        return None
    try:
        return pwd.getpwnam("ampledger-pages")
    except KeyError:
        return None


def _say_way(code: str, port: int, code_file: Path | None) -> None:
    if code_file is not None:
        fresh = code_file.with_name(".code.new")
        fresh.write_text(code)
        fresh.chmod(0o600)
        fresh.replace(code_file)
        return
    show_setup_way(code, port)
    click.echo("Nothing is written before the last question. Ctrl-C ends it; so does an hour without an answer.")


def show_setup_way(code: str, port: int) -> None:
    """Address, QR code and access code of the set-up pages."""
    from monitor.process import network

    urls = network.list_urls(port)
    if not urls:
        click.echo(f"\nSet-up is waiting for a phone at port {port}, but this board is in no network yet: `ampledger docs network`. "
                   f"Access code: {code}\n")
        return
    click.echo(f"\nSet-up is waiting on a phone in the same network: {urls[0]}" + "".join(f"\n  or {url}" for url in urls[1:4]) + "\n")
    click.echo(network.draw_qr(urls[0]))
    click.echo(f"Access code: {code}\n")
