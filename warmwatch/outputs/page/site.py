"""What the page's server answers: the files, the stream of states, and marks.

What comes from the network is believed to be hostile until its cookie shows that its owner had the
link; until then everything gets the same answer.
"""

import json
import queue
import time
from collections.abc import Awaitable, Callable, Mapping
from importlib.resources import files

from aiohttp import web

from warmwatch.core.reading import MarkName
from warmwatch.outputs.page.connections import Connection
from warmwatch.outputs.page.gate import (
    answer,
    browser_name,
    browser_of,
    cookie_name,
    is_own,
    last_refusal,
    new_browser,
    refusal,
    right_of,
    small_body,
)
from warmwatch.outputs.page.limits import Askers, Bucket
from warmwatch.outputs.page.message import event_bytes, hello_message
from warmwatch.outputs.page.rights import Right, Rights
from warmwatch.outputs.page.streams import Streams

LONGEST_NOTE = 500
_KINDS = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_NAMES = (
    "page.css",
    "icon.svg",
    "page.js",
    "draw.js",
    "marks.js",
    "sound.js",
    "curve.js",
    "tick.js",
)
_OPENED = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><title>Opening</title>'
    '<meta http-equiv="refresh" content="0; url=/"><a href="/">Open the page</a></html>'
)

MarkSet = tuple[MarkName, str]
_Handler = Callable[[web.BaseRequest, Right], Awaitable[web.StreamResponse]]


def static_files() -> dict[str, tuple[bytes, str]]:
    """Return the files of the page by their path: content and type."""
    folder = files("warmwatch.outputs.page") / "static"
    served = {
        f"/{name}": ((folder / name).read_bytes(), _KINDS[name.rpartition(".")[2]])
        for name in _NAMES
    }
    page = (folder / "page.html").read_bytes(), "text/html"
    # Browsers ask for this one by themselves.
    return {"/": page, "/favicon.ico": served["/icon.svg"], **served}


class Site:
    """Answers requests; `hosts` and `port` are known once the server listens.

    `refresh` publishes the state as it is now. `marks` holds what the phones marked.
    """

    def __init__(
        self, rights: Rights, streams: Streams, refresh: Callable[[], None], *, speak: bool
    ) -> None:
        self.rights = rights
        self.marks: queue.Queue[MarkSet] = queue.Queue(100)
        self.hosts: frozenset[str] = frozenset()
        self.port = 0
        self._streams = streams
        self._refresh = refresh
        self._speak = speak
        self._files = static_files()
        self._askers = Askers()
        self._mark_bucket = Bucket(per_s=4.0, burst=20)
        self._routes: Mapping[tuple[str, str], _Handler] = {
            **{("GET", path): self._file for path in self._files},
            ("GET", "/events"): self._events,
            ("POST", "/mark"): self._mark,
        }

    async def handle(self, request: web.BaseRequest) -> web.StreamResponse:
        """Answer one request."""
        if isinstance(request.protocol, Connection):
            request.protocol.asked = True
        if (
            request.headers.get("Host", "") not in self.hosts
            or "Content-Encoding" in request.headers
        ):
            return last_refusal()
        if not self._askers.may(request.remote or "", time.monotonic()):
            return refusal()
        if request.method == "GET" and request.path.startswith("/open/"):
            return self._exchange(request)
        right = right_of(request, self.rights, self.port)
        handler = self._routes.get((request.method, request.path))
        if right is None or handler is None:
            return refusal()
        try:
            return await handler(request, right)
        except TimeoutError:
            return last_refusal()

    def _exchange(self, request: web.BaseRequest) -> web.Response:
        right = self.rights.by_key(request.path.removeprefix("/open/"))
        if right is None:
            return refusal()
        # A page that goes on by itself, not a redirect: after a link in another site's page the
        # browser would not send a SameSite=Strict cookie along a redirect.
        response = answer(_OPENED, kind="text/html")
        if browser_of(request, self.port) is None:
            _set_cookie(response, browser_name(self.port), new_browser())
        _set_cookie(response, cookie_name(self.port), self.rights.cookie(right))
        return response

    async def _file(self, request: web.BaseRequest, right: Right) -> web.Response:
        content, kind = self._files[request.path]
        return answer(content, kind=kind)

    async def _events(self, request: web.BaseRequest, right: Right) -> web.StreamResponse:
        if self._streams.full or self._streams.ended:
            return answer("Too many pages are open.\n", status=503)
        self._refresh()  # what was sent last may be old: no page begins with a state of then
        hello = hello_message(may_mark=right is Right.MARK, speak=self._speak)
        browser = browser_of(request, self.port)
        return await self._streams.serve(request, event_bytes("hello", hello), browser)

    async def _mark(self, request: web.BaseRequest, right: Right) -> web.Response:
        if right is not Right.MARK or not is_own(request, self.hosts):
            return refusal()
        body = await small_body(request)
        found = None if body is None else parse_mark(body)
        if found is None:
            return answer("That is no mark.\n", status=400)
        if not self._mark_bucket.take(time.monotonic()) or self.marks.full():
            return answer("Too many marks at once.\n", status=429)
        self.marks.put_nowait(found)
        return answer("{}", status=202, kind="application/json")


def _set_cookie(response: web.Response, name: str, value: str) -> None:
    response.set_cookie(name, value, httponly=True, samesite="Strict", path="/")


def parse_mark(body: bytes) -> MarkSet | None:
    """Return the mark of a request's body, None when it is none.

    >>> parse_mark(b'{"mark": "drip"}')
    (<MarkName.DRIP: 'drip'>, '')
    """
    try:
        told = json.loads(body)
    except (ValueError, RecursionError):
        return None
    if not isinstance(told, dict) or not isinstance(told.get("note", ""), str):
        return None
    name, note = told.get("mark"), told.get("note", "")
    if name not in [str(mark) for mark in MarkName]:
        return None
    clean = "".join(char if char.isprintable() else " " for char in note)[:LONGEST_NOTE].strip()
    if name == MarkName.NOTE and not clean:
        return None
    return MarkName(name), clean
