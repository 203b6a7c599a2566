"""A PostgreSQL of one's own for as long as something runs: Debian's server in a folder that ends with it, a socket and no port.

For trying a fleet and for the tests; a collector that is to stay uses the server that the machine runs anyway.
"""
import os
import pwd
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import mkdtemp

#: A server that keeps nothing need not wait for a disk.
QUICK = "-c fsync=off -c full_page_writes=off -c synchronous_commit=off"


class NoPostgres(Exception):
    """There is no server here, or it does not start; one sentence."""


def binaries() -> Path | None:
    """Where Debian (or the PATH) has the server's programs; None where it is not installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parent.parent.name))
    if found:
        return found[-1].parent
    which = shutil.which("initdb")
    return Path(which).parent if which else None


@contextmanager
def local_postgres() -> Iterator[str]:
    """The address of a fresh server, which ends with the context.

    Raises
    ------
    NoPostgres : it is not installed, or does not start
    """
    programs = binaries()
    if programs is None:
        raise NoPostgres("there is no PostgreSQL here: sudo apt install postgresql")
    folder = Path(mkdtemp(prefix="ampledger-postgres-", dir="/tmp"))  # a socket's path must be short
    as_user: list[str] = []
    if os.geteuid() == 0:  # the server refuses to run as root
        user = pwd.getpwnam("postgres")
        os.chown(folder, user.pw_uid, user.pw_gid)
        as_user = ["runuser", "-u", "postgres", "--"]
    data, server = folder / "data", f"-k {folder} -c listen_addresses='' {QUICK}"

    def run(*arguments: str | Path) -> None:
        done = subprocess.run([*as_user, *arguments], cwd=folder, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                              stderr=subprocess.PIPE, text=True)
        if done.returncode:
            raise NoPostgres(f"PostgreSQL does not start: {(done.stderr.strip().splitlines() or ['no word why'])[-1]}")

    try:
        run(programs / "initdb", "-D", data, "-A", "trust", "-U", "fleet", "-E", "UTF8", "--no-sync")
        run(programs / "pg_ctl", "-D", data, "-w", "-o", server, "-l", folder / "server.log", "start")
        yield f"postgresql://fleet@/postgres?host={folder}"
    finally:
        subprocess.run([*as_user, programs / "pg_ctl", "-D", data, "-m", "immediate", "stop"], cwd=folder, capture_output=True)
        shutil.rmtree(folder, ignore_errors=True)
