"""Which requests are answered. Every refusal is the same and says nothing."""

import asyncio
import secrets
from collections.abc import Mapping

from aiohttp import web

from warmwatch.outputs.page.rights import Right, Rights

REFUSAL = "Open this page by its link.\n"
LONGEST_BODY = 4096
BODY_S = 5.0
"""A page of ours sends its few bytes at once."""

HEADERS: Mapping[str, str] = {
    # No resource but our own, no inline script or style, no frame, no form that goes elsewhere.
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; media-src 'self'; worker-src 'self'; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
    "Server": "page",
}


def answer(text: str | bytes = "", *, status: int = 200, kind: str = "text/plain") -> web.Response:
    """Return a response with the headers that every response has."""
    body = text.encode() if isinstance(text, str) else text
    return web.Response(
        body=body, status=status, headers={**HEADERS, "Content-Type": f"{kind}; charset=utf-8"}
    )


def refusal() -> web.Response:
    """Return the one answer to everything that is not in order."""
    return answer(REFUSAL, status=403)


def last_refusal() -> web.Response:
    """Return the refusal after which the connection is closed: nothing more is read from it."""
    response = refusal()
    response.force_close()
    return response


def cookie_name(port: int) -> str:
    """Return the cookie's name; cookies are shared by all ports of a host, so it holds the port."""
    return f"page-{port}"


def browser_name(port: int) -> str:
    """Return the name of the cookie that tells one browser from another; it gives no right."""
    return f"browser-{port}"


def new_browser() -> str:
    """Return a name for a browser that has none yet."""
    return secrets.token_urlsafe(9)


def browser_of(request: web.BaseRequest, port: int) -> str | None:
    """Return which browser asks, None when it does not say."""
    return request.cookies.get(browser_name(port), "")[:40] or None


def right_of(request: web.BaseRequest, rights: Rights, port: int) -> Right | None:
    """Return what the request's cookie allows."""
    return rights.by_cookie(request.cookies.get(cookie_name(port), ""))


def is_own(request: web.BaseRequest, hosts: frozenset[str]) -> bool:
    """Whether a request that changes something comes from our own page.

    The browser names the page that asks in Origin (RFC 6454); one that is missing, null or
    foreign is refused. Sec-Fetch-Site, where it is sent, has to say the same.
    """
    host = request.headers.get("Host", "")
    fetched = request.headers.get("Sec-Fetch-Site", "same-origin")
    own = request.headers.get("Origin") == f"http://{host}" and host in hosts
    json_sent = request.headers.get("Content-Type", "").split(";")[0] == "application/json"
    return own and json_sent and fetched == "same-origin"


async def small_body(request: web.BaseRequest) -> bytes | None:
    """Return the body, None when it is longer than any of ours or does not say how long it is.

    A body that comes drop by drop ends its connection: TimeoutError after BODY_S.
    """
    length = request.content_length
    if length is None or length > LONGEST_BODY or "Content-Encoding" in request.headers:
        return None
    body = await asyncio.wait_for(request.read(), BODY_S)
    return body if len(body) <= LONGEST_BODY else None
