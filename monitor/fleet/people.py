"""Who may look at a fleet, acknowledge its alerts, and change what is known of it: a name, a code, a role."""
import secrets
from typing import Literal, get_args

from sqlalchemy import Connection, delete, select
from werkzeug.security import check_password_hash, generate_password_hash

from monitor.fleet.database import insert_of
from monitor.fleet.tables import people, settings

Role = Literal["see", "acknowledge", "administer"]
#: What each role may do, the least first: each may do what those before it may.
ROLES: tuple[Role, ...] = get_args(Role)
#: A code has so many letters and digits, none that look alike (choice: 50 bits, guarded by waits after wrong ones).
CODE_LENGTH, LETTERS = 10, "abcdefghjkmnpqrstuvwxyz23456789"


class NoPerson(ValueError):
    """There is no such person or role; one sentence."""


def put(connection: Connection, name: str, role: str) -> str:
    """Makes a person, or gives one a new code and role; returns the code, which is shown this once.

    connection: of the collection, in a transaction; name: what they sign in with; role: one of ROLES.

    Raises
    ------
    NoPerson : the role is none, or the name is empty or too long
    """
    if role not in ROLES:
        raise NoPerson(f"{role[:30]!r} is no role; there are {', '.join(ROLES)}")
    if not 0 < len(name.strip()) <= 60:
        raise NoPerson("a person needs a name of 1 to 60 letters")
    code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
    values = {"name": name.strip(), "code_hash": generate_password_hash(code), "role": role}
    statement = insert_of(connection, people).values(values)
    connection.execute(statement.on_conflict_do_update(index_elements=["name"], set_={k: values[k] for k in ("code_hash", "role")}))
    return code


def remove(connection: Connection, name: str) -> None:
    """The person may look no more. Raises NoPerson."""
    if not connection.execute(delete(people).where(people.c.name == name)).rowcount:
        raise NoPerson(f"there is nobody called {name[:40]!r}")


def role_of(connection: Connection, name: str) -> Role | None:
    """What a person may do, None where there is nobody of that name."""
    found: Role | None = connection.execute(select(people.c.role).where(people.c.name == name)).scalar()
    return found


def is_right(connection: Connection, name: str, code: str) -> bool:
    """Whether this is the person's code. It takes as long for nobody's name as for somebody's.

    connection: of the collection; name: what they sign in with; code: as it was entered.
    """
    kept = connection.execute(select(people.c.code_hash).where(people.c.name == name)).scalar()
    right = check_password_hash(kept or _NOBODY, code)
    return right and kept is not None


def may(role: Role | None, least: Role) -> bool:
    """Whether a role is enough.

    >>> may("acknowledge", "see"), may("see", "administer"), may(None, "see")
    (True, False, False)
    """
    return role is not None and ROLES.index(role) >= ROLES.index(least)


def session_key(connection: Connection) -> bytes:
    """The key that signs browser sessions, the same for every process that serves this collection; made at the first call."""
    connection.execute(insert_of(connection, settings).values(name="session_key", value=secrets.token_hex(32)).on_conflict_do_nothing())
    text: str = connection.execute(select(settings.c.value).where(settings.c.name == "session_key")).scalar_one()
    return bytes.fromhex(text)


_NOBODY = generate_password_hash(secrets.token_hex(16))
