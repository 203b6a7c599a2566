"""How long a start waits when there have been many: a storm of restarts must not wear the card."""
import os
from collections.abc import Mapping
from pathlib import Path

#: So many starts within the span are none too many: an upgrade, a stuck plug, a tried setting.
FREE_COUNT, SPAN_S = 5, 600.0
#: Beyond them each start waits twice as long as the one before (choice: long enough to spare the card, and a minute is soon lived).
FIRST_WAIT_S, LONGEST_WAIT_S = 5.0, 60.0


def wait_s(now_s: float, environment: Mapping[str, str] = os.environ) -> float:
    """Seconds to wait before this start; notes the start.

    now_s is seconds since boot. The starts are kept in the folder in memory that systemd keeps over restarts and
    names in RUNTIME_DIRECTORY (systemd.exec(5)); without it nobody restarts us and nothing waits.
    """
    folder = environment.get("RUNTIME_DIRECTORY", "").partition(":")[0]
    if not folder:
        return 0.0
    file = Path(folder) / "starts"
    try:
        before = [float(line) for line in file.read_text().split()]
    except (OSError, ValueError):
        before = []
    starts = [at_s for at_s in before if now_s - SPAN_S < at_s <= now_s][-50:] + [now_s]
    try:
        file.write_text("\n".join(map(repr, starts)))
    except OSError:
        return 0.0
    many = len(starts) - FREE_COUNT
    return 0.0 if many <= 0 else min(FIRST_WAIT_S * 2 ** (many - 1), LONGEST_WAIT_S)
