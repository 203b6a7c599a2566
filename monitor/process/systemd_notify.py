"""Tells systemd that the daemon is ready and alive: sd_notify(3), a datagram on a socket it names."""
import os
import socket
from contextlib import suppress


class Notifier:
    """Says nothing where nobody asked to be told."""

    def __init__(self, address: str | None = None) -> None:
        address = address if address is not None else os.environ.get("NOTIFY_SOCKET", "")
        self._socket: socket.socket | None = None
        if address:
            self._address = "\0" + address[1:] if address.startswith("@") else address
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
            self._socket.setblocking(False)

    def ready(self, status: str) -> None:
        """Started."""
        self._send(f"READY=1\nSTATUS={status}")

    def alive(self) -> None:
        """The beat goes on: keeps the watchdog away."""
        self._send("WATCHDOG=1")

    def status(self, status: str) -> None:
        """One line for `systemctl status`."""
        self._send(f"STATUS={status}")

    def stopping(self) -> None:
        """Ending in order."""
        self._send("STOPPING=1")

    def close(self) -> None:
        """Closes the socket."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _send(self, text: str) -> None:
        if self._socket is not None:
            with suppress(OSError):  # a service manager that went away must not end the daemon
                self._socket.sendto(text.replace("\0", " ").encode(), self._address)
