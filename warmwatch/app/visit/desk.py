"""Where a visit stands: what was chosen, tried and made. The page shows it, orders change it.

All of it is kept here, on the laptop: a closed tab changes nothing, and another phone goes on where
the first one was.
"""

from collections.abc import Callable
from dataclasses import replace
from enum import StrEnum

from warmwatch.app.visit.papers import Papers
from warmwatch.app.visit.shop import Adapter, Choices, Vehicle, address_of, job_of, new_vehicle
from warmwatch.app.visit.trial import NOT_TRIED, Trial
from warmwatch.core.job import Job
from warmwatch.errors import WarmwatchError
from warmwatch.links.address import Address
from warmwatch.outputs.page.orders import Order
from warmwatch.outputs.page.rights import Right

CAUTION = (
    "Chock the wheels, parking brake on. Engine only in open air or with extraction. A lifted "
    "vehicle must stand safe and level. Hot fluid and metal burn. Service information comes first."
)


class Stage(StrEnum):
    """The stages of the page."""

    PREPARE = "prepare"
    OPENING = "opening"
    WATCH = "watch"
    DONE = "done"


class Desk:
    """Takes orders one by one; `look` finds what there is to choose from."""

    def __init__(self, look: Callable[[], Choices]) -> None:
        self._look = look
        self.choices = Choices()
        self.stage = Stage.PREPARE
        self.number = 0
        self.vehicle: Vehicle | None = None
        self.adapter: Adapter | None = None
        self.trial: Trial | None = None
        self.papers: Papers | None = None
        self.problem = ""
        self.start_asked = False
        self.stop_asked = False
        self._take: dict[str, tuple[Stage, Callable[[Order], None]]] = {
            "vehicle": (Stage.PREPARE, self._vehicle),
            "new": (Stage.PREPARE, self._new),
            "adapter": (Stage.PREPARE, self._adapter),
            "look": (Stage.PREPARE, lambda order: self.look()),
            "try": (Stage.PREPARE, lambda order: self._try()),
            "start": (Stage.PREPARE, lambda order: self._start()),
            "stop": (Stage.WATCH, lambda order: self._stop()),
            "proof": (Stage.DONE, lambda order: self._proof()),
            "again": (Stage.DONE, lambda order: self.go(Stage.PREPARE)),
            "next": (Stage.DONE, lambda order: self._next()),
        }

    def take(self, order: Order) -> None:
        """Follow an order where it fits; what comes twice or too late changes nothing."""
        stage, act = self._take[order.name]
        if stage is not self.stage or (order.seen is not None and order.seen != self.number):
            return
        self.problem = ""
        try:
            act(order)
        except WarmwatchError as error:
            self.problem = str(error)

    def go(self, stage: Stage, problem: str = "") -> None:
        """Go to a stage; orders meant for the one before are of no effect from now on."""
        self.stage, self.problem = stage, problem
        self.number += 1
        self.start_asked = self.stop_asked = False

    def look(self) -> None:
        """Find anew what there is to choose from; raises WarmwatchError."""
        try:
            self.choices = self._look()
        except WarmwatchError as error:
            self.problem = str(error)
            return
        address = None if self.adapter is None else self.adapter.address
        same = [each for each in self.choices.adapters if each.address == address]
        self.adapter = same[0] if same else None

    def job(self) -> tuple[Job, Address]:
        """Return what was chosen as a job and an address; raises WarmwatchError."""
        assert self.vehicle is not None
        assert self.adapter is not None
        assert self.choices.book is not None
        book = self.choices.book
        return job_of(book, self.vehicle), address_of(book, self.vehicle, self.adapter)

    def _vehicle(self, order: Order) -> None:
        wanted = order.texts.get("label")
        known = [*self.choices.vehicles, *([self.vehicle] if self.vehicle else [])]
        self.vehicle = next((each for each in known if each.label == wanted), self.vehicle)
        if self.vehicle is not None and self.vehicle.entry is not None:
            self._own_adapter(self.vehicle.entry.text("link"))

    def _own_adapter(self, link: str) -> None:
        """Choose the adapter that the book names for the vehicle, where it is there."""
        for each in self.choices.adapters:
            if link and link in (each.label, each.address):
                self._choose(each)

    def _new(self, order: Order) -> None:
        told = [order.texts.get(name, "") for name in ("label", "band", "source")]
        keep = order.ticks.get("keep", False)
        self.vehicle = new_vehicle(*told, keep=keep, unit=self.choices.unit)
        if keep:
            self.look()
        elif self.vehicle.label not in [each.label for each in self.choices.vehicles]:
            vehicles = (*self.choices.vehicles, self.vehicle)
            self.choices = replace(self.choices, vehicles=vehicles)
        self.number += 1

    def _adapter(self, order: Order) -> None:
        for each in self.choices.adapters:
            if each.id == order.texts.get("id"):
                self._choose(each)

    def _choose(self, adapter: Adapter) -> None:
        if adapter != self.adapter and not (self.trial and self.trial.running):
            self.adapter, self.trial = adapter, None

    def _try(self) -> None:
        if self.adapter is None or (self.trial is not None and self.trial.running):
            return
        vehicle = self.vehicle or Vehicle("")
        assert self.choices.book is not None
        self.trial = Trial(address_of(self.choices.book, vehicle, self.adapter))

    def _start(self) -> None:
        if not self.missing():
            self.job()  # what makes no job is told now
            self.start_asked = True

    def _stop(self) -> None:
        self.stop_asked = True

    def _proof(self) -> None:
        if self.papers is not None:
            self.papers.make()

    def _next(self) -> None:
        self.vehicle = self.trial = None
        self.go(Stage.PREPARE)
        self.look()

    def missing(self) -> str:
        """Return what has to be chosen before a watch can start, empty when nothing."""
        if self.vehicle is None:
            return "Choose the vehicle."
        if not self.vehicle.band:
            return "This vehicle has no band yet."
        if self.adapter is None:
            return "Choose the adapter."
        return "The trial goes on." if self.trial is not None and self.trial.running else ""

    def messages(self) -> dict[Right, dict[str, object]]:
        """Return for each right what its pages are told."""
        ended = {} if self.papers is None or self.stage is not Stage.DONE else self.papers.message()
        plain = {"stage": str(self.stage), "n": self.number, **ended}
        plain.pop("proof", None)
        whole = {**plain, **ended, **self._preparing()}
        return {Right.WATCH: plain, Right.MARK: plain, Right.RUN: whole}

    def _preparing(self) -> dict[str, object]:
        missing, chosen = self.missing(), self.vehicle
        return {
            "vehicles": [_shown(each) for each in self.choices.vehicles],
            "vehicle": None if chosen is None else _shown(chosen),
            "adapters": [
                {"id": a.id, "label": a.label, "about": a.about, "chosen": a == self.adapter}
                for a in self.choices.adapters
            ],
            "trial": NOT_TRIED if self.trial is None else self.trial.message(),
            "unit": f"°{self.choices.unit}",
            "ready": not missing,
            "missing": missing,
            "problem": self.problem or self.choices.trouble,
            "caution": CAUTION,
        }


def _shown(vehicle: Vehicle) -> dict[str, str]:
    return {"label": vehicle.label, "band": vehicle.band, "source": vehicle.source}
