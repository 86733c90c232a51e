"""Control units of the test vehicle: request payload in, answer payloads out.

All data is invented for the tests. The conduct follows shared/j1979_conduct.csv and
shared/uds_cases.csv.
"""

from dataclasses import dataclass, field

SUPPRESSED_WHEN_FUNCTIONAL = {0x11, 0x12, 0x31}


@dataclass
class TestUnit:
    """Answers service 01 and 22 from its tables; `pids` and `dids` map identifier to record.

    `refusals` maps a request payload to the codes that come, one a request, before the answer does
    (or for ever, when the last code is 0). `pending` maps one to how often 78 comes first.
    """

    __test__ = False

    request_id: int
    answer_id: int
    pids: dict[int, bytes] = field(default_factory=dict)
    dids: dict[int, bytes] = field(default_factory=dict)
    refusals: dict[bytes, list[int]] = field(default_factory=dict)
    pending: dict[bytes, int] = field(default_factory=dict)
    most_pids: int = 6
    most_dids: int = 8
    too_many_code: int = 0x13
    service_01: bool = True
    physical: bool = True
    silent: bool = False
    delay_s: float = 0.0
    pending_s: float = 0.1
    extension: int | None = None
    tester: int = 0xF1

    def answers(self, request: bytes, functional: bool) -> list[bytes]:
        """Return the payloads to send, in order; an empty one stands for a wait of pending_s."""
        if self.silent or not request:
            return []
        final = self._final(request)
        if functional and final[:1] == b"\x7f" and final[2] in SUPPRESSED_WHEN_FUNCTIONAL:
            return []
        waits = self.pending.get(request, 0)
        still_working = bytes([0x7F, request[0], 0x78])
        return [still_working, b""] * waits + ([final] if final else [])

    def _final(self, request: bytes) -> bytes:
        codes = self.refusals.get(request)
        if codes:
            code = codes[0] if codes[1:] == [0] else codes.pop(0)
            return bytes([0x7F, request[0], code])
        if request[0] == 0x01 and self.service_01:
            return self._current_data(request[1:])
        if request[0] == 0x22:
            return self._by_identifier(request[1:])
        if request == b"\x10\x01":
            return bytes.fromhex("5001003201F4")
        return bytes([0x7F, request[0], 0x11])

    def _current_data(self, pids: bytes) -> bytes:
        if len(pids) > self.most_pids:
            return b""
        known = [(pid, self._pid(pid)) for pid in pids]
        body = b"".join(bytes([pid]) + record for pid, record in known if record)
        return b"\x41" + body if body else b""

    def _pid(self, pid: int) -> bytes:
        if pid % 0x20 == 0 and pid not in self.pids:
            return self._bitmap(pid, self.pids)
        return self.pids.get(pid, b"")

    def _bitmap(self, block: int, known: dict[int, bytes]) -> bytes:
        offered = {pid for pid in known if block < pid <= block + 0x20}
        if any(pid > block + 0x20 for pid in known):
            offered.add(block + 0x20)
        if not offered:
            return b""
        return sum(1 << (block + 0x20 - pid) for pid in offered).to_bytes(4, "big")

    def _by_identifier(self, body: bytes) -> bytes:
        if len(body) % 2 or not body:
            return b"\x7f\x22\x13"
        wanted = [int.from_bytes(body[at : at + 2], "big") for at in range(0, len(body), 2)]
        if len(wanted) > self.most_dids:
            return bytes([0x7F, 0x22, self.too_many_code])
        found = [(did, self._did(did)) for did in wanted]
        records = b"".join(did.to_bytes(2, "big") + record for did, record in found if record)
        return b"\x62" + records if records else b"\x7f\x22\x31"

    def _did(self, did: int) -> bytes:
        mirrored = {known - 0xF400: b"" for known in self.dids if known >> 8 == 0xF4}
        if did >> 8 == 0xF4 and did % 0x20 == 0 and mirrored:
            return self._bitmap(did - 0xF400, mirrored)
        return self.dids.get(did, b"")
