"""Rewrites the golden findings: python -m tests.golden [--only NAME ...]"""
from concurrent.futures import ProcessPoolExecutor

import click

from tests.golden import replays


def write(name: str) -> tuple[str, int]:
    """Run one replay and rewrite its file; the number of lines that differ from before."""
    path = replays.FINDINGS / f"{name}.txt"
    before = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    now = replays.lines(name)
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join(now) + "\n", encoding="utf-8")
    return name, sum(a != b for a, b in zip(before, now)) + abs(len(before) - len(now))


@click.command()
@click.option("--only", multiple=True, metavar="NAME", help="Rewrite this one only; may be given several times.")
@click.option("--jobs", default=2, show_default=True, help="How many at once.")
def main(only: tuple[str, ...], jobs: int) -> None:
    """Run every golden replay and write what it concludes; `git diff tests/golden` shows what moved."""
    known = replays.names()
    if unknown := [name for name in only if name not in known]:
        raise click.UsageError(f"no golden replay called {', '.join(unknown)}; there are {', '.join(known)}")
    with ProcessPoolExecutor(jobs) as pool:
        for name, moved in pool.map(write, only or known):
            click.echo(f"{name}: {'as before' if not moved else f'{moved} lines differ'}")
    if not only:
        for path in sorted(replays.FINDINGS.glob("*.txt")):
            if path.stem not in known:
                path.unlink()
                click.echo(f"{path.stem}: gone, for there is no such replay any more")


if __name__ == "__main__":
    main()
