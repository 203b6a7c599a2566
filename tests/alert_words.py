"""What every alert's words keep to, so that a headline says enough by itself on a lock screen."""
import re

from monitor.findings import Condition

#: Said of now, and wrong an hour later: "for 0.5 h", "3 days ago", "in about 6 h".
RELATIVE = re.compile(r"\bfor (about )?[\d.]+ (min|h|hours|days)\b|\bago\b|\bin (about )?[\d.]+ (min|h|hours|days)\b|\bjust now\b", re.I)
MOST_WORDS = 12


def wrong_words(alert: Condition) -> list[str]:
    """What is wrong with the words of an active condition; nothing where all is well."""
    found = []
    if len(alert.seen.split()) > MOST_WORDS:
        found.append(f"headline of {len(alert.seen.split())} words")
    if RELATIVE.search(alert.seen):
        found.append("headline speaks of now")
    for name, text in (("headline", alert.seen), ("meaning", alert.means), ("check first", alert.look_first), ("clears", alert.clears_when),
                       ("evidence", alert.evidence)):
        if name != "evidence" and not text:
            found.append(f"no {name}")
        if text and not (text[0].isupper() or text[0] in "`−0123456789"):
            found.append(f"{name} begins small")
        if text and text[-1] not in ".?!":
            found.append(f"{name} has no full stop")
        if ".." in text.replace("...", "") or "  " in text or " ." in text:
            found.append(f"{name} is badly joined")
    if not alert.clears_when.startswith("It clears"):
        found.append("clears: does not begin with It clears")
    return [f"{alert.kind}: {what}: {alert}" for what in found]


def assert_plain(alert: Condition) -> None:
    """Fails with what is wrong."""
    wrong = wrong_words(alert)
    assert not wrong, "\n".join(wrong)
