"""The house batteries one after another, and their capacity tests, as the page Health and the report print them."""
from dashboard.log_view import LogView
from dashboard.words import clock_text
from monitor.reporting import history_words
from monitor.reporting.sentences import number
from monitor.wear import battery_history

HEADINGS = ("", *history_words.HEADINGS)


def rows(book: LogView) -> list[tuple[str, str, tuple[str, ...]]]:
    """(name, from and to, figures under HEADINGS), oldest first."""
    lives = book.lives.of("house", book.known.vehicle)
    return [(history_words.name(one.life), describe_ends(one.life), history_words.figures(one))
            for one in battery_history.compare_services(lives, book.weeks())]


def tests(book: LogView) -> list[tuple[str, str]]:
    """(day, result) of each capacity test, latest first."""
    found = []
    for logged in reversed(book.capacity_tests()):
        told = dict(logged.what.figures)
        text = (f"{number(told['capacity_ah'])} Ah ({number(told['low_ah'])}–{number(told['high_ah'])})" if told["reached_end"]
                else f"at least {number(told['low_ah'])} Ah, not tested deeper")
        found.append((clock_text(logged.at_utc_s, "%-d %b %Y"), text))
    return found


def replaced_utc_s(book: LogView) -> list[float]:
    """Moments at which one house battery gave way to the next [UTC]."""
    return [life.replaced_utc_s for life in book.lives.of("house", book.known.vehicle) if life.replaced_utc_s is not None]


def describe_ends(life: battery_history.BatteryService) -> str:
    """From when to when a battery was there, in words."""
    begun = "before the log" if life.installed_utc_s is None else clock_text(life.installed_utc_s, "%-d %b %Y")
    return f"{begun} to {'today' if life.replaced_utc_s is None else clock_text(life.replaced_utc_s, '%-d %b %Y')}"
