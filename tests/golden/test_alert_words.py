"""Every alert of every recording and simulated life, read word by word: short, whole, true an hour later."""
import re
from collections.abc import Iterator

import pytest

from monitor.findings import Condition
from tests.alert_words import wrong_words
from tests.golden.replays import FINDINGS

HEADINGS = {"seen": "seen", "means": "means", "evidence": "evidence", "look first": "look_first", "goes away": "clears_when"}
RAISED = re.compile(r" d (raised|worse) (\w+) (\w+), (\w+)")


def raised() -> Iterator[tuple[str, Condition]]:
    """(name of the life, alert as it was raised) of all that is on record."""
    for file in sorted(FINDINGS.glob("*.txt")):
        alert: dict[str, str] = {}
        for line in [*file.read_text().splitlines(), ""]:
            heading, _, text = line.strip().partition(":")
            if line.startswith("    ") and heading in HEADINGS and alert:
                alert[HEADINGS[heading]] = text.strip()
                continue
            if alert:
                yield file.stem, Condition(active=True, **alert)
            found = RAISED.search(line)
            alert = dict(zip(("kind", "battery", "priority"), found.groups()[1:], strict=True)) if found else {}


ALERTS = list(raised())


def test_what_is_on_record_holds_most_kinds_of_alerts() -> None:
    kinds = {alert.kind for _, alert in ALERTS}
    assert len(ALERTS) > 100 and len(kinds) >= 18, sorted(kinds)


@pytest.mark.parametrize("kind", sorted({alert.kind for _, alert in ALERTS}))
def test_every_alert_on_record_is_said_in_plain_whole_sentences(kind: str) -> None:
    wrong = sorted({f"{life}: {what}" for life, alert in ALERTS if alert.kind == kind for what in wrong_words(alert)})
    assert not wrong, "\n".join(wrong[:10])
