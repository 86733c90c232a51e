"""Whom a text adapter asks, whose answers it lets through, and to whom it sends flow control."""

from collections.abc import Callable, Generator

from warmwatch.core.notice import Notice
from warmwatch.links.asking.units import Addressing, Unit
from warmwatch.links.serial.adapter import Word
from warmwatch.links.serial.talk import Adapter, Wish

Commanded = Callable[[str], Generator[Wish, str | None, frozenset[Word]]]

SHORT_ONLY = (
    "This adapter cannot ask {unit} for the rest of a long answer: it reads only answers of up to "
    "7 bytes from there."
)


class Aiming:
    """Sets the adapter's header, filter and flow control; `works` is False where it cannot."""

    def __init__(self, adapter: Adapter, addressing: Addressing) -> None:
        self._wide = adapter.wide
        self._addressing = addressing
        self._header: str | None = None
        self._filter: int | None = None
        self._flow = True
        self.works = adapter.aims

    def header(self, unit: Unit | None) -> str | None:
        """Return the digits that address a unit, or all of them; None where there are none."""
        request_id = unit.request_id if unit is not None else self._addressing.functional_id
        if request_id is None:
            return None
        return f"{request_id & 0xFFFFFF:06X}" if self._wide else f"{request_id:03X}"

    def at(self, unit: Unit | None, commanded: Commanded) -> Generator[Wish, str | None, None]:
        """Set whom to ask, and let through an answer from outside the legislated range."""
        header = self.header(unit)
        if header is None or not self.works:
            return
        if header != self._header:
            words = yield from commanded(f"ATSH{header}")
            self.works = words != {Word.UNKNOWN}
            self._header = header if Word.OK in words else None
        yield from self._let_through(unit, commanded)

    def _let_through(
        self, unit: Unit | None, commanded: Commanded
    ) -> Generator[Wish, str | None, None]:
        wanted = None
        if unit is not None and unit.answer_id:
            usual = self._addressing.sender(unit.answer_id, unit.wide) is not None
            wanted = None if usual else unit.answer_id
        if wanted == self._filter:
            return
        digits = 8 if self._wide else 3
        yield from commanded("ATAR" if wanted is None else f"ATCRA{wanted:0{digits}X}")
        self._filter = wanted
        if unit is not None and wanted is not None:
            yield from self._flow_control(unit, commanded)
        elif self._flow:
            yield from commanded("ATFCSM0")

    def _flow_control(self, unit: Unit, commanded: Commanded) -> Generator[Wish, str | None, None]:
        """Say to whom flow control goes: by itself an adapter knows the legislated range only.

        The commands are from memory of the common set, no source.
        """
        digits = 8 if self._wide else 3
        for command in (f"ATFCSH{unit.request_id:0{digits}X}", "ATFCSD300000", "ATFCSM1"):
            if self._flow:
                words = yield from commanded(command)
                self._flow = Word.UNKNOWN not in words
                if not self._flow:
                    yield Notice(SHORT_ONLY.format(unit=unit.label))
