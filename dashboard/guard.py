"""The door: who may ask, under which name, what a browser may load, and who may change anything."""
import gzip
import secrets
import socket
import threading
import time
from collections.abc import Callable, Iterable
from functools import wraps
from ipaddress import ip_address

from flask import Flask, Response, current_app, g, jsonify, render_template, request, session
from werkzeug.security import check_password_hash

#: Scripts, fonts and data from us only, nothing inline; Plotly writes style attributes, hence the one exception.
POLICY = ("default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
          "font-src 'self'; connect-src 'self'; manifest-src 'self'; form-action 'self'; "
          "base-uri 'none'; frame-ancestors 'none'")
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), camera=(), microphone=(), usb=(), serial=()",
}
#: Answers shorter than this are not worth packing [bytes].
PACK_FROM = 900
#: Wrong codes before an address has to wait, and everyone together.
FREE_TRIES, FREE_TRIES_ALL = 5, 40
FIRST_WAIT_S, LONGEST_WAIT_S = 30.0, 3600.0
#: After so long one wrong code is forgotten, of an address and of all together [s]: slips of a year never add up.
FORGOTTEN_S, FORGOTTEN_ALL_S = 1800.0, 300.0
#: All addresses together, under a name that no address has.
ALL = ""
#: Requests of one address: so many at once, and so many a second for long. A page is some ten of them.
AT_ONCE_COUNT, PER_S_HZ = 120, 15.0
#: Addresses kept in mind.
ADDRESSES = 500


class Lockout:
    """Counts wrong codes for each address and for all together; says how long to wait. Wrong ones are forgotten in time."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._lock = threading.Lock()
        self._wrong: dict[str, tuple[float, float]] = {}  # how many are remembered, when the latest came

    def wait_s(self, address: str) -> float:
        """Seconds until this address may try again, 0 when it may now."""
        with self._lock:
            return max(self._wait(address, FREE_TRIES), self._wait(ALL, FREE_TRIES_ALL))

    def wrong(self, address: str) -> None:
        """One more wrong code from this address."""
        with self._lock:
            for key, forgotten_s in ((address, FORGOTTEN_S), (ALL, FORGOTTEN_ALL_S)):
                self._wrong[key] = (self._wrong_count(key, forgotten_s) + 1, self._now())
            if len(self._wrong) > ADDRESSES:
                del self._wrong[min((key for key in self._wrong if key != ALL), key=lambda key: self._wrong[key][1])]

    def right(self, address: str) -> None:
        """The right code came: its address starts afresh, and everybody else too; whoever knows it is no guesser."""
        with self._lock:
            self._wrong.pop(address, None)
            self._wrong.pop(ALL, None)

    def _wrong_count(self, key: str, forgotten_s: float) -> float:
        count, last_s = self._wrong.get(key, (0.0, 0.0))
        return max(count - (self._now() - last_s) / forgotten_s, 0.0)

    def _wait(self, key: str, free: int) -> float:
        """The wait after the latest wrong one, by how many were remembered then."""
        count, last_s = self._wrong.get(key, (0.0, 0.0))
        beyond = round(count) - free
        if beyond < 0:
            return 0.0
        wait = min(FIRST_WAIT_S * 2 ** min(beyond, 10), LONGEST_WAIT_S)
        return max(last_s + wait - self._now(), 0.0)


class Pace:
    """How fast one address may ask: a bucket that fills steadily and is emptied by each request."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._lock = threading.Lock()
        self._left: dict[str, tuple[float, float]] = {}

    def too_fast(self, address: str) -> bool:
        """Takes one request of this address; returns whether it was one too many."""
        with self._lock:
            now_s = self._now()
            left, at_s = self._left.pop(address, (float(AT_ONCE_COUNT), now_s))
            left = min(left + (now_s - at_s) * PER_S_HZ, float(AT_ONCE_COUNT))
            self._left[address] = (max(left - 1.0, 0.0), now_s)
            if len(self._left) > ADDRESSES:
                del self._left[next(iter(self._left))]  # the one that has been quiet for longest
            return left < 1.0


