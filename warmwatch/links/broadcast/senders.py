"""Whom to believe where several send the same quantity. No I/O, no clock.

One sender is held for each quantity. For the fluid it is never exchanged without a gap in what is
claimed, and a word: two senders of it are two different things.
"""

from dataclasses import dataclass

from warmwatch.core.notice import Notice
from warmwatch.core.units import QUANTITIES
from warmwatch.links.broadcast.decoder import ANYBODY, BEST, Said, Sender
from warmwatch.links.live import Gap

FLUID = "fluid_c"
SILENT_S = 5.0
SETTLE_S = 2.5
"""So long a better sender of the fluid is waited for; the standard sends the group each second."""


@dataclass(slots=True)
class Heard:
    """What one sender said of one quantity last, and when."""

    sender: Sender
    at_s: float
    value: float | None = None
    count: int = 0


class Senders:
    """Takes what is said and tells which of it is used. `only` is the one sender to believe.

    `only` counts for the fluid and the transmission's own level reading.
    """

    def __init__(self, only: int | None = None) -> None:
        self._only = only
        self._held: dict[str, Heard] = {}
        self._heard: dict[str, dict[Sender, Heard]] = {}
        self._first_s: dict[str, float] = {}
        self._told: set[tuple[object, ...]] = set()
        self._news: list[Notice | Gap] = []

    def of(self, name: str) -> list[Heard]:
        """Return who sends `name`, the best first."""
        found = self._heard.get(name, {}).values()
        return sorted(found, key=lambda heard: (heard.sender.rank, heard.sender.number))

    def held(self, name: str) -> Sender | None:
        """Return the sender that is believed now."""
        held = self._held.get(name)
        return None if held is None else held.sender

    def news(self) -> list[Notice | Gap]:
        """Return what is to be told since the last call."""
        news, self._news = self._news, []
        return news

    def takes(self, said: Said, now_s: float) -> bool:
        """Return whether what was said is to be used."""
        heard = self._note(said, now_s)
        if self._only is not None and _of_transmission(said.name):
            if said.sender.number != self._only:
                return False
            self._hold(said.name, heard)
            return True
        held = self._held.get(said.name)
        if held is None:
            return self._chosen(said, heard, now_s)
        if held is heard:
            return True
        return said.decoded.value is not None and self._exchanged(held, heard, said.name, now_s)

    def _note(self, said: Said, now_s: float) -> Heard:
        senders = self._heard.setdefault(said.name, {})
        heard = senders.get(said.sender)
        if heard is None:
            heard = senders[said.sender] = Heard(said.sender, now_s)
        heard.at_s, heard.value = now_s, said.decoded.value
        heard.count += 1
        return heard

    def _chosen(self, said: Said, heard: Heard, now_s: float) -> bool:
        if said.decoded.value is None:
            # Most vehicles leave most parameters at `not available`: only the fluid is missed.
            return said.name == FLUID
        first_s = self._first_s.setdefault(said.name, now_s)
        settled = said.name != FLUID or now_s - first_s >= SETTLE_S
        if heard.sender.rank > BEST and not settled:
            return False
        speaking = (one for one in self.of(said.name) if now_s - one.at_s < SETTLE_S)
        best = next(one for one in speaking if one.value is not None)
        self._hold(said.name, best)
        return best is heard

    def _hold(self, name: str, heard: Heard) -> None:
        if self._held.get(name) is heard:
            return
        self._held[name] = heard
        if name != FLUID:
            return
        text = f"{name} comes from {heard.sender.words}."
        if heard.sender.rank == ANYBODY and self._only is None:
            text += " Nothing says that this is the transmission: make sure that it is (source=)."
        self._tell(text, name, heard.sender)

    def _exchanged(self, held: Heard, heard: Heard, name: str, now_s: float) -> bool:
        """Return whether `heard` takes the place of `held`."""
        better = heard.sender.rank < held.sender.rank
        silent = now_s - held.at_s >= SILENT_S
        alike = heard.sender.rank == held.sender.rank and (
            name != FLUID or heard.sender.rank == ANYBODY
        )
        if not (better or (silent and alike)):
            self._tell_other(held, heard, name, silent)
            return False
        why = "is the better source" if better else "still sends it"
        text = f"{name} comes from {heard.sender.words} now, no longer from {held.sender.words}"
        if name == FLUID:
            self._news.append(Gap(text))
        self._news.append(Notice(f"{text}: {heard.sender.label} {why}.", alarm=name == FLUID))
        self._told.clear()
        self._held[name] = heard
        return True

    def _tell_other(self, held: Heard, heard: Heard, name: str, silent: bool) -> None:
        if name != FLUID:
            return
        if silent:
            self._tell(
                f"{held.sender.words} no longer sends {name}. {heard.sender.words} sends "
                f"{_shown(heard, name)}, which may be something else: choose it with "
                f"source={heard.sender.label}.",
                "silent",
                heard.sender,
                alarm=True,
            )
            return
        self._tell(
            f"Several send {name}: {held.sender.words} is used ({_shown(held, name)}), "
            f"{heard.sender.words} is not ({_shown(heard, name)}); choose with source=.",
            "several",
            heard.sender,
        )

    def _tell(self, text: str, *key: object, alarm: bool = False) -> None:
        if key not in self._told:
            self._told.add(key)
            self._news.append(Notice(text, alarm=alarm))


def _of_transmission(name: str) -> bool:
    return name == FLUID or name.startswith("oil_level")


def _shown(heard: Heard, name: str) -> str:
    if heard.value is None:
        return "no value"
    unit = QUANTITIES[name].unit.replace("deg", "°")
    return f"{heard.value:.1f} {unit}"
