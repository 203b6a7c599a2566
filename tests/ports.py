"""Ports on this machine: a free one, and waiting until a server has opened its own."""
import contextlib
import socket
import time


def free_port() -> int:
    """A port that nobody listens on just now."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def wait_until_open(port: int, within_s: float = 30.0) -> None:
    """Returns once somebody listens there.

    Raises
    ------
    AssertionError : nobody does so in time
    """
    end_s = time.monotonic() + within_s
    while time.monotonic() < end_s:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 0.2):
            return
        time.sleep(0.01)
    raise AssertionError(f"port {port} was not opened within {within_s:g} s")
