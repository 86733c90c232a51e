"""Where a visit stands: what was chosen, tried and made. The page shows it, orders change it.

All of it is kept here, on the laptop: a closed tab changes nothing, and another phone goes on where
the first one was.
"""

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from enum import StrEnum

from warmwatch.analysis.methods.loading import declares_loading
from warmwatch.app.guide.world import Socket
from warmwatch.app.visit.papers import Papers
from warmwatch.app.visit.shop import (
    Adapter,
    Choices,
    Vehicle,
    address_of,
    job_of,
    look,
    new_vehicle,
    sockets_here,
)
from warmwatch.app.visit.trial import NOT_TRIED, Trial
from warmwatch.core.job import Job
from warmwatch.errors import WarmwatchError
from warmwatch.links.address import Address
from warmwatch.outputs.page.orders import Order
from warmwatch.outputs.page.rights import Right
from warmwatch.words.catalogue import phrase
from warmwatch.words.cautions import loading_text


class Stage(StrEnum):
    """The stages of the page."""

    PREPARE = "prepare"
    OPENING = "opening"
    WATCH = "watch"
    DONE = "done"


class Desk:
    """Takes orders one by one. `visit` is the id that the recordings of one visit share.

    `look` gives what there is to choose from, `scan` finds the sockets for it, which takes seconds.
    """

    def __init__(
        self,
        look: Callable[[Sequence[Socket]], Choices] = look,
        scan: Callable[[], list[Socket]] = sockets_here,
    ) -> None:
        self._look, self._scan = look, scan
        self._sockets: list[Socket] = []
        self._scanned: list[Socket] | None = None
        self.scanning = False
        self.choices = Choices()
        self.stage = Stage.PREPARE
        self.number = 0
        self.vehicle: Vehicle | None = None
        self.adapter: Adapter | None = None
        self.trial: Trial | None = None
        self.papers: Papers | None = None
        self.problem = ""
        self.visit = ""
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
        """Look again for what there is to choose: the book at once, the sockets after a while."""
        if not self.scanning:
            self.scanning = True
            threading.Thread(target=self._find, name="scan", daemon=True).start()
        self._choose_from()

    def _find(self) -> None:
        try:
            self._scanned = self._scan()
        except (WarmwatchError, OSError):
            self._scanned = []
        finally:
            self.scanning = False

    def _choose_from(self) -> None:
        try:
            self.choices = self._look(self._sockets)
        except WarmwatchError as error:
            self.problem = str(error)
            return
        address = None if self.adapter is None else (self.adapter.label, self.adapter.address)
        same = [each for each in self.choices.adapters if (each.label, each.address) == address]
        self.adapter = same[0] if same else None

    def job(self) -> tuple[Job, Address]:
        """Return what was chosen as a job and an address; raises WarmwatchError."""
        assert self.vehicle is not None
        assert self.adapter is not None
        assert self.choices.book is not None
        book = self.choices.book
        return job_of(book, self.vehicle), address_of(book, self.vehicle, self.adapter)

    def origins(self) -> dict[str, str]:
        """Return from where each of the job's values was taken, for the recording."""
        assert self.vehicle is not None
        assert self.vehicle.entry is not None
        kept = self.choices.book is not None and self.vehicle.label in self.choices.book.vehicles
        names = ("vehicle", *self.vehicle.entry.values)
        return dict.fromkeys(names, "book" if kept else "page")

    def _vehicle(self, order: Order) -> None:
        wanted = order.texts.get("label")
        known = [*self.choices.vehicles, *([self.vehicle] if self.vehicle else [])]
        self._take_vehicle(next((each for each in known if each.label == wanted), self.vehicle))
        if self.vehicle is not None and self.vehicle.entry is not None:
            self._own_adapter(self.vehicle.entry.text("link"))

    def _take_vehicle(self, vehicle: Vehicle | None) -> None:
        """Take a vehicle; with another one a visit does not go on."""
        if self.vehicle is not None and vehicle != self.vehicle:
            self.visit = ""
        self.vehicle = vehicle

    def _own_adapter(self, link: str) -> None:
        """Choose the adapter that the book names for the vehicle, where it is there."""
        for each in self.choices.adapters:
            if link and link in (each.label, each.address):
                self._choose(each)

    def _new(self, order: Order) -> None:
        told = [order.texts.get(name, "") for name in ("label", "band", "source")]
        keep = order.ticks.get("keep", False)
        vehicle = new_vehicle(*told, keep=keep, unit=self.choices.unit)
        self._take_vehicle(vehicle)
        if keep:
            self.look()
        elif vehicle.label not in [each.label for each in self.choices.vehicles]:
            vehicles = (*self.choices.vehicles, vehicle)
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
        vehicle, book = self.vehicle or Vehicle(""), self.choices.book
        assert book is not None
        self.trial = Trial(self.adapter, lambda adapter: address_of(book, vehicle, adapter))

    def settle(self) -> None:
        """Take over what was found: sockets; an address, and who the vehicle is."""
        if self._scanned is not None:
            self._sockets, self._scanned = self._scanned, None
            self._choose_from()
        trial, adapter = self.trial, self.adapter
        if trial is None or trial.running or trial.found is None or adapter is None:
            return
        found, trial.found = trial.found, None
        self.adapter = replace(adapter, address=found.address)
        others = [a for a in self.choices.adapters if a.id != adapter.id]
        adapters = tuple(sorted((*others, self.adapter), key=lambda a: int(a.id[1:])))
        self.choices = replace(self.choices, adapters=adapters)
        known = self.choices.book and found.vin and self.choices.book.by_vin(found.vin)
        if known and self.vehicle is None:
            self.vehicle = next((v for v in self.choices.vehicles if v.entry == known), None)
            self.problem = phrase("visit.is-it", label=known.label)

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
        self.visit = ""
        self.go(Stage.PREPARE)
        self.look()

    def missing(self) -> str:
        """Return what has to be chosen before a watch can start, empty when nothing."""
        if self.vehicle is None:
            return phrase("visit.choose-vehicle")
        if not self.vehicle.band:
            return phrase("visit.no-band")
        if self.adapter is None:
            return phrase("visit.choose-adapter")
        if self.trial is not None and self.trial.running:
            return phrase("visit.trial-goes-on")
        return "" if self.adapter.address else phrase("visit.try-first")

    def messages(self) -> dict[Right, dict[str, object]]:
        """Return for each right what its pages are told."""
        ended = {} if self.papers is None or self.stage is not Stage.DONE else self.papers.message()
        plain = {"stage": str(self.stage), "n": self.number, **ended}
        plain.pop("proof", None)
        whole = {**plain, **ended, **self._preparing()}
        return {Right.WATCH: plain, Right.MARK: plain, Right.RUN: whole}

    def _preparing(self) -> dict[str, object]:
        self.settle()
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
            "looking": self.scanning,
            "ready": not missing,
            "missing": missing,
            "problem": self.problem or self.choices.trouble,
            "caution": self._caution(),
        }

    def _caution(self) -> str:
        """Return the usual cautions, and those for holds where the vehicle's way declares them."""
        vehicle, book = self.vehicle, self.choices.book
        if vehicle is None or vehicle.entry is None or book is None:
            return phrase("visit.caution")
        if not declares_loading(vehicle.entry.text("method")):
            return phrase("visit.caution")
        try:
            return f"{phrase('visit.caution')}\n{loading_text(job_of(book, vehicle))}"
        except WarmwatchError as error:
            return str(error)


def _shown(vehicle: Vehicle) -> dict[str, str]:
    return {"label": vehicle.label, "band": vehicle.band, "source": vehicle.source}
