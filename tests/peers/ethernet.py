"""A vehicle on Ethernet, by scapy's layer for ISO 13400.

`python -m tests.peers.ethernet FILE MODE [PORT]` writes its port (TCP and UDP, loopback) to FILE.
Unit 1010 answers the standard's values under F4xx and the fluid as `22 1234` in tenths of a degC,
85.0 at first and 0.1 more with each question. All is invented. MODE is `clock@SECOND` (the fluid is
60.0 at that second of the monotonic clock and rises by TALK_C_PER_S), `good`, `denied` (no tester
is let in), `hidden` (it does not say who it is), `noway` (no unit behind it), `leaves` (it closes
the connection after some questions, and lets the next one in), `pieces` (each message comes byte by
byte, with an alive check in between), `foreign` (it speaks something else).
"""

import contextlib
import itertools
import select
import socket
import sys
import time
from pathlib import Path

from scapy.contrib.automotive.doip import DoIP
from scapy.packet import Raw

from tests.vehicle.faults import TALK_C_PER_S

ENTITY, TESTER = 0x1010, 0x0E80
# Of F400: 05 (coolant), 0C (engine speed), 0D (speed) and the next block; the bits as in SAE J1979.
VALUES = {0xF405: "82", 0xF40C: "0C30", 0xF40D: "00"}
BITMAPS = {0xF400: (1 << 27 | 1 << 20 | 1 << 19).to_bytes(4, "big").hex()}


def main() -> None:
    """Serve until killed."""
    port = int(sys.argv[3]) if len(sys.argv) > 3 else 0
    with socket.create_server(("127.0.0.1", port)) as server:
        port = server.getsockname()[1]
        udp = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        udp.bind(("127.0.0.1", port))
        Path(sys.argv[1]).write_text(str(port), encoding="ascii")
        print("ready", flush=True)
        vehicle = Vehicle(sys.argv[2])
        while True:
            ready, _, _ = select.select([server, udp], [], [])
            if udp in ready:
                vehicle.identify(udp)
            if server in ready:
                connection, _ = server.accept()
                with connection, contextlib.suppress(OSError):
                    vehicle.serve(connection, udp)


class Vehicle:
    """One entity that is its own unit."""

    def __init__(self, mode: str) -> None:
        self.mode = mode
        self.counts = itertools.count(850)
        self.questions = 0

    def identify(self, udp: socket.socket) -> None:
        _, sender = udp.recvfrom(4096)
        if self.mode != "hidden":
            answer = DoIP(payload_type=4, vin=b"INVENTED123456789", logical_address=ENTITY)
            udp.sendto(bytes(answer), sender)

    def serve(self, connection: socket.socket, udp: socket.socket) -> None:
        text = b""
        while True:
            ready, _, _ = select.select([connection, udp], [], [])
            if udp in ready:
                self.identify(udp)
            if connection not in ready:
                continue
            data = connection.recv(4096)
            if not data:
                return
            text += data
            while len(text) >= 8 and len(text) >= 8 + int.from_bytes(text[4:8], "big"):
                end = 8 + int.from_bytes(text[4:8], "big")
                message, text = DoIP(text[:end]), text[end:]
                for answer in self.answers(message):
                    self.put(connection, bytes(answer))
            if self.mode == "leaves" and self.questions > 12:
                self.mode = "good"
                return

    def put(self, connection: socket.socket, answer: bytes) -> None:
        if self.mode == "foreign":
            answer = b"220 something else\r\n"
        if self.mode != "pieces":
            connection.sendall(answer)
            return
        for at in range(len(answer)):
            connection.sendall(answer[at : at + 1])
            time.sleep(0.0005)
        connection.sendall(bytes(DoIP(payload_type=7)))

    def answers(self, message: DoIP) -> list[DoIP]:
        if message.payload_type == 5:
            code = 1 if self.mode == "denied" else 0x10
            return [
                DoIP(
                    payload_type=6,
                    logical_address_tester=message.source_address,
                    logical_address_doip_entity=ENTITY,
                    routing_activation_response=code,
                )
            ]
        if message.payload_type != 0x8001:
            assert message.payload_type == 8  # alive
            return []
        self.questions += 1
        back = {"source_address": message.target_address, "target_address": message.source_address}
        if self.mode == "noway" or message.target_address != ENTITY:
            return [DoIP(payload_type=0x8003, nack_code=3, **back)]
        payload = self.payload(bytes(message.payload))
        accepted = DoIP(payload_type=0x8002, ack_code=0, **back)
        return [accepted, DoIP(payload_type=0x8001, **back) / Raw(payload)]

    def payload(self, request: bytes) -> bytes:
        if request[:1] != b"\x22":
            return bytes([0x7F, request[0], 0x11])
        asked = [request[at : at + 2] for at in range(1, len(request), 2)]
        records = {
            identifier: self.record(int.from_bytes(identifier, "big")) for identifier in asked
        }
        if None in records.values():
            return b"\x7f\x22\x31"
        return b"\x62" + b"".join(i + (record or b"") for i, record in records.items())

    def record(self, identifier: int) -> bytes | None:
        if identifier == 0x1234 and self.mode.startswith("clock@"):
            risen_c = TALK_C_PER_S * (time.monotonic() - float(self.mode[6:]))
            return round((60.0 + risen_c) * 10).to_bytes(2, "big")
        if identifier == 0x1234:
            return next(self.counts).to_bytes(2, "big")
        found = VALUES.get(identifier) or BITMAPS.get(identifier)
        return None if found is None else bytes.fromhex(found)


if __name__ == "__main__":
    main()
