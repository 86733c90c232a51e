"""Where the page is served: on this machine alone, or on one named address of a private network."""

import ipaddress
import socket

from warmwatch.errors import UsageError

LOOPBACK = "127.0.0.1"
PRIVATE = "private"
"""What is written instead of an address to have one of the machine's own chosen."""
_NOWHERE = ("192.0.2.1", 9)  # RFC 5737, TEST-NET-1: belongs to nobody; nothing is sent


def page_host(asked: str | None) -> str:
    """Return the address to serve on; UsageError for one that would open it to everybody."""
    if asked is None:
        return LOOPBACK
    if asked == PRIVATE:
        return _own_private_address()
    address = _resolve(asked)
    if address.is_unspecified:
        raise UsageError(
            f"--page-host {asked} would open the page on every network of this machine: "
            f"name one address, or write {PRIVATE}."
        )
    if address.is_global or address.is_multicast:
        raise UsageError(
            f"--page-host {asked}: the page goes over the wire unencrypted and must not be on a "
            "public address; take one of a private network."
        )
    return str(address)


def url(host: str, port: int, path: str = "/") -> str:
    """Return the http address of `path`."""
    return f"http://{at(host, port)}{path}"


def at(host: str, port: int) -> str:
    """Return host and port as in a Host header (RFC 9110, 7.2); port 80 is left out there."""
    shown = f"[{host}]" if ":" in host else host
    return shown if port == 80 else f"{shown}:{port}"


def names(host: str, port: int) -> frozenset[str]:
    """Return the Host headers by which the page may be asked for; no others are answered."""
    own = {at(host, port)}
    if ipaddress.ip_address(host).is_loopback:
        own.add(at("localhost", port))
    return frozenset(own)


def _resolve(asked: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    try:
        found = socket.getaddrinfo(asked, None, type=socket.SOCK_STREAM)
        return ipaddress.ip_address(str(found[0][4][0]))
    except (OSError, ValueError, UnicodeError):
        raise UsageError(
            f"--page-host {asked}: that is no address of this machine; write one such as "
            f"192.168.1.20, or {PRIVATE}."
        ) from None


def _own_private_address() -> str:
    for text in (_towards_others(), *_by_name()):
        address = ipaddress.ip_address(text)
        if address.is_private and not (address.is_loopback or address.is_unspecified):
            return text
    raise UsageError(
        f"--page-host {PRIVATE}: this machine has no address in a private network; "
        "is it connected to the one that the phone is in?"
    )


def _towards_others() -> str:
    """Return the address that this machine would send from; no packet leaves it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_NOWHERE)
            return str(probe.getsockname()[0])
        except OSError:
            return LOOPBACK


def _by_name() -> list[str]:
    try:
        found = socket.getaddrinfo(socket.gethostname(), None, family=socket.AF_INET)
    except OSError:
        return []
    return [str(entry[4][0]) for entry in found]