def install(app: Flask, names: Iterable[str], code_page: str = "code.html",
            open_endpoints: tuple[str, ...] = ("actions.code", "files.file")) -> None:
    """Put the guard before and behind every answer of app.

    names : what the board is called, beside its own name; code_page : the template that asks for the code
    open_endpoints : what may be asked before the code was given
    app : the pages
    """
    host = socket.gethostname().lower()
    known = {"localhost", host, f"{host}.local", host.partition(".")[0], *(n.lower() for n in names)}
    app.extensions["lockout"] = Lockout()
    pace = Pace()

    @app.before_request
    def check_pace() -> tuple[Response | str, int, dict[str, str]] | None:
        if not _on_the_board(request.remote_addr) and pace.too_fast(origin(request.remote_addr or "?")):
            return *_refusal("Too Many Requests", "Too many requests from your address; wait a moment.", 429), {"Retry-After": "5"}
        return None

    @app.before_request
    def check_name() -> tuple[Response | str, int] | None:
        if not _is_known_host(request.host, known):
            return _refusal("Misdirected Request", f"This board does not go by the name {request.host!r:.80}. Use its address in "
                            "numbers, or start the dashboard with --name for a name of your own.", 421)
        return None

    @app.before_request
    def check_reader() -> tuple[Response | str, int] | None:
        if app.config["CODE_TO_READ"] and not may_change() and request.endpoint not in open_endpoints:
            return _refusal("Unauthorized", "Enter the access code.", 401) if request.path.startswith("/api/") else (
                render_template(code_page, reading=True, title="Code"), 401)
        return None

    @app.after_request
    def harden(answer: Response) -> Response:
        for header, value in HEADERS.items():
            answer.headers[header] = value
        if "policy" in g:  # a page with a stricter room of its own
            answer.headers["Content-Security-Policy"] = g.policy
        answer.headers.setdefault("Cache-Control", "no-store")
        return _compress(answer)


def _refusal(title: str, detail: str, status: int) -> tuple[Response | str, int]:
    """A refusal at the door, before any page is drawn."""
    return (jsonify(title=title, detail=detail) if request.path.startswith("/api/") else f"{detail}\n"), status


def may_change() -> bool:
    """Whether whoever asks may change anything: the code was given, or none is set and the asker sits on the board."""
    if current_app.config["CODE_HASH"] is not None:
        return session.get("code") == current_app.config["CODE_MARK"]
    return _on_the_board(request.remote_addr)


def try_code(code: str) -> str:
    """Sign the session in with the right code. Returns "" or why not."""
    lockout: Lockout = current_app.extensions["lockout"]
    address = origin(request.remote_addr or "?")
    wait = lockout.wait_s(address)
    if wait > 0:
        return f"Too many wrong codes. Try again in {wait / 60:.0f} min." if wait > 90 else (
            f"Too many wrong codes. Try again in {wait:.0f} s.")
    expected = current_app.config["CODE_HASH"]
    if expected is None:
        return "No code is set on this board."
    if len(code) > 200 or not check_password_hash(expected, code):
        lockout.wrong(address)
        return "That is not the code."
    lockout.right(address)
    session.clear()
    session["code"] = current_app.config["CODE_MARK"]
    session.permanent = True
    return ""


def sign_out(everywhere: bool) -> None:
    """Ends this browser's session; everywhere: every session that was ever begun with the code, until it is given again."""
    if everywhere:
        current_app.config["CODE_MARK"] = secrets.token_hex(8)
    session.clear()


def signed_in() -> bool:
    """Whether this browser has given the code."""
    return current_app.config["CODE_HASH"] is not None and session.get("code") == current_app.config["CODE_MARK"]


def form_token() -> str:
    """The token a form must bring back, one for each browser session."""
    if "token" not in session:
        session["token"] = secrets.token_urlsafe(24)
    return session["token"]


def own_form(view: Callable) -> Callable:
    """Let a POST through only when it comes from one of our own forms."""

    @wraps(view)
    def check_form(*args, **kwargs):
        sent, held = request.form.get("token", ""), session.get("token", "")
        foreign = request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none")
        if foreign or not held or not secrets.compare_digest(sent.encode(), held.encode()):
            return render_template(
                "words.html", title="Not done", heading="Nothing was changed.",
                text="The form was too old, or did not come from this page. Go back, load the page again and repeat it."
            ), 403
        return view(*args, **kwargs)

    return check_form


def _is_known_host(host: str, known: set[str]) -> bool:
    """A name we know, or any address in numbers: those cannot be re-bound to us by a foreign name server."""
    name = host.rpartition("]")[0].lstrip("[") if host.startswith("[") else host.partition(":")[0]
    try:
        ip_address(name)
    except ValueError:
        return name.lower().rstrip(".") in known
    return True


def origin(address: str) -> str:
    """Whom an address stands for: itself, or for IPv6 the network that a machine picks its addresses from."""
    try:
        ip = ip_address(address.partition("%")[0])
    except ValueError:
        return address
    return str(ip) if ip.version == 4 else ip.exploded[:19]


def _on_the_board(address: str | None) -> bool:
    try:
        return ip_address(address or "").is_loopback
    except ValueError:
        return False


def _compress(answer: Response) -> Response:
    if (answer.direct_passthrough or answer.is_streamed or answer.status_code == 304 or "Content-Encoding" in answer.headers
            or "gzip" not in request.headers.get("Accept-Encoding", "")
            or not ((answer.mimetype or "").startswith("text/") or answer.mimetype == "application/json")):
        return answer
    answer.vary.add("Accept-Encoding")
    body = answer.get_data()
    if len(body) >= PACK_FROM:
        answer.set_data(gzip.compress(body, 1))
        answer.headers["Content-Encoding"] = "gzip"
    return answer
