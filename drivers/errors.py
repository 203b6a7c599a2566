"""What can go wrong with an instrument: one class for each thing the daemon does about it.

DriverError
├── DriverUnavailable   the driver or its library is not installed, or its name is unknown: stop and say so
├── CannotOpen          the instrument is not there (yet): try again later
└── ReadFailed          this reading is lost: a gap, try again on the next beat
"""
from collections.abc import Iterator
from contextlib import contextmanager


class DriverError(Exception):
    """The base of every error that crosses a driver's edge."""


class DriverUnavailable(DriverError):
    """No driver of that name, or a package it needs is missing."""


class CannotOpen(DriverError):
    """The instrument could not be opened; it may appear later."""


class ReadFailed(DriverError):
    """One reading failed; the message says which file, line or register, and what was seen."""


@contextmanager
def opening() -> Iterator[None]:
    """While a driver is made: an instrument that cannot be read yet cannot be opened.

    Raises
    ------
    CannotOpen : in place of ReadFailed, with its words
    """
    try:
        yield
    except ReadFailed as error:
        raise CannotOpen(str(error)) from error
