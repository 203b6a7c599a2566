"""A code for the pages: made here, shown once, kept only as a hash."""
import secrets

#: Ten digits can be typed on any phone; behind the pages' lockout, which lets through some 30 tries a day, that is plenty.
DIGITS = 10


def make_code() -> str:
    """A code for a person to type, as 4827-193-605."""
    digits = f"{secrets.randbelow(10 ** DIGITS):0{DIGITS}d}"
    return f"{digits[:4]}-{digits[4:7]}-{digits[7:]}"


def hash_code(code: str) -> str:
    """The hash (scrypt) that goes into the configuration."""
    from werkzeug.security import generate_password_hash

    return generate_password_hash(code, method="scrypt")
