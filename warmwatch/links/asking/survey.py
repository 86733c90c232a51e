"""Who is on the bus and what each unit offers: the support bitmaps, asked before anything else."""

from collections.abc import Generator, Iterable
from dataclasses import dataclass

from warmwatch.links.asking.request import Request, RequestOutcome
from warmwatch.links.asking.units import Unit
from warmwatch.signals import obd, uds
from warmwatch.signals.answers import split_records

LAST_BLOCK = 0xE0

Asking = Generator[Request, RequestOutcome, None]
"""Yields requests and is sent their outcomes; whoever does the I/O drives it."""


@dataclass(frozen=True, slots=True)
class Offer:
    """What one unit offers: PIDs, under service 01 or mirrored at F400 and up of service 22."""

    service: int
    pids: frozenset[int]

    def identifier(self, pid: int) -> int:
        """Return what to ask for to get `pid`."""
        return pid if self.service == obd.SERVICE else obd.MIRROR | pid


class Survey:
    """Asks everybody for the bitmaps: service 01, and F400 of service 22 where that is silent.

    `everybody` is the unit to ask where no functional address exists (None elsewhere). Silence is
    an answer too: `offers` stays empty.
    """

    def __init__(self, everybody: Unit | None = None) -> None:
        self._everybody = everybody
        self.heard: set[Unit] = set()
        self.offers: dict[Unit, Offer] = {}

    def asking(self, service: int) -> Asking:
        """Ask for the bitmaps of `service`, block after block while a unit offers the next."""
        base = 0 if service == obd.SERVICE else obd.MIRROR
        found: dict[Unit, set[int]] = {}
        for block in range(0, LAST_BLOCK + 1, obd.BLOCK):
            if block and not any(block in pids for pids in found.values()):
                break
            offering = frozenset(unit for unit, pids in found.items() if block in pids)
            outcome = yield Request(service, (base | block,), self._everybody, expected=offering)
            self.heard |= outcome.spoke
            for unit, payload in outcome.answers.items():
                found.setdefault(unit, set()).update(_pids(payload, service, base | block))
        for unit, pids in found.items():
            self.offers.setdefault(unit, Offer(service, frozenset(pids)))

    def run(self) -> Asking:
        """Ask for what the vehicle offers."""
        yield from self.asking(obd.SERVICE)
        if not self.offers:
            yield from self.asking(uds.SERVICE)

    def knock(self, requests: Iterable[Request]) -> Asking:
        """Put requests until somebody says anything, where the bitmaps met only silence."""
        for request in requests:
            if self.heard:
                return
            outcome = yield request
            self.heard |= outcome.spoke


def _pids(payload: bytes, service: int, identifier: int) -> frozenset[int]:
    width = 1 if service == obd.SERVICE else 2
    lengths: dict[int, int | None] = {identifier: obd.BITMAP_LENGTH}
    try:
        bitmap = split_records(payload, service, width, lengths)[identifier]
    except ValueError:  # a broken bitmap offers nothing; the next opening asks again
        return frozenset()
    return obd.supported(identifier & 0xFF, bitmap)
