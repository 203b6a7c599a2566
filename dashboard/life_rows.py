"""Years left on the page Health: worked out once a day beside the pages, as reading a year of hours takes a small board some seconds."""
import json
from typing import Any

from flask import current_app

from dashboard.jobs.waiting import background, number_of
from dashboard.log_view import LogView
from monitor.reporting import life_words
from monitor.wear.life import LEAST_DAYS

MODULE = "dashboard.jobs.life_work"
DAY_S = 86400.0


def describe_life(book: LogView) -> dict[str, Any]:
    """Headline, rows and method; or, where there are none yet, why (`because`)."""
    if not book.on_board:
        return {"headline": "", "rows": [], "because": "The collector works it out once a week, and has not come to it yet.",
                "method": life_words.METHOD} | (book.years_described or {})
    now_s = book.known.utc_s
    first_s, last_s = book.extent()
    if (last_s - first_s) / DAY_S < LEAST_DAYS:
        return _without(life_words.TOO_YOUNG)
    name = number_of(MODULE, str(int(now_s // DAY_S)))
    file = f"life-{name}.json"
    stage = background().stage(name, file)
    if stage is None:
        background().start(name, file, MODULE, ["--database", str(current_app.config["DATABASE"])])
    made = stage.file if stage is not None else None
    if made is None:    # yesterday's, until today's is there
        made = next((kept for _, kept in background().list_results("life")), None)
    if made is None:
        return _without(stage.why if stage is not None and stage.why else "Being worked out; load this page again in a minute.")
    try:
        found = json.loads(made.read_text())
    except (OSError, ValueError):
        return _without("Its file cannot be read; it is worked out again tomorrow.")
    return {"headline": found["headline"], "rows": found["rows"], "because": "", "method": life_words.METHOD}


def _without(because: str) -> dict[str, Any]:
    return {"headline": "", "rows": [], "because": because, "method": ""}
