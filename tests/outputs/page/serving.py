"""A page server fed by a real fold, for the tests."""

import contextlib
import http.client
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from urllib.parse import urlsplit

from tests.outputs.views import Played
from warmwatch.app.keyboard.terminal import KEYS
from warmwatch.core.reading import Mark, Reading
from warmwatch.outputs.page.output import Page
from warmwatch.outputs.page.rights import Right, Rights
from warmwatch.outputs.page.server import PageServer

STEADY = [Reading(float(i), {"fluid_c": 85.0, "engine_rpm": 780.0}) for i in range(5)]


@dataclass
class Served:
    """A served page with what feeds it."""

    server: PageServer
    page: Page
    played: Played
    ended: bool = False

    def show(self, **about: object) -> None:
        self.page.show(self.played.view(**about))  # type: ignore[arg-type]

    @property
    def host(self) -> str:
        return f"127.0.0.1:{self.server.port}"

    def cookie(self, right: Right | None = None) -> str:
        rights = self.server.site.rights
        return f"page-{self.server.port}={rights.cookie(right or rights.best)}"

    def ask(
        self,
        method: str,
        path: str,
        body: bytes | None = None,
        **headers: str | None,
    ) -> "Answer":
        """Send one request; a header None is left out, `_` in its name is a hyphen."""
        connection = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=5)
        given = {"Host": self.host, "Cookie": self.cookie()}
        given |= {name.replace("_", "-"): value for name, value in headers.items()}  # type: ignore[misc]
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in given.items():
            if value is not None:
                connection.putheader(name, value)
        if body is not None:
            connection.putheader("Content-Length", str(len(body)))
        connection.endheaders(body)
        with contextlib.closing(connection):
            response = connection.getresponse()
            return Answer(response.status, response.read(), dict(response.getheaders()))

    def mark(self, told: object, **headers: str | None) -> "Answer":
        """Send a mark as the page does, with the headers changed."""
        return self.post("/mark", told, **headers)

    def post(self, path: str, told: object, **headers: str | None) -> "Answer":
        """Send a body as the page does, with the headers changed."""
        own: dict[str, str | None] = {
            "Origin": f"http://{self.host}",
            "Content_Type": "application/json",
            "Sec_Fetch_Site": "same-origin",
        }
        body = told if isinstance(told, bytes) else json.dumps(told).encode()
        return self.ask("POST", path, body, **{**own, **headers})


@dataclass(frozen=True)
class Answer:
    status: int
    body: bytes
    headers: dict[str, str]


@contextlib.contextmanager
def serve(*, marks: bool = True, run: bool = False, port: int | None = None) -> Iterator[Served]:
    """Serve a page on loopback."""
    server = PageServer("127.0.0.1", port, Rights(marks=marks, run=run), keys=KEYS)
    server.start()
    try:
        yield Served(server, Page(server, "C"), Played())
    finally:
        server.stop()


def until(holds: Callable[[], bool], limit_s: float = 5.0) -> None:
    """Wait until something holds."""
    deadline = time.monotonic() + limit_s
    while not holds():
        assert time.monotonic() < deadline, "it never came to hold"
        time.sleep(0.01)


class Feeding:
    """Shows the view again and again like a session, and folds the marks that come back."""

    def __init__(self, served: Served) -> None:
        self.served = served
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> "Feeding":
        self._thread.start()
        return self

    def __exit__(self, *about: object) -> None:
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stop.wait(0.1):
            for name, note in self.served.page.drain():
                self.served.played.mark(name, note)
                self.served.page.take(Mark(self.served.played.now_s, name, note))
            if self.served.ended:
                return
            try:
                self.served.show()
            except OSError:
                return  # the test has stopped the server


def free_port() -> int:
    """Return a port that nobody has; not the usual one, which another run may take."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Listener:
    """A client of the event stream over a bare socket, so that it can be slow, too."""

    def __init__(
        self,
        served: Served,
        right: Right | None = None,
        *,
        buffer: int = 0,
        cookie: str | None = None,
    ) -> None:
        self._socket = socket.socket()
        if buffer:
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, buffer)
        self._socket.settimeout(5.0)
        self._socket.connect(("127.0.0.1", served.server.port))
        self._socket.sendall(
            f"GET /events HTTP/1.1\r\nHost: {served.host}\r\n"
            f"Cookie: {cookie or served.cookie(right)}\r\n\r\n".encode()
        )
        self._bytes = b""

    def __enter__(self) -> "Listener":
        return self

    def __exit__(self, *about: object) -> None:
        self._socket.close()

    def status(self) -> int:
        while b"\r\n" not in self._bytes:
            self._bytes += self._socket.recv(4096)
        return int(self._bytes.split(b" ", 2)[1])

    def messages(self, name: str) -> Iterator[dict[str, object]]:
        """Yield the messages of one name as they come, until the stream ends."""
        while True:
            piece = self._socket.recv(65536)
            if not piece:
                return
            self._bytes += piece
            text = self._bytes.decode("utf-8", "replace")
            while "\n\n" in text:
                event, text = text.split("\n\n", 1)
                if f"event: {name}\ndata: " in event:
                    yield json.loads(event.split("data: ", 1)[1])
            self._bytes = text.encode()

    def closed(self) -> bool:
        """Read what is there and return whether the other side has closed."""
        try:
            while self._socket.recv(65536):
                pass
        except TimeoutError:
            return False
        except OSError:
            return True
        return True


def path_of(link: str) -> str:
    """Return the path of a link."""
    return urlsplit(link).path
