"""Page Download: the log as CSV, any span, with its size and time said beforehand; the same as `ampledger export`."""
import subprocess
import sys
import threading
import time
import zlib
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from flask import Response, abort, current_app, render_template, request, url_for

from dashboard import log_view as books
from dashboard.jobs.blueprint import jobs
from dashboard.words import clock_text
from monitor.reporting.sentences import number, span

#: How fine -> (words, seconds of the log that are read to tell the size of all)
LEVELS = {"minutes": ("minute by minute", 6 * 3600.0), "quarters": ("quarter hours", 3 * 86400.0), "hours": ("hours", 14 * 86400.0),
          "days": ("days", 400 * 86400.0), "raw": ("every reading", 1800.0), "recording": ("a recording for replay", 1800.0),
          "loads": ("named loads by day", 400 * 86400.0)}
DAY_S = 86400.0
#: What a phone gets from a small board through a wall [bytes/s], and how much is handed on at once [bytes].
WIFI_BYTES_PER_S, PIECE = 400e3, 65536
#: One download at a time; it is ended when nobody fetches it any more (dashboard/server.py).
_one = threading.Lock()
#: How long an export takes before its first row [s]; measured once in the life of this process.
_start_s: list[float] = []


@jobs.get("/download")
def download() -> str:
    """The form; once a span is chosen, what it would weigh and the button."""
    book = books.open_log_view()
    if book.now is None:
        return render_template("words.html", title="Download", page="download", book=book, heading="The log is still empty.",
                               text="Come back after the first minutes.", todo=())
    wrong, found, choice = "", None, None
    try:
        choice = _choice(book)
    except ValueError as error:
        wrong = str(error)
    if choice is not None and "every" in request.args:
        every, first, last = choice
        begins_s, ends_s = _moments(first, last)
        query = urlencode({"every": every, "from": first.isoformat(), "to": last.isoformat()})
        found = _weigh(every, begins_s, ends_s) | {
            "address": f"{url_for('jobs.download_csv')}?{query}",
            "words": f"{LEVELS[every][0]}, {clock_text(begins_s, '%-d %b %Y')} to {clock_text(ends_s - 1, '%-d %b %Y')}"}
    begins, ends = (datetime.fromtimestamp(utc_s).date() for utc_s in book.extent())
    usual = {"every": "minutes", "from": max(begins, ends - timedelta(6)).isoformat(), "to": ends.isoformat()}
    return render_template(
        "download.html", title="Download", page="download", book=book, levels=LEVELS, found=found, wrong=wrong, begins=begins.isoformat(),
        ends=ends.isoformat(), given={name: request.args.get(name, text)[:10] for name, text in usual.items()})


