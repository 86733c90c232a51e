"""The page's server: aiohttp on a thread and an event loop of its own.

Nothing here can hold up the watch: the session only puts the newest view into a slot.
"""

import asyncio
import contextlib
import logging
import os
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from types import MappingProxyType

from warmwatch.core.units import from_c
from warmwatch.errors import UsageError
from warmwatch.outputs.page.address import names, url
from warmwatch.outputs.page.connections import Connections
from warmwatch.outputs.page.curve import Curve
from warmwatch.outputs.page.message import Shown, curve_message, event_bytes, state_message
from warmwatch.outputs.page.rights import Right, Rights
from warmwatch.outputs.page.site import Site
from warmwatch.outputs.page.streams import Streams

NO_KEYS: Mapping[str, str] = MappingProxyType({})
FIRST_PORT = 4780
STALLED_S = 3.0
"""When the session has shown nothing for so long, the page is told that it is blind."""
HEARTBEAT_S = 0.5
CURVE_EVERY_S = 2.0
START_S = 10.0
LAST_WORDS_S = 1.0
"""At the end the pages have so long to be told that it was the end."""
_UNHEARD = logging.getLogger("warmwatch.page")
"""What strangers send is no matter for the mechanic's terminal."""
_UNHEARD.addHandler(logging.NullHandler())
_UNHEARD.propagate = False


class PageServer:
    """Serves the page between `start` and `stop`."""

    def __init__(
        self,
        host: str,
        port: int | None,
        rights: Rights,
        *,
        speak: bool = False,
        keys: Mapping[str, str] = NO_KEYS,
    ) -> None:
        self.port = 0
        self.host = host
        self._wanted_port = port
        self._streams = Streams()
        self.site = Site(rights, self._streams, self._publish, speak=speak, keys=keys)
        self._curve = Curve()
        self._curve_s = 0.0
        self._shown: Shown | None = None
        self._visit: dict[Right, dict[str, object]] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread: threading.Thread | None = None
        self._stop: asyncio.Event | None = None

    @property
    def clients(self) -> int:
        """How many pages are connected now."""
        return len(self._streams)

    def link(self, right: Right) -> str:
        """Return the link that opens the page with `right`."""
        return url(self.host, self.port, f"/open/{self.site.rights.key(right)}")

    def start(self) -> None:
        """Begin to serve; UsageError when the address or the port cannot be had."""
        started: Future[int] = Future()
        self._thread = threading.Thread(
            target=lambda: asyncio.run(self._main(started)), name="page", daemon=True
        )
        self._thread.start()
        try:
            self.port = started.result(START_S)
        except OSError as error:
            where = f" port {self._wanted_port}" if self._wanted_port else ""
            why = os.strerror(error.errno or 0)
            raise UsageError(
                f"The page cannot be served on {self.host}{where} ({why}): "
                "choose another with --page-host or --page-port."
            ) from None
        self.site.port, self.site.hosts = self.port, names(self.host, self.port)

    def show(self, shown: Shown) -> None:
        """Put the newest state into the slot; never waits. Raises OSError when nobody serves."""
        if self._thread is None or not self._thread.is_alive() or self._loop is None:
            raise OSError("the page's server has ended")
        self._shown = shown
        self._loop.call_soon_threadsafe(self._publish)

    def clear(self) -> None:
        """Forget the watch that has ended, so that none of it is shown with the next."""
        self._shown = None
        self._on_loop(self._clear)

    def show_visit(self, by_right: dict[Right, dict[str, object]]) -> None:
        """Send what each right is to see of the visit, in place of what was sent before."""
        self._visit = by_right
        self._on_loop(self._publish_visit)

    def _on_loop(self, act: Callable[[], None]) -> None:
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):  # it has ended
                self._loop.call_soon_threadsafe(act)

    def stop(self) -> None:
        """Send what is left and end; may be called twice."""
        if self._loop is not None and self._stop is not None and self._thread is not None:
            try:
                self._loop.call_soon_threadsafe(self._stop.set)
            except RuntimeError:
                return  # the loop has ended already
            self._thread.join(timeout=5.0)

    # Everything below runs on the page's own thread.

    async def _main(self, started: "Future[int]") -> None:
        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
        self._loop.set_exception_handler(lambda loop, about: None)
        server = Connections(
            self.site.handle,
            access_log=None,
            keepalive_timeout=10.0,
            max_line_size=2048,
            max_field_size=4096,
            lingering_time=1.0,
            auto_decompress=False,
            logger=_UNHEARD,
        )
        try:
            listener = await self._listen(server)
        except OSError as error:
            started.set_exception(error)
            return
        started.set_result(int(listener.sockets[0].getsockname()[1]))
        heartbeat = asyncio.create_task(self._beat())
        await self._stop.wait()
        heartbeat.cancel()
        self._streams.end()
        deadline_s = time.monotonic() + LAST_WORDS_S
        while len(self._streams) and time.monotonic() < deadline_s:
            await asyncio.sleep(0.02)
        listener.close()
        server.pre_shutdown()
        await server.shutdown(0.5)

    async def _listen(self, server: Connections) -> asyncio.Server:
        loop = asyncio.get_running_loop()
        if self._wanted_port is not None:
            return await loop.create_server(server, self.host, self._wanted_port)
        try:
            return await loop.create_server(server, self.host, FIRST_PORT)
        except OSError:
            return await loop.create_server(server, self.host, 0)

    async def _beat(self) -> None:
        """Tell the pages when the session says nothing: silence must not look like a good state."""
        while True:
            await asyncio.sleep(HEARTBEAT_S)
            if self._visit:
                self._publish_visit()
            if self._shown is not None and time.monotonic() - self._shown.at_s > STALLED_S:
                self._publish()

    def _publish(self) -> None:
        shown, now_s = self._shown, time.monotonic()
        if shown is None or self._streams.ended:
            return
        message = state_message(shown, now_s, STALLED_S)
        self._streams.publish("state", event_bytes("state", message))
        self._add_to_curve(shown, known=bool(message["figure"]))
        if now_s - self._curve_s >= CURVE_EVERY_S or shown.ended:
            self._curve_s = now_s
            curve = curve_message(shown.view, self._curve.points(), shown.log)
            self._streams.publish("curve", event_bytes("curve", curve))

    def _publish_visit(self) -> None:
        for right, message in self._visit.items():
            event = event_bytes("visit", message)
            self._streams.publish(f"visit {right}", event, (right,))

    def _clear(self) -> None:
        self._curve = Curve()
        self._curve_s = 0.0
        self._streams.forget("state", "curve")

    def _add_to_curve(self, shown: Shown, *, known: bool) -> None:
        view = shown.view
        fluid_c = view.snapshot.fluid_c
        if known and fluid_c is not None:
            self._curve.add(view.now_s, from_c(fluid_c, view.job.unit))
        elif not shown.ended:
            self._curve.gap(view.now_s)
