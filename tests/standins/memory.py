"""Drives a talk against the stand-in's adapter in memory: many thousand answers a second."""

import argparse
import random
import time
from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import Any

from tests.standins.text_adapter import Adapter, Vehicle
from warmwatch.links.asking.driver import Pause
from warmwatch.links.serial.adapter import AnswerReader
from warmwatch.links.serial.talk import Ask, Listen, Settle, Speed

Spoil = Callable[[bytes, str], bytes]


def make_adapter(seed: int = 1, **options: Any) -> Adapter:
    """Return the stand-in's adapter with a vehicle that was just started."""
    given = {"wide": False, "slow": 0.0, "unknown": "", "stubborn_echo": False, **options}
    vehicle = Vehicle(time.monotonic(), 1.0, 1e9)  # its engine never starts: nothing changes
    return Adapter(vehicle, argparse.Namespace(**given), random.Random(seed))


@dataclass
class Line:
    """A text line without a wire; `spoil` may change an answer's bytes."""

    adapter: Adapter
    spoil: Spoil = lambda data, command: data
    asked: list[str] = field(default_factory=list)
    told: list[Any] = field(default_factory=list)

    def run(self, talk: Generator[Any, str | None, Any]) -> Any:
        """Drive a talk to its end and return what it returns."""
        text: str | None = None
        try:
            wish = next(talk)
            while True:
                text = self._served(wish)
                wish = talk.send(text)
        except StopIteration as end:
            return end.value

    def _served(self, wish: Any) -> str | None:
        if not isinstance(wish, Ask):
            if not isinstance(wish, Settle | Listen | Pause | Speed):
                self.told.append(wish)
            return None
        self.asked.append(wish.text)
        pieces = self.adapter.answer(wish.text)
        data = b"".join(piece for piece in pieces if isinstance(piece, bytes))
        return AnswerReader().receive(self.spoil(data, wish.text))