@jobs.get("/download/ampledger.csv")
def download_csv() -> Any:
    """The rows, as they are read."""
    book = books.open_log_view()
    try:
        every, first, last = _choice(book)
    except ValueError as error:
        abort(400, str(error))
    if not _one.acquire(blocking=False):
        return render_template("words.html", title="Not now", heading="Another download is running.", text="Wait until it is done.",
                               todo=()), 503
    packs = "gzip" in request.headers.get("Accept-Encoding", "")
    begins, ends = _moments(first, last)
    try:
        process = subprocess.Popen(
            [sys.executable, "-m", "dashboard.jobs.gently", *_export(every, begins, ends)], stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    except OSError:
        _one.release()
        raise
    answer = Response(_pieces(process, packs), mimetype="text/csv")
    answer.call_on_close(lambda: _end(process))  # also where nobody fetched the first piece
    answer.headers["Content-Disposition"] = f'attachment; filename="ampledger-{every}-{first.isoformat()}-to-{last.isoformat()}.csv"'
    if packs:
        answer.headers["Content-Encoding"] = "gzip"
    answer.vary.add("Accept-Encoding")
    return answer


def _export(every: str, from_utc_s: float, to_utc_s: float) -> list[str]:
    return ["monitor", "export", "--database", str(current_app.config["DATABASE"]), "--every", every, "--from", _iso(from_utc_s), "--to",
            _iso(to_utc_s)]


def _pieces(process: subprocess.Popen[bytes], packs: bool) -> Iterator[bytes]:
    assert process.stdout is not None
    packer = zlib.compressobj(3, zlib.DEFLATED, 31)
    try:
        while piece := process.stdout.read(PIECE):
            if packed := packer.compress(piece) if packs else piece:
                yield packed
        if packs:
            yield packer.flush()
    finally:
        _end(process)


def _end(process: subprocess.Popen[bytes]) -> None:
    """Lets the next one begin; harmless when repeated."""
    if process.stdout is not None and not process.stdout.closed:
        with process:
            process.kill()
        _one.release()


def _choice(book: books.LogView) -> tuple[str, date, date]:
    """How fine, first and last day. Raises ValueError."""
    every = request.args.get("every", "minutes")
    if every not in LEVELS:
        raise ValueError(f"every={every!r:.20} is none of {', '.join(LEVELS)}.")
    begins, ends = (datetime.fromtimestamp(utc_s).date() for utc_s in book.extent())
    days = []
    for name, usual in (("from", max(begins, ends - timedelta(6))), ("to", ends)):
        text = request.args.get(name, "").strip()
        try:
            days.append(date.fromisoformat(text) if text else usual)
        except ValueError:
            raise ValueError(f"{text[:20]!r} is not a day; write it as 2026-06-01.") from None
    if days[0] > days[1]:
        raise ValueError("The first day lies after the last one.")
    if not 1990 <= days[0].year <= days[1].year < 2200:
        raise ValueError("There is no such year in the log.")
    return every, days[0], days[1]


def _moments(first: date, last: date) -> tuple[float, float]:
    """UTC of the first day's midnight and of the end of the last, by the board's own time zone."""
    after = last + timedelta(1)
    return (datetime(first.year, first.month, first.day).timestamp(), datetime(after.year, after.month, after.day).timestamp())


def _iso(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s).astimezone().isoformat()


def _weigh(every: str, from_utc_s: float, to_utc_s: float) -> dict[str, str]:
    """About how many rows and bytes a span has, packed too, and how long it takes: from a part at its end that is read."""
    book = books.open_log_view()
    first, last = book.extent()
    begins, ends = max(from_utc_s, first), min(to_utc_s, last)
    if ends <= begins:
        return {"rows": "none", "size": "", "time": ""}
    part_s = min(LEVELS[every][1], ends - begins)
    text, took_s = _time_export(every, ends - part_s, ends)
    if not _start_s:
        _start_s.append(_time_export(every, 4e9, 4e9 + 1)[1])  # of a span without rows: what every export takes before its first row
    start_s = min(_start_s[0], took_s)
    share = (ends - begins) / part_s
    rows, size = max(text.count(b"\n") - 1, 0) * share, len(text) * share
    packed = len(zlib.compress(text, 3)) * share
    seconds = max(start_s + max(took_s - start_s, 0.0) * share, packed / WIFI_BYTES_PER_S, 1.0)
    return {"rows": f"about {number(_to_two_figures(rows))} rows", "size": f"about {_size(size)}, {_size(packed)} over the network",
            "time": f"about {span(_to_two_figures(seconds)) if seconds >= 60 else f'{_to_two_figures(seconds):.0f} s'}"}


def _time_export(every: str, from_utc_s: float, to_utc_s: float) -> tuple[bytes, float]:
    """An export and how long it took [s]."""
    begun_s = time.perf_counter()
    done = subprocess.run([sys.executable, "-m", *_export(every, from_utc_s, to_utc_s)], capture_output=True, timeout=60, check=False)
    return done.stdout, time.perf_counter() - begun_s


def _to_two_figures(value: float) -> float:
    """To two figures: it is a guess."""
    return float(f"{value:.2g}")


def _size(size: float) -> str:
    return f"{_to_two_figures(size / 1e6):g} MB" if size >= 1e6 else f"{max(_to_two_figures(size / 1e3), 1):g} kB"
