"""Reads what others ask a vehicle for and get: another tester asks, warmwatch only listens."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, replace

from warmwatch.links.asking.plan import BROKEN
from warmwatch.links.asking.units import FIXED, NORMAL, Addressing, Unit, is_wide
from warmwatch.links.broadcast.decoder import BEST, Said, Sender
from warmwatch.signals import Decoded, Signal, decode, obd, standard_table, uds
from warmwatch.signals.answers import Conduct, parse_refusal, split_records
from warmwatch.signals.overheard import WIDTHS, Exchanged, Overheard

SURE = BEST - 1
"""The rank of a unit that a signal file names: better than what a standard's table says."""


class OverhearingDecoder:
    """Reads the user's signals, and the standard's, from answers that somebody else asked for."""

    def __init__(
        self,
        signals: Sequence[Signal],
        addressings: Sequence[Addressing] = (),
    ) -> None:
        self._signals: dict[tuple[int, int], list[Signal]] = {}
        self._own = tuple(signals)
        own = {signal.name for signal in signals}
        for signal in signals:
            self._signals.setdefault((signal.service, signal.identifier), []).append(signal)
        for signal in _standard():
            if signal.name not in own:
                self._signals.setdefault((signal.service, signal.identifier), []).append(signal)
        self._lengths = {
            key: next((s.record_length for s in found if s.record_length is not None), None)
            for key, found in self._signals.items()
        }
        self._units = {signal: _unit(signal) for signal in signals if signal.target is not None}
        self._overheard = Overheard(_named(self._units.values(), addressings))
        self.refused: dict[str, str] = {}
        """What the other tester was refused, `22 1234`, and in which words."""

    @property
    def wanted(self) -> str:
        """What it waits for, for people."""
        asked = sorted({s.ask for s in self._own if s.name == "fluid_c"})
        refused = [self.refused[ask] for ask in asked if ask in self.refused]
        if asked:
            return "; ".join(refused) or f"nobody asks for {', '.join(asked)} and gets an answer"
        return (
            "it needs parameter group 65272 of SAE J1939, a database file of this vehicle, or a "
            "signal file (signals=) that says where it stands in what another tester asks for"
        )

    def hear(self, can_id: int, wide: bool, data: bytes, now_s: float) -> Sequence[Said]:
        exchanged = self._overheard.hear(can_id, wide, data, now_s)
        return () if exchanged is None else list(self._said(exchanged))

    def facts(self) -> Iterator[dict[str, object]]:
        yield from (asdict(signal) for signal in self._own)

    def _said(self, exchanged: Exchanged) -> Iterator[Said]:
        label = f"{exchanged.can_id:0{8 if exchanged.wide else 3}X}"
        if (refusal := parse_refusal(exchanged.answer)) is not None:
            if refusal.conduct in (Conduct.STOP_IDENTIFIER, Conduct.STOP_SERVICE):
                self._refused(exchanged, label, refusal.words)
            return
        records, fault = self._records(exchanged)
        raw = f"{label} {exchanged.answer.hex().upper()}"
        for identifier, record in records.items():
            for signal in self._signals.get((exchanged.service, identifier), ()):
                unit = self._units.get(signal)
                if unit is not None and unit.answer_id != exchanged.can_id:
                    continue
                decoded = Decoded(None, fault) if fault else decode(signal, record)
                rank = SURE if signal in self._own else BEST
                yield Said(signal.name, decoded, Sender(exchanged.can_id, label, "", rank), raw)

    def _records(self, exchanged: Exchanged) -> tuple[Mapping[int, bytes], str]:
        """Return the records of ours by identifier, and what is wrong with them."""
        service, asked = exchanged.service, exchanged.identifiers
        known = {i: length for (s, i), length in self._lengths.items() if s == service}
        if asked:
            lengths: dict[int, int | None] = {i: known.get(i) for i in asked}
        else:  # only sizes that are known can say where a record ends
            lengths = {i: length for i, length in known.items() if length is not None}
        # A record of unknown size takes the rest: alone or at the end that is right.
        if any(lengths[i] is None for i in asked[:-1]):
            return {}, ""
        try:
            return split_records(exchanged.answer, service, WIDTHS[service], lengths), ""
        except ValueError:
            if len(asked) == 1:
                return {asked[0]: b""}, BROKEN
            return {}, ""

    def _refused(self, exchanged: Exchanged, label: str, words: str) -> None:
        for identifier in exchanged.identifiers:
            for signal in self._signals.get((exchanged.service, identifier), ()):
                self.refused[signal.ask] = f"{label} refuses {signal.ask}: {words}"


def _standard() -> Iterator[Signal]:
    """Yield the standard's signals, and their mirrors under service 22."""
    for signal in standard_table():
        yield signal
        identifier = obd.MIRROR | signal.identifier
        yield replace(signal, service=uds.SERVICE, identifier=identifier)


def _unit(signal: Signal) -> Unit:
    target = signal.target or 0
    return (FIXED if is_wide(target) else NORMAL).unit_at(target, signal.answer_id)


def _named(units: Iterable[Unit], addressings: Iterable[Addressing]) -> dict[int, bool]:
    named = {can_id: False for unit in units for can_id in (unit.request_id, unit.answer_id)}
    for addressing in addressings:
        if addressing.only is not None:
            only = addressing.only
            named |= {only.request_id: True, only.answer_id: True}
    return named
