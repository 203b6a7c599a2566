"""Our own script, style, type and Plotly's bundle, served packed and kept by the browser."""
import gzip
import mimetypes
from functools import cache
from hashlib import sha256
from pathlib import Path

from flask import Blueprint, Response, abort, request, url_for

FOLDER = Path(__file__).parent / "static"
#: Everything there is to serve; nothing is looked up by a name that came from outside.
NAMES = frozenset(p.relative_to(FOLDER).as_posix() for p in FOLDER.rglob("*") if p.is_file())
KINDS = {".js": "text/javascript", ".css": "text/css", ".woff2": "font/woff2", ".svg": "image/svg+xml",
         ".webmanifest": "application/manifest+json"}

files = Blueprint("files", __name__)


@files.get("/static/<path:name>")
def file(name: str) -> Response:
    """One file. With its mark (v) in the address it never changes, so the browser may keep it for a year."""
    if name not in NAMES:
        abort(404)
    path = FOLDER / name
    kind = KINDS.get(path.suffix) or mimetypes.guess_type(name)[0] or "text/plain"
    packed = kind.startswith(("text/", "image/svg")) and "gzip" in request.headers.get("Accept-Encoding", "")
    answer = Response(_gzip(name) if packed else path.read_bytes(), mimetype=kind)
    if packed:
        answer.headers["Content-Encoding"] = "gzip"
    answer.vary.add("Accept-Encoding")
    if request.args.get("v") == mark(name):
        answer.headers["Cache-Control"] = "public, max-age=31536000, immutable"
    else:
        answer.headers["Cache-Control"] = "no-cache"
    answer.set_etag(mark(name))
    answer.make_conditional(request)
    return answer


def address(name: str) -> str:
    """Where a page finds a file, its mark included."""
    return url_for("files.file", name=name, v=mark(name))


@cache
def mark(name: str) -> str:
    """A few letters that change when the file does."""
    return sha256((FOLDER / name).read_bytes()).hexdigest()[:12]


@cache
def _gzip(name: str) -> bytes:
    return gzip.compress((FOLDER / name).read_bytes(), 9, mtime=0)
