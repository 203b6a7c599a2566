"""The pages' server as strangers find it: TLS, clients that are slow, many, or send too much."""
import contextlib
import hashlib
import http.client
import shutil
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from dashboard.guard import ADDRESSES, AT_ONCE_COUNT, PER_S_HZ, Pace, origin
from dashboard.server import MOST_OF_ONE_ADDRESS, Unusable, context_of
from tests.ports import free_port, wait_until_open

BUNDLE = "/static/plotly/plotly-basic.min.js"
OPENSSL = shutil.which("openssl")
#: The server with less patience than it has in life.
HASTY = """
import sys
from pathlib import Path
from dashboard import create_app, server
server.serve(create_app(Path(sys.argv[1])), "127.0.0.1", int(sys.argv[2]), idle_s=1.0, slow_s=1.0, look_s=0.2)
"""


@contextlib.contextmanager
def served(port: int, *command: str) -> Iterator[int]:
    """A server process, once its port is open."""
    process = subprocess.Popen([sys.executable, *command], stderr=subprocess.DEVNULL)
    try:
        wait_until_open(port)
        yield port
        assert process.poll() is None, "the server lives on"
    finally:
        process.terminate()
        process.wait(10)


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A certificate of our own making for localhost, and its key."""
    if OPENSSL is None:
        pytest.skip("no openssl here to make a certificate with")
    folder = tmp_path_factory.mktemp("certificate")
    made = folder / "board.pem", folder / "board.key"
    subprocess.run([OPENSSL, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
                    "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1",
                    "-out", made[0], "-keyout", made[1]], check=True, capture_output=True)
    return made


@pytest.fixture(scope="module")
def secure(full: Path, certificate: tuple[Path, Path]) -> Iterator[int]:
    """A dashboard over TLS."""
    port = free_port()
    with served(port, "-m", "dashboard", "--database", str(full), "--address", f"127.0.0.1:{port}",
                "--certificate", str(certificate[0]), "--key", str(certificate[1])):
        yield port


@pytest.fixture(scope="module")
def hasty(full: Path) -> Iterator[int]:
    """A dashboard over plain sockets that waits a second for anybody."""
    port = free_port()
    with served(port, "-c", HASTY, str(full), str(port)):
        yield port


def got(port: int, path: str, trust: Path | None = None) -> tuple[int, bytes, http.client.HTTPMessage]:
    """Status, body and headers of one request; over TLS where a certificate is to be trusted."""
    if trust is None:
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    else:
        link = http.client.HTTPSConnection("127.0.0.1", port, timeout=20, context=ssl.create_default_context(cafile=trust))
    with contextlib.closing(link):
        link.request("GET", path)
        answer = link.getresponse()
        return answer.status, answer.read(), answer.headers


def test_pages_are_served_over_tls_with_the_owner_s_certificate(secure: int, certificate) -> None:
    status, body, headers = got(secure, "/code", certificate[0])
    assert status == 200 and b"ampledger" in body
    assert "Secure" in headers["Set-Cookie"] and "HttpOnly" in headers["Set-Cookie"]


def test_a_large_answer_comes_whole_over_tls_to_many_at_once(secure: int, certificate) -> None:
    right = hashlib.sha256(Path("dashboard/static/plotly/plotly-basic.min.js").read_bytes()).hexdigest()
    with ThreadPoolExecutor(16) as pool:
        answers = list(pool.map(lambda _: got(secure, BUNDLE, certificate[0]), range(32)))
    assert {hashlib.sha256(body).hexdigest() for _, body, _ in answers} == {right}


def test_several_requests_go_over_one_tls_connection(secure: int, certificate) -> None:
    link = http.client.HTTPSConnection("127.0.0.1", secure, timeout=20, context=ssl.create_default_context(cafile=certificate[0]))
    with contextlib.closing(link):
        for path in ("/", "/log", BUNDLE, "/api/v1/now") * 5:
            link.request("GET", path)
            answer = link.getresponse()
            assert answer.status == 200 and answer.read()


@pytest.mark.parametrize("said", [b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n", b"\x16\x03\x01\x02\x00" + b"\x00" * 600, b"\xff" * 5000])
def test_what_is_no_tls_is_hung_up_on_and_the_others_are_served(secure: int, certificate, said: bytes) -> None:
    with socket.create_connection(("127.0.0.1", secure), 10) as link:
        link.settimeout(10)
        link.sendall(said)
        with contextlib.suppress(OSError):
            while link.recv(4096):
                pass
    assert got(secure, "/code", certificate[0])[0] == 200


def test_a_handshake_that_is_never_finished_holds_up_nobody(secure: int, certificate) -> None:
    held = [socket.create_connection(("127.0.0.1", secure), 10) for _ in range(30)]
    try:
        for link in held:
            link.sendall(b"\x16\x03\x01\x02\x00\x01\x00")
        started = time.monotonic()
        assert got(secure, "/code", certificate[0])[0] == 200
        assert time.monotonic() - started < 5
    finally:
        for link in held:
            link.close()


def test_a_certificate_that_cannot_be_used_is_refused_in_a_sentence(certificate, tmp_path: Path, full: Path) -> None:
    other = tmp_path / "other.key"
    subprocess.run([OPENSSL, "genpkey", "-algorithm", "EC", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-out", other],
                   check=True, capture_output=True)
    locked = tmp_path / "locked.key"
    subprocess.run([OPENSSL, "ec", "-in", certificate[1], "-aes128", "-passout", "pass:secret", "-out", locked],
                   check=True, capture_output=True)
    (tmp_path / "letter.pem").write_text("Dear reader")
    for pair in ((certificate[0], other), (certificate[0], locked), (tmp_path / "letter.pem", certificate[1])):
        with pytest.raises(Unusable, match="must be PEM, belong together"):
            context_of(*pair)
    with pytest.raises(Unusable, match="nowhere.pem: No such file"):
        context_of(tmp_path / "nowhere.pem", certificate[1])
    for pair in (["--certificate", str(certificate[0]), "--key", str(other)], ["--certificate", str(certificate[0])]):
        ran = subprocess.run([sys.executable, "-m", "dashboard", "--database", str(full), *pair], capture_output=True, text=True,
                             timeout=60)
        assert ran.returncode == 1 and "belong together" in ran.stderr and "Traceback" not in ran.stderr


def test_clients_that_send_a_byte_now_and_then_hold_up_nobody_and_are_let_go(hasty: int) -> None:
    """The attack that sends a header for ever, a byte at a time, over as many connections as it gets."""
    slow = [socket.create_connection(("127.0.0.1", hasty), 10) for _ in range(50)]
    try:
        for link in slow:
            link.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: ")
        worst, gone = 0.0, 0
        for _ in range(20):
            for link in slow:
                try:
                    link.sendall(b"a")
                except OSError:
                    gone += 1
            started = time.monotonic()
            assert got(hasty, "/code")[0] == 200
            worst = max(worst, time.monotonic() - started)
            time.sleep(0.15)
        assert worst < 2.0
        assert gone, "a request that takes longer than its time is hung up on, byte by byte or not"
    finally:
        for link in slow:
            link.close()


def fetched_after(port: int, wait_s: float) -> int:
    """Bytes that come when nine answers of more than a megabyte are asked for and left alone for so long."""
    with socket.socket() as link:
        link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        link.settimeout(10)
        link.connect(("127.0.0.1", port))
        link.sendall((b"GET " + BUNDLE.encode() + b" HTTP/1.1\r\nHost: localhost\r\n\r\n") * 9)
        time.sleep(wait_s)
        came = 0
        with contextlib.suppress(OSError):
            while piece := link.recv(65536):
                came += len(piece)
    return came


def test_a_client_that_never_fetches_its_answers_is_let_go(hasty: int) -> None:
    """Ten megabytes are asked for: more than the kernel takes off the server's hands by itself.

    A busy machine may need longer than the second the server waits, to make the answers at all.
    """
    assert any(fetched_after(hasty, wait_s) < 9_000_000 for wait_s in (2.5, 12.0))


def test_one_address_cannot_take_all_connections(hasty: int) -> None:
    crowd = [socket.create_connection(("127.0.0.1", hasty), 10) for _ in range(MOST_OF_ONE_ADDRESS + 30)]
    try:
        other = http.client.HTTPConnection("127.0.0.1", hasty, timeout=10, source_address=("127.0.0.2", 0))
        with contextlib.closing(other):
            other.request("GET", "/code")
            assert other.getresponse().status == 200
    finally:
        for link in crowd:
            link.close()


@pytest.mark.parametrize("said, status", [
    (b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Long: " + b"a" * 40_000 + b"\r\n\r\n", b"431"),
    (b"GET /" + b"a" * 40_000 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n", b"431"),
    (b"POST /code HTTP/1.1\r\nHost: localhost\r\nContent-Length: 99999999999\r\n\r\n", b"413"),
    (b"POST /code HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n" + (b"4000\r\n" + b"a" * 0x4000 + b"\r\n") * 9, b"413"),
    (b"\x00" * 3000 + b"\r\n\r\n", b"400"), (b"GET / HTTP/9.9\r\n" + b"A: b\r\n" * 9000 + b"\r\n", b"431")],
    ids=["header", "address", "body", "endless body", "zeros", "many headers"])
def test_what_is_too_much_is_refused_and_the_others_are_served(hasty: int, said: bytes, status: bytes) -> None:
    with socket.create_connection(("127.0.0.1", hasty), 10) as link:
        link.settimeout(10)
        with contextlib.suppress(OSError):
            link.sendall(said)
        answer = b""
        with contextlib.suppress(OSError):
            answer = link.recv(4096)
    # who still sends while being hung up on may lose the answer to the reset of the connection (RFC 9112, 9.6)
    assert answer.split(b"\r\n")[0].split(b" ")[1:2] in ([status], [])
    assert got(hasty, "/code")[0] == 200


def test_an_address_that_asks_too_fast_waits_and_others_do_not() -> None:
    now = [0.0]
    pace = Pace(lambda: now[0])
    assert [pace.too_fast("a") for _ in range(AT_ONCE_COUNT + 5)] == [False] * AT_ONCE_COUNT + [True] * 5
    assert not pace.too_fast("b")
    now[0] += 1.0
    assert [pace.too_fast("a") for _ in range(20)].count(False) == int(PER_S_HZ)
    for i in range(3 * ADDRESSES):
        pace.too_fast(f"stranger {i}")
    assert len(pace._left) == ADDRESSES


def test_a_stranger_who_asks_too_fast_is_told_to_wait_and_the_board_itself_never(client: Callable) -> None:
    browser = client(names=["a"])
    answers = [browser.get("/static/mark.svg", environ_base={"REMOTE_ADDR": "192.168.4.23"}) for _ in range(AT_ONCE_COUNT + 30)]
    assert answers[0].status_code == 200 and answers[-1].status_code == 429 and answers[-1].headers["Retry-After"]
    assert browser.get("/static/mark.svg").status_code == 200


def test_a_machine_that_changes_its_address_within_its_network_is_one_origin() -> None:
    assert origin("2001:db8:1:2:aaaa::1") == origin("2001:db8:1:2::ffff") != origin("2001:db8:1:3::1")
    assert origin("192.168.4.1") != origin("192.168.4.2")
    assert origin("fe80::1%wlan0") == origin("fe80::2%wlan0")


def test_a_client_that_stops_fetching_a_download_is_let_go_and_the_next_one_gets_it(hasty: int) -> None:
    """The first asks for every reading and fetches nothing: it holds neither a thread nor the download for ever."""
    with socket.create_connection(("127.0.0.1", hasty), 10) as idle:
        idle.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        idle.sendall(b"GET /download/ampledger.csv?every=raw&from=2026-06-01&to=2026-07-01 HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        end = time.monotonic() + 20
        while got(hasty, "/download/ampledger.csv?every=days")[0] != 200:
            assert time.monotonic() < end, "the download stays with who does not fetch it"
            time.sleep(0.3)


def test_a_client_that_fetches_a_long_answer_steadily_gets_it_whole(hasty: int) -> None:
    """Slower than the patience of one look, quicker than the least: the whole bundle in some seconds."""
    whole = got(hasty, BUNDLE)[1]
    with socket.create_connection(("127.0.0.1", hasty), 10) as slow:
        slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 65536)
        slow.sendall(f"GET {BUNDLE} HTTP/1.0\r\nHost: 127.0.0.1\r\n\r\n".encode())
        found = b""
        while piece := slow.recv(65536):
            found += piece
            time.sleep(0.1)
    assert found.partition(b"\r\n\r\n")[2] == whole
