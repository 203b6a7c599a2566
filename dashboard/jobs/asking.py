"""What every page that asks the daemon for something shows: what was answered, who asked what and when, and the way to the code."""
from typing import Any

from flask import current_app, request

from dashboard import guard
from dashboard.entries import list_entries, undoable
from dashboard.log_view import LogView

TOLD = {"left": "Noted. The daemon does it as soon as it gets to it.", "done": "Done."}
#: Entries that a page lists (choice: what fits on a phone).
LISTED = 8


def describe_asking(book: LogView, name: str, *subjects: str) -> dict[str, Any]:
    """For the template: who may change anything, what was just done, and the entries about some subjects, the latest first.

    book : the log; name : the page's name in `actions.BACK`; subjects : what its entries are about
    """
    told = [entry for entry in book.entries if entry.subject in subjects]
    return {"may_change": guard.may_change(), "has_code": current_app.config["CODE_HASH"] is not None, "back": name,
            "told": TOLD.get(request.args.get("told", "")), "entries": list_entries(told[:LISTED]),
            "undoable": undoable()}


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
