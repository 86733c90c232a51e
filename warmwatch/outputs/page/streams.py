"""The connected pages: each gets the newest state, and is dropped when it does not read."""

import asyncio
import socket
from collections.abc import Collection, Iterator

from aiohttp import web

from warmwatch.outputs.page.gate import HEADERS
from warmwatch.outputs.page.limits import MOST_STREAMS
from warmwatch.outputs.page.rights import Right

SLOW_S = 4.0
"""A client that takes nothing for so long is dropped; its page will say so and come back."""
_SEND_BUFFER = 16384
RETRY_MS = 1000
DISPLACED = b"event: elsewhere\ndata: {}\n\n"
"""Tells a page that another tab of the same browser has taken its place."""


class Streams:
    """Event streams. `publish` replaces what has not been sent yet: the newest state wins."""

    def __init__(self) -> None:
        self._newest: dict[str, bytes] = {}
        self._versions: dict[str, int] = {}
        self._audience: dict[str, Collection[Right]] = {}
        self._waiting: set[asyncio.Event] = set()
        self._by_browser: dict[str, asyncio.Event] = {}
        self._displaced: set[asyncio.Event] = set()
        self._count = 0
        self.ended = False

    def __len__(self) -> int:
        return len(self._waiting)

    def may(self, browser: str | None) -> bool:
        """Whether a further page is served; one that takes another's place always is."""
        return len(self._waiting) < MOST_STREAMS or browser in self._by_browser

    def publish(self, name: str, event: bytes, to: Collection[Right] = tuple(Right)) -> None:
        """Give an event to all clients with one of the rights, in place of an older of its name."""
        self._newest[name] = event
        self._audience[name] = to
        self._count += 1
        self._versions[name] = self._count
        self._wake()

    def forget(self, *names: str) -> None:
        """Send no more what these names hold: it is of a watch that has ended."""
        for name in names:
            self._newest.pop(name, None)
            self._versions.pop(name, None)

    def end(self) -> None:
        """Let every stream end after what has been published."""
        self.ended = True
        self._wake()

    def _wake(self) -> None:
        for changed in self._waiting:
            changed.set()

    async def serve(
        self, request: web.BaseRequest, hello: bytes, right: Right, browser: str | None
    ) -> web.StreamResponse:
        """Answer one request for the stream, until the client goes away or the end comes.

        One `browser` has one stream, the newest: browsers allow six connections to a server, and
        six open tabs would leave none to mark with.
        """
        kind = {"Content-Type": "text/event-stream; charset=utf-8"}
        response = web.StreamResponse(headers={**HEADERS, **kind, "X-Accel-Buffering": "no"})
        _keep_short(request)
        changed = asyncio.Event()
        changed.set()
        self._waiting.add(changed)
        self._displace(browser, changed)
        try:
            await response.prepare(request)
            await self._follow(response, hello, right, changed)
        except (TimeoutError, OSError):
            if request.transport is not None:
                request.transport.abort()  # what is still in its buffer would be old when read
        finally:
            self._waiting.discard(changed)
            self._displaced.discard(changed)
            if browser is not None and self._by_browser.get(browser) is changed:
                del self._by_browser[browser]
        return response

    def _displace(self, browser: str | None, changed: asyncio.Event) -> None:
        if browser is None:
            return
        earlier = self._by_browser.get(browser)
        self._by_browser[browser] = changed
        if earlier is not None:
            self._displaced.add(earlier)
            earlier.set()

    async def _follow(
        self, response: web.StreamResponse, hello: bytes, right: Right, changed: asyncio.Event
    ) -> None:
        sent: dict[str, int] = {}
        await response.write(f"retry: {RETRY_MS}\n\n".encode() + hello)
        while True:
            await changed.wait()
            changed.clear()
            if changed in self._displaced:
                await asyncio.wait_for(response.write(DISPLACED), SLOW_S)
                return
            last = self.ended  # asked before sending: what comes in meanwhile wakes us again
            for event in self._news(sent, right):
                await asyncio.wait_for(response.write(event), SLOW_S)
            if last:
                return

    def _news(self, sent: dict[str, int], right: Right) -> Iterator[bytes]:
        for name, version in list(self._versions.items()):
            if sent.get(name) != version and right in self._audience[name]:
                sent[name] = version
                yield self._newest[name]


def _keep_short(request: web.BaseRequest) -> None:
    """Keep the buffers small, so that a client that does not read is soon known as one."""
    transport = request.transport
    if not isinstance(transport, asyncio.Transport):
        return
    transport.set_write_buffer_limits(high=_SEND_BUFFER)
    sock = transport.get_extra_info("socket")
    if sock is not None:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _SEND_BUFFER)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
