"""The pages of a fleet and the door that boards publish through: one WSGI application over one collection, holding nothing of its own."""
from collections.abc import Callable, Iterable
from typing import Any

from sqlalchemy import Engine


def create_site(engine: Engine, *, names: Iterable[str] = (), secure: bool = False, identity_header: str | None = None,
                proxy: str | None = None) -> Callable[..., Any]:
    """The fleet's site, as a WSGI application.

    engine : the collection, of the present shape; names : what the server is called, beside its own name
    secure : it is reached over TLS only, so the session's cookie must not go another way
    identity_header : header in which a reverse proxy says who asks; believed from proxy alone
    proxy : the proxy's address in numbers

    Raises
    ------
    ValueError : a header is to be believed from anybody
    """
    from dashboard.fleet import door, site

    if (identity_header is None) != (proxy is None):
        raise ValueError("who asks can be believed from a proxy at one address only: give the header and the proxy's address, or neither")
    return site.Site(engine, door.Settings(tuple(names), secure, identity_header, proxy))

