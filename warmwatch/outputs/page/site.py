"""What the page's server answers: the files, the stream of states, marks, orders and proofs.

What comes from the network is believed to be hostile until its cookie shows that its owner had the
link; until then everything gets the same answer.
"""

import queue
import secrets
import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Mapping
from typing import TypeVar

from aiohttp import web

from warmwatch.outputs.page.connections import Connection
from warmwatch.outputs.page.files import static_files
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
from warmwatch.outputs.page.orders import MarkSet, Order, parse_mark, parse_order
from warmwatch.outputs.page.rights import Right, Rights
from warmwatch.outputs.page.streams import Streams
from warmwatch.words.catalogue import phrase

_KEPT_PROOFS = 8
_T = TypeVar("_T")

_Handler = Callable[[web.BaseRequest, Right], Awaitable[web.StreamResponse]]


class Site:
    """Answers requests; `hosts` and `port` are known once the server listens.

    `refresh` publishes the state as it is now. `marks` and `orders` hold what the phones sent.
    `understand` says in words what a mark with its note would mean, empty when nothing.
    """

    def __init__(
        self,
        rights: Rights,
        streams: Streams,
        refresh: Callable[[], None],
        *,
        speak: bool,
        keys: Mapping[str, str],
    ) -> None:
        self.rights = rights
        self.marks: queue.Queue[MarkSet] = queue.Queue(100)
        self.orders: queue.Queue[Order] = queue.Queue(20)
        self.hosts: frozenset[str] = frozenset()
        self.port = 0
        self.understand: Callable[[MarkSet], str] = lambda mark: ""
        self._streams = streams
        self._refresh = refresh
        self._speak, self._keys = speak, keys
        self._files = static_files()
        self._proofs: OrderedDict[str, bytes] = OrderedDict()
        self._askers = Askers()
        self._mark_bucket = Bucket(per_s=4.0, burst=20)
        self._key_bucket = Bucket(per_s=20.0, burst=60)
        self._routes: Mapping[tuple[str, str], tuple[Right, _Handler]] = {
            **{("GET", path): (Right.WATCH, self._file) for path in self._files},
            ("GET", "/events"): (Right.WATCH, self._events),
            ("POST", "/mark"): (Right.MARK, self._mark),
            ("POST", "/understand"): (Right.MARK, self._understand),
            ("POST", "/do"): (Right.RUN, self._order),
        }

    async def handle(self, request: web.BaseRequest) -> web.StreamResponse:
        """Answer one request."""
        if isinstance(request.protocol, Connection):
            request.protocol.asked = True
        foreign = request.headers.get("Host", "") not in self.hosts
        if foreign or "Content-Encoding" in request.headers:
            return last_refusal()
        if not self._askers.may(request.remote or "", time.monotonic()):
            return refusal()
        if request.method == "GET" and request.path.startswith("/open/"):
            return self._exchange(request)
        right, handler = right_of(request, self.rights, self.port), self._handler(request)
        if right is None or handler is None or not right.holds(handler[0]):
            return refusal()
        if request.method == "POST" and not is_own(request, self.hosts):
            return refusal()
        try:
            return await handler[1](request, right)
        except TimeoutError:
            return last_refusal()

    def _handler(self, request: web.BaseRequest) -> tuple[Right, _Handler] | None:
        if request.method == "GET" and request.path.startswith("/proof/"):
            return Right.RUN, self._proof
        return self._routes.get((request.method, request.path))

    def _exchange(self, request: web.BaseRequest) -> web.Response:
        right = self.rights.by_key(request.path.removeprefix("/open/"))
        if right is None:
            return refusal()
        # The page itself, not a redirect: after a link in another site's page the browser would not
        # send a SameSite=Strict cookie along. The page takes the key out of the address line.
        response = self._answer("/", request)
        if browser_of(request, self.port) is None:
            _set_cookie(response, browser_name(self.port), new_browser())
        _set_cookie(response, cookie_name(self.port), self.rights.cookie(right))
        return response

    async def _file(self, request: web.BaseRequest, right: Right) -> web.Response:
        return self._answer(request.path, request)

    def _answer(self, path: str, request: web.BaseRequest) -> web.Response:
        file = self._files[path]
        if file.packed is None or "gzip" not in request.headers.get("Accept-Encoding", ""):
            return answer(file.content, kind=file.kind)
        response = answer(file.packed, kind=file.kind)
        response.headers["Content-Encoding"] = "gzip"
        return response

    async def _events(self, request: web.BaseRequest, right: Right) -> web.StreamResponse:
        browser = browser_of(request, self.port)
        if self._streams.ended or not self._streams.may(browser):
            return answer(phrase("page.too-many") + "\n", status=503)
        self._refresh()  # what was sent last may be old: no page begins with a state of then
        hello = event_bytes("hello", hello_message(right, speak=self._speak, keys=self._keys))
        return await self._streams.serve(request, hello, right, browser)

    async def _mark(self, request: web.BaseRequest, right: Right) -> web.Response:
        body = await small_body(request)
        found = None if body is None else parse_mark(body, browser_of(request, self.port))
        if found is None:
            return answer(phrase("page.no-mark") + "\n", status=400)
        return self._take(self.marks, found)

    async def _order(self, request: web.BaseRequest, right: Right) -> web.Response:
        body = await small_body(request)
        found = None if body is None else parse_order(body)
        if found is None:
            return answer(phrase("page.no-order") + "\n", status=400)
        return self._take(self.orders, found)

    def _take(self, waiting: "queue.Queue[_T]", found: _T) -> web.Response:
        if not self._mark_bucket.take(time.monotonic()) or waiting.full():
            return answer(phrase("page.too-much") + "\n", status=429)
        waiting.put_nowait(found)
        return answer("{}", status=202, kind="application/json")

    async def _understand(self, request: web.BaseRequest, right: Right) -> web.Response:
        body = await small_body(request)
        found = None if body is None else parse_mark(body)
        if found is None or not self._key_bucket.take(time.monotonic()):
            return answer("", status=400)
        return answer(self.understand(found))

    async def _proof(self, request: web.BaseRequest, right: Right) -> web.Response:
        made = self._proofs.get(request.path.removeprefix("/proof/"))
        if made is None:
            return refusal()
        response = answer(made, kind="application/pdf")
        response.headers["Content-Disposition"] = "attachment"
        return response

    def offer(self, made: bytes) -> str:
        """Offer a proof for this run; return its path, which nobody can guess."""
        name = secrets.token_urlsafe(18)
        self._proofs = OrderedDict([*self._proofs.items(), (name, made)][-_KEPT_PROOFS:])
        return f"/proof/{name}"


def _set_cookie(response: web.Response, name: str, value: str) -> None:
    response.set_cookie(name, value, httponly=True, samesite="Strict", path="/")
