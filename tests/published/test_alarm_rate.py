"""How often a person is called, against what the alarm-management standard allows an operator.

ISA-18.2-2016, 16.4 (public summary): about 6 alarms an hour are acceptable, 150 a day (the figure by day from memory).
A vehicle has no operator: here one a day is the most in sound life.
"""
import re

import pytest

from tests.golden.replays import FINDINGS

SOUND = ("agm-camp", "lfp-camp", "starter-healthy", "fade-26-weeks-sound", "frost", "lithium", "smart-alternator")
TROUBLED = ("sensor-troubles", "cloudy-flat", "drain-agm", "stuck-closed-flooded", "intermittent", "weak-starter")


def _announced_per_day(name: str) -> tuple[float, float]:
    """Alerts sent a day on average, and the most in any ten minutes, as the golden replay has them."""
    text = (FINDINGS / f"{name}.txt").read_text(encoding="utf-8")
    days = [float(day) for day in re.findall(r"^ *(\d+\.\d+) d house:", text, re.M)]
    told = re.findall(r"^ *(\d+\.\d+) d (?:raised|worse) (.*)$", text, re.M)
    sent = [float(day) for day, rest in told if not rest.endswith("not announced")]
    crowd = max((sum(1 for other in sent if 0.0 <= other - first < 600.0 / 86400.0) for first in sent), default=0)
    return len(sent) / days[-1], crowd


@pytest.mark.parametrize("name", SOUND)
def test_a_sound_life_calls_at_most_once_a_day(name: str) -> None:
    assert _announced_per_day(name)[0] <= 1.0


@pytest.mark.parametrize("name", TROUBLED)
def test_a_life_in_trouble_stays_far_below_what_an_operator_may_be_sent(name: str) -> None:
    """A flood begins above 10 in ten minutes."""
    per_day, crowd = _announced_per_day(name)
    assert per_day <= 150.0 / 10 and crowd <= 10
