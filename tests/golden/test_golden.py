"""What the trackers conclude from every recording and simulated life, line by line against what is kept."""
from itertools import zip_longest

import pytest

from tests.golden import recordings, replays

#: Half a year each, and recorded drives second by second, which tests/test_reference_drives.py replays against truth anyway: minutes
#: of processor time, which `make test-long` takes. One drive of each battery watch stays with the rest.
LONG = {"fade-26-weeks", "fade-26-weeks-sound", *recordings.drives()} - {"cloudy-flat", "starter-healthy"}
#: At most so many differing lines are printed.
SHOWN = 12


def _compared(name: str, kept: list[str], now: list[str]) -> str:
    """The lines that differ, each with its number, old above new."""
    wrong = [(k, old, new) for k, (old, new) in enumerate(zip_longest(kept, now, fillvalue="(no line)"), 1) if old != new]
    shown = [f"line {k}\n  kept: {old}\n  now:  {new}" for k, old, new in wrong[:SHOWN]]
    more = f"\n... and {len(wrong) - SHOWN} more" if len(wrong) > SHOWN else ""
    return (f"{name}: {len(wrong)} of {len(kept)} lines differ from tests/golden/findings/{name}.txt\n" + "\n".join(shown) + more
            + f"\nIf this is meant: python -m tests.golden --only {name}, and say in the commit what moved, by how much and why.")


@pytest.mark.slow
@pytest.mark.parametrize("name", [pytest.param(name, marks=[pytest.mark.long] if name in LONG else [])
                                  for name in replays.names()])
def test_nothing_moves_unseen(name: str) -> None:
    path = replays.FINDINGS / f"{name}.txt"
    assert path.exists(), f"no golden findings of {name}: python -m tests.golden --only {name}"
    kept, now = path.read_text(encoding="utf-8").splitlines(), replays.lines(name)
    if kept != now:
        pytest.fail(_compared(name, kept, now), pytrace=False)


def test_every_file_has_its_replay() -> None:
    assert sorted(path.stem for path in replays.FINDINGS.glob("*.txt")) == sorted(replays.names())


def test_a_difference_names_the_replay_the_line_and_both_texts() -> None:
    words = _compared("drive", ["a", "b 1", "c"], ["a", "b 2", "c", "d"])
    assert "drive: 2 of 3 lines" in words and "line 2\n  kept: b 1\n  now:  b 2" in words and "(no line)" in words
