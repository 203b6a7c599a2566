"""Waitress over plain sockets or TLS, with bounds for clients that are slow, many or both."""
import ssl
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.server import MultiSocketServer, TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher

from dashboard.guard import origin

#: Enough for a family's phones on the slowest page, beside the listeners of data_out.py; one request takes milliseconds.
THREADS = 14
#: Open connections altogether, and of one address: a stranger with one machine cannot take them all.
MOST_CONNECTIONS, MOST_OF_ONE_ADDRESS = 240, 60
#: A request's body may be so long [bytes]: forms are short.
MOST_BODY = 32 * 1024
#: A client that has sent nothing for so long, or has not come to the end of its request or fetched its answer, is let go [s].
IDLE_S, SLOW_S, LOOK_S = 30.0, 45.0, 5.0
#: Of a long answer this much at least must be fetched within SLOW_S, and no more than the second waits in memory [bytes].
LEAST_FETCHED, MOST_WAITING = 256 * 1024, 1024 * 1024


class Unusable(Exception):
    """A certificate or key that cannot be used; one sentence."""


class Channel(HTTPChannel):
    """One connection, since when it has been in the same half-done state, and how much it has fetched."""

    half_done: tuple[Any, float] | None = None
    fetched = 0

    def send(self, data: bytes, do_close: bool = True) -> int:
        sent = super().send(data, do_close)
        self.fetched += sent
        return sent


class Server(TcpWSGIServer):
    """A listening socket that counts its clients and lets go of the slowest. TLS where it has a context."""

    channel_class: type[Channel] = Channel
    context: ssl.SSLContext | None = None
    slow_s = SLOW_S
    most_of_one = MOST_OF_ONE_ADDRESS

    def accept(self) -> tuple[Any, Any] | None:
        came = super().accept()
        if came is None:
            return None
        link, address = came
        of_one = sum(1 for channel in self.active_channels.values() if origin(channel.addr[0]) == origin(address[0]))
        if of_one >= self.most_of_one:
            link.close()
            return None
        if self.context is not None:
            link.setblocking(False)
            link = self.context.wrap_socket(link, server_side=True, do_handshake_on_connect=False)
        return link, address

    def maintenance(self, now: float) -> None:
        super().maintenance(now)
        for channel in list(self.active_channels.values()):
            waits = channel.total_outbufs_len > 0
            state = (id(channel.request), waits, channel.fetched // LEAST_FETCHED)  # a long answer is fetched piece by piece
            if not waits and (channel.requests or channel.request is None):
                channel.half_done = None  # it waits for us, or between two requests
            elif channel.half_done is None or channel.half_done[0] != state:
                channel.half_done = (state, now)
            elif now - channel.half_done[1] > self.slow_s:
                channel.handle_close()  # at once: marked to be closed, it would wait until this client fetches something


class TlsChannel(Channel):
    """A connection over TLS; the handshake is made by the first readings. One lock for both directions: OpenSSL wants it."""

    def handle_read(self) -> None:
        while True:
            try:
                with self.outbuf_lock:
                    data = self.socket.recv(self.adj.recv_bytes)
            except (ssl.SSLWantReadError, ssl.SSLWantWriteError):
                return
            except (OSError, ValueError):  # no TLS at all, or gone
                self.handle_close()
                return
            if not data:
                self.handle_close()
                return
            self.last_activity = time.time()
            self.received(data)
            with self.outbuf_lock:
                if not self.connected or not self.socket.pending():
                    return

    def send(self, data: bytes, do_close: bool = True) -> int:
        try:
            with self.outbuf_lock:
                sent = self.socket.send(data)
            self.fetched += sent
            return sent
        except (ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return 0
        except (OSError, ValueError):
            if do_close:
                self.handle_close()
            return 0


class TlsServer(Server):
    """The same over TLS."""

    channel_class = TlsChannel


def context_of(certificate: Path, key: Path) -> ssl.SSLContext:
    """What TLS needs, from two PEM files.

    Raises
    ------
    Unusable : a file is missing, is not PEM, is locked, or both do not belong together
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(certificate, key, password=lambda: b"")  # never ask a terminal
    except ssl.SSLError as error:
        raise Unusable(f"{certificate} and {key} cannot be used: {error.reason or error}; both must be PEM, belong together, "
                       "and the key must not be locked by a passphrase") from None
    except OSError as error:
        missing = next((f for f in (certificate, key) if not f.exists()), certificate)
        raise Unusable(f"{missing}: {error.strerror}; see that the pages' user may read certificate and key") from None
    return context


def serve(app: Callable, host: str, port: int, context: ssl.SSLContext | None = None, *, idle_s: float = IDLE_S,
          slow_s: float = SLOW_S, look_s: float = LOOK_S, most_body: int = MOST_BODY, most_of_one: int = MOST_OF_ONE_ADDRESS) -> None:
    """Serves until Ctrl-C or SIGTERM. Raises OSError where it cannot listen.

    app: the pages; host, port: where it listens; context: certificate and key, None: plain HTTP; idle_s: a connection that says
    nothing is closed after so long [s]; slow_s: a request must have arrived after so long [s]; look_s: how often these are looked
    at [s]; most_body: a request's body may be so long [bytes]; most_of_one: open connections of one address.
    """
    settings = Adjustments(
        host=host, port=port, threads=THREADS, ident=None, channel_timeout=idle_s, cleanup_interval=look_s,
        connection_limit=MOST_CONNECTIONS, outbuf_high_watermark=MOST_WAITING,
        max_request_body_size=most_body, max_request_header_size=16 * 1024,
        clear_untrusted_proxy_headers=True, asyncore_use_poll=True, asyncore_loop_timeout=min(look_s, 1),
        url_scheme="https" if context else "http")
    dispatcher = ThreadedTaskDispatcher()
    dispatcher.set_thread_count(THREADS)
    kind = type("Listening", (TlsServer if context else Server,), {"context": context, "slow_s": slow_s, "most_of_one": most_of_one})
    sockets: dict[int, Any] = {}
    servers = [kind(app, map=sockets, adj=settings, sockinfo=info, dispatcher=dispatcher) for info in settings.listen]
    if len(servers) == 1:
        servers[0].run()
    else:
        MultiSocketServer(sockets, settings, [(s.effective_host, s.effective_port) for s in servers], dispatcher).run()
