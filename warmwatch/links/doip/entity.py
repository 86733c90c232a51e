"""One connection to a vehicle's DoIP entity (ISO 13400-2): messages out and in, waits bounded.

The layout of the messages is doipclient's; the sockets are ours, so that nothing blocks for long.
`Entity._transmit` is the only function that sends diagnostics over a network: it lets through what
reads, and nothing else.
"""

import ipaddress
import socket
import time
from collections.abc import Iterator
from typing import Any

from doipclient.client import Parser
from doipclient.messages import (
    AliveCheckRequest,
    AliveCheckResponse,
    DiagnosticMessage,
    DiagnosticMessageNegativeAcknowledgement,
    RoutingActivationRequest,
    RoutingActivationResponse,
    VehicleIdentificationRequest,
    VehicleIdentificationResponse,
)

from warmwatch.errors import LinkLost
from warmwatch.signals.readonly import check_reading

PORT = 13400
CONNECT_S = 2.0
CONTROL_S = 2.0
"""A_DoIP_Ctrl of the standard: the longest wait for an answer to a control message."""
TESTER = 0x0E80
"""Our address among testers (ISO 13400-2 gives 0E00 to 0FFF to external test equipment)."""
VERSION = 0x02
"""ISO 13400-2:2012; the standard lets an entity answer in its own version."""
_LONGEST = 1 << 16
_CHUNK = 4096
_REFUSED = {
    0x00: "it does not know this tester's address",
    0x01: "all its connections are taken: close the other tester",
    0x02: "another address is active on this connection",
    0x03: "this tester's address is active on another connection",
    0x04: "it wants to be authenticated",
    0x05: "it wants a confirmation at the vehicle",
    0x06: "it does not know this kind of activation",
}
"""Why routing is not activated (ISO 13400-2:2012, table of response codes, from memory)."""


class Entity:
    """A connected entity with routing activated. Raises LinkLost."""

    def __init__(self, host: str, port: int) -> None:
        self.name = host
        try:
            self._socket = socket.create_connection((host, port), CONNECT_S)
        except OSError as error:
            raise LinkLost(f"{host} cannot be reached over the network: {_why(error)}.") from error
        self._parser = Parser()
        self.refused: set[int] = set()
        """The addresses that the entity has no way to."""
        try:
            self._activate()
        except BaseException:
            self.close()
            raise

    def send(self, address: int, payload: bytes) -> None:
        """Send a request to the unit at a logical address."""
        self._transmit(DiagnosticMessage(TESTER, address, bytearray(payload)))

    def receive(self, wait_s: float) -> list[tuple[int, bytes]]:
        """Wait up to `wait_s` and return (logical address, payload) of what came."""
        found = []
        for message in self._messages(wait_s):
            if isinstance(message, DiagnosticMessage) and message.target_address == TESTER:
                found.append((message.source_address, bytes(message.user_data)))
            elif isinstance(message, DiagnosticMessageNegativeAcknowledgement):
                self.refused.add(message.source_address)
        return found

    def close(self) -> None:
        """Free the connection."""
        self._socket.close()

    def _activate(self) -> None:
        kind = RoutingActivationRequest.ActivationType.Default
        self._transmit(RoutingActivationRequest(TESTER, kind))
        until_s = time.monotonic() + CONTROL_S
        while (left_s := until_s - time.monotonic()) > 0:
            for message in self._messages(left_s):
                if isinstance(message, RoutingActivationResponse):
                    code = int(message.response_code)
                    if code != RoutingActivationResponse.ResponseCode.Success:
                        why = _REFUSED.get(code, "it refuses")
                        raise LinkLost(f"{self.name} lets no tester in: {why} (code {code:02X}).")
                    return
        raise LinkLost(f"{self.name} is reached, but does not answer as a vehicle (ISO 13400).")

    def _messages(self, wait_s: float) -> Iterator[Any]:
        data = self._read(wait_s)
        while (message := self._parser.read_message(data)) is not None:
            data = b""
            if isinstance(message, AliveCheckRequest):
                self._transmit(AliveCheckResponse(TESTER))
            else:
                yield message
        if (self._parser.payload_size or 0) > _LONGEST:
            raise LinkLost(f"{self.name} sends something that is not DoIP.")

    def _read(self, wait_s: float) -> bytes:
        try:
            self._socket.settimeout(max(0.001, wait_s))
            data = self._socket.recv(_CHUNK)
        except TimeoutError:
            return b""
        except OSError as error:
            raise self._lost(_why(error)) from error
        if not data:
            raise self._lost("closed by the vehicle")
        return data

    def _transmit(self, message: Any) -> None:
        if isinstance(message, DiagnosticMessage):
            check_reading(bytes(message.user_data))
        try:
            self._socket.settimeout(1.0)
            self._socket.sendall(packed(message))
        except OSError as error:
            raise self._lost(_why(error)) from error

    def _lost(self, why: str) -> LinkLost:
        return LinkLost(f"The connection to {self.name} broke ({why}): check cable and ignition.")


def packed(message: Any) -> bytes:
    """Return a message with the standard's header: version, its inverse, type, length."""
    content = bytes(message.pack())
    head = bytes([VERSION, VERSION ^ 0xFF]) + int(message.payload_type).to_bytes(2, "big")
    return head + len(content).to_bytes(4, "big") + content


def identify(host: str, port: int, wait_s: float = 0.5) -> tuple[str, int] | None:
    """Ask who is there; return its host and logical address, None where nobody answers.

    Without a host everybody on the local network is asked, as the standard has it. What a vehicle
    announces by itself as it wakes is taken, too.
    """
    message = packed(VehicleIdentificationRequest())
    with _udp(host) as udp:
        udp.settimeout(wait_s)
        try:
            udp.sendto(message, (host or "255.255.255.255", port))
            until_s = time.monotonic() + wait_s
            while time.monotonic() < until_s:
                data, sender = udp.recvfrom(_CHUNK)
                answer = Parser().read_message(bytearray(data))
                if isinstance(answer, VehicleIdentificationResponse):
                    return str(sender[0]), int(answer.logical_address)
        except OSError:
            return None
    return None


def address_of(host: str) -> str:
    """Return the network address of a host by name or number. Raises LinkLost."""
    try:
        found = socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)
    except OSError as error:
        raise LinkLost(f"There is no host {host!r}: {_why(error)}.") from None
    return str(found[0][4][0])


def _udp(host: str) -> socket.socket:
    wide = bool(host) and ipaddress.ip_address(host.partition("%")[0]).version == 6
    udp = socket.socket(socket.AF_INET6 if wide else socket.AF_INET, socket.SOCK_DGRAM)
    if not host:
        udp.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
    return udp


def _why(error: OSError) -> str:
    if isinstance(error, TimeoutError):
        return "nothing answers there; is this computer in its network?"
    return (error.strerror or str(error)).lower().rstrip(".")
