"""The guided start as a whole: adapter, vehicle, fluid, band, page; then one command.

Nothing is written before the last answer: who stops earlier leaves the book as it was.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from warmwatch.app.guide.adapter import Chosen, choose_adapter
from warmwatch.app.guide.asking import NO, YES, Asked, Choice, Question, Say
from warmwatch.app.guide.vehicle import (
    Described,
    ask_band,
    choose_vehicle,
    describe_signal,
    shown_band,
)
from warmwatch.app.guide.world import World
from warmwatch.book.as_job import lettered, unit_of
from warmwatch.book.book import Book, Entry
from warmwatch.book.keys import Value
from warmwatch.book.labels import SHOP

KEEP, CHANGE = "keep", "change"
_PAGE = (
    "Show the watch on a phone, too? It must be in the same network. Whoever has the link can "
    "see it and set marks: only in a network that you trust."
)
Entries = dict[str, Mapping[str, Value | None]]


@dataclass(frozen=True, slots=True)
class Plan:
    """What was decided: the vehicle's label, and whether the watch is to begin now."""

    label: str
    start: bool

    @property
    def arguments(self) -> list[str]:
        """The command line that does it; the band was confirmed here."""
        return ["watch", "--yes", "--", self.label]

    @property
    def next_time(self) -> str:
        """The sentence that names the one command."""
        return f'Next time, type: warmwatch watch "{self.label}" (or only: warmwatch)'


def guide(world: World) -> Asked[Plan]:
    """Ask all that is needed, write it into the book at the end, and return the plan."""
    book = world.book()
    adapter = yield from choose_adapter(world, book)
    vehicle = yield from choose_vehicle(book, adapter)
    if vehicle.new:
        values = yield from _new_vehicle(world, book, adapter, vehicle)
    else:
        values = yield from _known_vehicle(world, book, adapter, book.vehicles[vehicle.label])
    shop = yield from _page(world, book)
    start = True
    if vehicle.new:
        start = yield from _begin(vehicle.label, values)
    entries: Entries = {adapter.label: adapter.values, vehicle.label: values, SHOP: shop}
    world.write({label: kept for label, kept in entries.items() if kept})
    plan = Plan(vehicle.label, start)
    yield Say(plan.next_time)
    return plan


def _new_vehicle(
    world: World, book: Book, adapter: Chosen, vehicle: Described
) -> Asked[dict[str, Value]]:
    signal = yield from describe_signal(world, adapter, vehicle.label)
    band = yield from ask_band(book)
    return {"link": adapter.label, **signal, **band, **vehicle.values}


def _known_vehicle(
    world: World, book: Book, adapter: Chosen, vehicle: Entry
) -> Asked[dict[str, Value]]:
    """Have the band confirmed, ask for what is missing, and link the vehicle to this adapter."""
    values: dict[str, Value] = {}
    if vehicle.text("link") != adapter.label:
        values["link"] = adapter.label
    if not (vehicle.text("signals") or adapter.found.fluid or "signals=" in adapter.found.address):
        values |= yield from describe_signal(world, adapter, vehicle.label)
    if not vehicle.text("band"):
        return values | (yield from ask_band(book))
    unit = unit_of(book, vehicle)
    band = shown_band(lettered(vehicle.text("band"), unit), unit)
    source = vehicle.text("band_source") or "no source is written in the book"
    answer = yield Question(
        "confirm",
        f"The band of {vehicle.label} is {band}, from: {source}. Is that what the service "
        "information of this vehicle says?",
        (Choice(YES.key, "begin the watch"), Choice(CHANGE, "no, I give the right one")),
        YES.key,
    )
    return values if answer == YES.key else values | (yield from ask_band(book))


def _page(world: World, book: Book) -> Asked[dict[str, Value]]:
    """Ask once whether the watch is shown on a phone; the shop keeps the answer."""
    if "page" in book.shop.values:
        return {}
    if why := world.no_page():
        yield Say(f"No page for a phone: {why}")
        return {}
    answer = yield Question("page", _PAGE, (YES, NO), YES.key)
    if answer == NO.key:
        return {"page": False}
    return {"page": True, "page_host": "private", "page_marks": True}


def _begin(label: str, values: Mapping[str, Value]) -> Asked[bool]:
    band = shown_band(str(values["band"]), str(values.get("unit", "C")))
    answer = yield Question(
        "start",
        f"{label}: band {band}, from: {values['band_source']}. Begin the watch now? A wrong band "
        "is the one thing that warmwatch cannot notice: check it once more.",
        (Choice(YES.key, "yes"), Choice(KEEP, "no, only keep it in the book")),
        YES.key,
    )
    return answer == YES.key
