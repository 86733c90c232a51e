"""The connections to the page: few, and none that only waits."""

import asyncio
from collections import Counter
from typing import Any

from aiohttp import web
from aiohttp.web_protocol import RequestHandler

from warmwatch.outputs.page.gate import refusal
from warmwatch.outputs.page.limits import MOST_CONNECTIONS, MOST_FROM_ONE, is_loopback

FIRST_REQUEST_S = 5.0
"""A connection that has not asked for anything by then is closed."""


class Connections(web.Server):
    """Makes a handler for each connection and closes those that are too many."""

    def __init__(self, handler: Any, **options: Any) -> None:
        super().__init__(handler, **options)
        self.by_peer: Counter[str] = Counter()
        self.options = options

    def __call__(self) -> RequestHandler:
        return Connection(self, loop=asyncio.get_running_loop(), **self.options)

    def too_many(self, peer: str) -> bool:
        """Whether a further connection from `peer` is one too many."""
        here = 0 if is_loopback(peer) else self.by_peer[peer]
        return len(self.connections) > MOST_CONNECTIONS or here > MOST_FROM_ONE


class Connection(RequestHandler):
    """One connection; it tells nothing of what serves it, even when it is asked nonsense."""

    __slots__ = ("_deadline", "_peer", "_server", "asked")

    def __init__(self, server: Connections, **options: Any) -> None:
        super().__init__(server, **options)
        self._server = server
        self._peer = ""
        self._deadline: asyncio.TimerHandle | None = None
        self.asked = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        peer = transport.get_extra_info("peername")
        self._peer = str(peer[0]) if peer else ""
        self._server.by_peer[self._peer] += 1
        assert isinstance(transport, asyncio.Transport)
        if self._server.too_many(self._peer):
            transport.abort()
            return
        loop = asyncio.get_running_loop()
        self._deadline = loop.call_later(FIRST_REQUEST_S, self._give_up, transport)

    def connection_lost(self, exc: BaseException | None) -> None:
        super().connection_lost(exc)
        self._server.by_peer[self._peer] -= 1
        if self._server.by_peer[self._peer] <= 0:
            del self._server.by_peer[self._peer]
        if self._deadline is not None:
            self._deadline.cancel()

    def _give_up(self, transport: asyncio.Transport) -> None:
        if not self.asked:
            transport.abort()

    def handle_error(
        self,
        request: web.BaseRequest,
        status: int = 500,
        exc: BaseException | None = None,
        message: str | None = None,
    ) -> web.StreamResponse:
        """Answer what is no request, or what failed, like everything else that is refused."""
        if request.writer.output_size > 0:
            raise ConnectionError
        response = refusal()
        response.force_close()
        return response
