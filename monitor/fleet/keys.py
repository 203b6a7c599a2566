"""Which vehicle may publish: a key of its own for each, made once and shown once. The collection keeps its SHA-256 alone."""
import re
import secrets
from datetime import date
from hashlib import sha256
from typing import Any

from sqlalchemy import Connection, insert, select, update
from sqlalchemy.exc import IntegrityError

from monitor.fleet.tables import vehicles

#: What a vehicle may be called: it stands in addresses.
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")
#: A key begins so, that one who finds it knows what it is.
PREFIX = "amp-"


class NoVehicle(ValueError):
    """There is no such vehicle, or its name cannot be used; one sentence."""


def hash_of(key: str) -> str:
    """What the collection keeps of a key. It is 256 random bits, so one round of SHA-256 (FIPS 180-4) is enough."""
    return sha256(key.encode()).hexdigest()


def enrol(connection: Connection, name: str, now_utc_s: float) -> str:
    """A new vehicle; returns its key, which is shown this once.

    connection: of the collection; name: what it is called; now_utc_s: UTC [s].

    Raises
    ------
    NoVehicle : the name is taken, or cannot stand in an address
    """
    if not NAME.fullmatch(name):
        raise NoVehicle(f"{name[:40]!r} cannot be a vehicle's name; take letters, digits, dots and hyphens, at most 40, as in hilux-07")
    key = _make_key()
    try:
        connection.execute(insert(vehicles).values(name=name, key_hash=hash_of(key), enrolled_utc_s=now_utc_s))
    except IntegrityError:
        raise NoVehicle(f"there is a vehicle {name!r} already; take another name, or `ampledger fleet key {name}` for a new key") from None
    return key


def renew(connection: Connection, name: str) -> str:
    """A new key in place of the old one, which ends with it; returns it. Raises NoVehicle."""
    key = _make_key()
    _change(connection, name, key_hash=hash_of(key), revoked_utc_s=None)
    return key


def revoke(connection: Connection, name: str, now_utc_s: float) -> None:
    """The vehicle's key is taken no more; what came with it stays.

    connection: of the collection; name: of the vehicle; now_utc_s: UTC [s].

    Raises
    ------
    NoVehicle : there is none of that name
    """
    _change(connection, name, revoked_utc_s=now_utc_s)


def move(connection: Connection, name: str) -> None:
    """The next board that comes with the vehicle's key is taken for its own: the old one was replaced. Raises NoVehicle."""
    _change(connection, name, board=None)


def describe(connection: Connection, name: str, values: dict[str, str | date | None]) -> None:
    """What the fleet knows of a vehicle's house battery: model, delivery, fitted_on, ended_on, and a note.

    connection: of the collection; name: of the vehicle; values: what to write.

    Raises
    ------
    NoVehicle : there is none of that name
    """
    if values:
        _change(connection, name, **values)


def find(connection: Connection, name: str) -> Any:
    """The row of a vehicle. Raises NoVehicle."""
    row = connection.execute(select(vehicles).where(vehicles.c.name == name)).fetchone()
    if row is None:
        known = [r[0] for r in connection.execute(select(vehicles.c.name).order_by(vehicles.c.name).limit(8))]
        raise NoVehicle(f"there is no vehicle {name[:40]!r}; there are {', '.join(known)}" if known else "no vehicle is enrolled yet")
    return row


def _make_key() -> str:
    return PREFIX + secrets.token_urlsafe(32)


def _change(connection: Connection, name: str, **values: Any) -> None:
    row = find(connection, name)
    connection.execute(update(vehicles).where(vehicles.c.id == row.id).values(**values))
