"""Runs a talk on an opened port, on the link's thread: one bounded wait at a time."""

import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Any

from warmwatch.core.notice import Notice
from warmwatch.errors import LinkError
from warmwatch.links.asking.driver import Talking
from warmwatch.links.asking.silent import NotUnderstood, VehicleSilent
from warmwatch.links.base import WAIT_S
from warmwatch.links.live import MarkLine, Polled, Values
from warmwatch.links.trying.steps import Step

Found = Polled | Step


Closer = Callable[[LinkError], LinkError]


def _as_it_is(error: LinkError) -> LinkError:
    return error


class TalkPort(ABC):
    """Does what a talk wishes; a kind of port says how it begins and serves a wish.

    `closer` looks at what is there when nobody answers, on the closed port, and may find a better
    reason.
    """

    def __init__(self, talk: Talking, now_s: Callable[[], float] = time.monotonic) -> None:
        self._talk = talk
        self._now_s = now_s
        self._wish: Any = None
        self._begun = False
        self._lost: LinkError | None = None
        self.closer: Closer = _as_it_is

    def poll(self) -> list[Polled]:
        """Do up to about WAIT_S of work and return what came."""
        return [item for item in self.work() if not isinstance(item, Step)]

    def work(self) -> list[Found]:
        """Like poll, with the steps that were taken."""
        if isinstance(self._lost, VehicleSilent | NotUnderstood):
            self.close()
            raise self.closer(self._lost) from self._lost
        if self._lost is not None:
            raise self._lost
        found: list[Found] = []
        try:
            if not self._begun:
                self._go_on(None, found)
            until_s = time.monotonic() + WAIT_S
            while self._serve(found) and not found and time.monotonic() < until_s:
                pass
        except (VehicleSilent, NotUnderstood) as error:
            self._lost = error
        except LinkError as error:
            if not found:
                raise
            self._lost = error  # what was found before comes first
        return found

    def close(self) -> None:
        """Free the port; never raises."""
        self._talk.close()

    def _go_on(self, sent: object, found: list[Found]) -> None:
        """Send the talk what it waited for, keep what it found, and begin its next wish."""
        wish = self._talk.send(sent if self._begun else None)
        self._begun = True
        while isinstance(wish, Values | MarkLine | Notice | Step):
            found.append(wish)
            wish = self._talk.send(None)
        self._wish = wish
        self._begin(wish)

    @abstractmethod
    def _begin(self, wish: Any) -> None:
        """Begin what is wished."""

    @abstractmethod
    def _serve(self, found: list[Found]) -> bool:
        """Do a short piece of it, and `_go_on` when it is done; False ends this call of `work`."""
