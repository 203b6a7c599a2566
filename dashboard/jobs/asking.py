"""What every page that asks the daemon for something shows: what was answered, who asked what and when, and the way to the code."""
from typing import Any

from flask import current_app, request

from dashboard import guard
from dashboard.log_view import LogView
from dashboard.words import clock_text

TOLD = {"left": "Noted. The daemon does it as soon as it gets to it.", "done": "Done."}
#: Entries that a page lists.
LISTED = 8


def describe_asking(book: LogView, name: str, *subjects: str) -> dict[str, Any]:
    """For the template: who may change anything, what was just done, and the entries about some subjects, the latest first.

    book : the log; name : the page's name in `actions.BACK`; subjects : what its entries are about
    """
    number = request.args.get("entry", "")
    entries = [{"id": e.id, "when": clock_text(e.utc_s), "by": e.by or "somebody", "said": e.said,
                "undone": "" if e.undone_utc_s is None else f"undone {clock_text(e.undone_utc_s)} by {e.undone_by or 'somebody'}"}
               for e in book.entries if e.subject in subjects]
    return {"may_change": guard.may_change(), "has_code": current_app.config["CODE_HASH"] is not None, "back": name,
            "told": TOLD.get(request.args.get("told", "")), "entries": entries[:LISTED],
            "undoable": int(number) if number.isascii() and number.isdecimal() and len(number) < 10 else None}


def read_number(text: str, what: str, low: float, high: float) -> float | None:
    """A figure of a form, None where it was left empty.

    text : as it was typed; what : its name in sentences; low, high : between which it must lie

    Raises
    ------
    ValueError : it is none, or lies outside
    """
    text = text.strip()[:20]
    if not text:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise ValueError(f"{what} is {text!r}: write a number") from None
    if not low <= value <= high:
        raise ValueError(f"{what} is {text}: it must be from {low:g} to {high:g}")
    return value
