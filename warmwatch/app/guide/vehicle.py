"""Which vehicle, what gives its fluid's temperature, and its band from service information."""

from dataclasses import dataclass, field
from pathlib import Path

from warmwatch.app.guide.adapter import Chosen
from warmwatch.app.guide.asking import NO, YES, Asked, Choice, Question, Say
from warmwatch.app.guide.world import World
from warmwatch.book import vin
from warmwatch.book.as_job import lettered, unit_of
from warmwatch.book.band_text import parse_band
from warmwatch.book.book import Book, Entry
from warmwatch.book.keys import Section, Value
from warmwatch.book.labels import SHOP, clean_label, folded
from warmwatch.errors import UsageError
from warmwatch.links.kinds import KINDS
from warmwatch.signals import load_signal_file
from warmwatch.words.events import band_text

NEW, SEARCH, NONE = "new", "search", "none"
_BAND = (
    "At which fluid temperature is the level checked? Two figures from the service information of "
    "this vehicle, as 80:90 or 176F:194F."
)
_BAND_NEEDED = (
    "Without it nothing can be watched: warmwatch knows no vehicle's band and never guesses one. "
    "The service information gives it, in the part about the fluid level."
)
_SIGNAL = (
    "No standard request gives the fluid's temperature, so the vehicle's own identifier is needed: "
    "from a signal file (`warmwatch signals --example` prints one; you may type its path), or by a "
    "search that takes about 15 minutes of a warm-up."
)


@dataclass(frozen=True, slots=True)
class Described:
    """The vehicle: its label, what the book is to keep of it, and whether it is new there."""

    label: str
    new: bool
    values: dict[str, Value] = field(default_factory=dict)


def choose_vehicle(book: Book, adapter: Chosen) -> Asked[Described]:
    """Ask which vehicle it is; one that says who it is, is proposed."""
    number = adapter.found.vin
    same = book.by_vin(number) if number else None
    if same is not None:
        yield Say(f"The vehicle says that it is {same.label} ({vin.shortened(number)}).")
    vehicles = _likeliest_first(book, adapter, same)
    answer = yield _which(book, vehicles, same, number)
    known = book.find(answer) if answer != NEW else None
    if known is None:
        label = answer
        if answer == NEW:
            label = yield Question(
                "label",
                "What do you call this vehicle?",
                default=_free(book),
                check=lambda text: _new_label(book, text),
            )
        return Described(label, True, (yield from _kept_number(number)))
    own = known.text("vin")
    if number and own and own != number:
        yield Say(
            f"The vehicle says {vin.shortened(number)}, the book has {vin.shortened(own)} for "
            f"{known.label}: check whether this is the right vehicle.",
            warn=True,
        )
    return Described(known.label, False)


def _likeliest_first(book: Book, adapter: Chosen, same: Entry | None) -> list[Entry]:
    def rank(vehicle: Entry) -> int:
        return 0 if vehicle is same else 1 if vehicle.text("link") == adapter.label else 2

    return sorted(book.vehicles.values(), key=rank)


def _which(book: Book, vehicles: list[Entry], same: Entry | None, number: str) -> Question:
    if not vehicles:
        return Question(
            "vehicle",
            "What do you call this vehicle? (A plate, a name: any text.)",
            default=_free(book),
            check=lambda text: _new_label(book, text),
        )
    choices = [Choice(v.label, _band_of(book, v) or "no band yet") for v in vehicles]
    strangers = bool(number) and same is None and all(v.text("vin") for v in vehicles)
    return Question(
        "vehicle",
        "Which vehicle? For a new one, you may type its name.",
        (*choices, Choice(NEW, "a new one")),
        NEW if strangers else vehicles[0].label,
        check=lambda text: _any_label(book, text),
    )


def _free(book: Book) -> str:
    taken = {folded(label) for label in (*book.vehicles, *book.adapters)}
    return next(f"vehicle {n}" for n in range(1, len(taken) + 2) if f"vehicle {n}" not in taken)


def _any_label(book: Book, text: str) -> str:
    label = clean_label(text)
    found = book.find(label)
    if found is not None and found.section is Section.VEHICLES:
        return found.label
    return _new_label(book, label)


def _new_label(book: Book, text: str) -> str:
    label = clean_label(text)
    if ":" in label and label.partition(":")[0] in KINDS:
        raise UsageError(f"{label!r} reads like a link address: choose another name.")
    if book.find(label) is not None or folded(label) == SHOP:
        raise UsageError(f"The book has {label!r} already: choose another name.")
    return label


def _kept_number(number: str) -> Asked[dict[str, Value]]:
    """Ask whether the number is to be kept, so that the vehicle is recognised."""
    if not number:
        return {}
    wrong = vin.checked(number) is vin.CheckDigit.WRONG
    note = " (its check digit is wrong, which is normal outside North America)" if wrong else ""
    answer = yield Question(
        "vin",
        f"The vehicle gives its identification number, {vin.shortened(number)}{note}. Keep it in "
        "the book on this computer, so that the vehicle is recognised next time?",
        (YES, NO),
        YES.key,
    )
    return {"vin": number} if answer == YES.key else {}


def describe_signal(world: World, adapter: Chosen, label: str) -> Asked[dict[str, Value]]:
    """Ask what gives the fluid's temperature; returns what the book is to keep of it."""
    if adapter.found.fluid:
        yield Say("This link gives the fluid's temperature by itself.")
        return {}
    files = _by_name(world.signal_files())
    while True:
        answer = yield Question(
            "signal",
            _SIGNAL,
            (*(Choice(name, "a signal file that is here") for name in files), _SEARCH_NOW),
            next(iter(files)) if len(files) == 1 else SEARCH,
            check=_signal_file,
        )
        if answer != SEARCH:
            return {"signals": files.get(answer, answer)}
        path = world.search(adapter.found.address, label)
        if path is not None:
            return {"signals": str(path)}
        yield Say("The search found nothing sure: a signal file is needed.", warn=True)


_SEARCH_NOW = Choice(SEARCH, "search now")


def _by_name(paths: list[Path]) -> dict[str, str]:
    """Return the files by their names, or by their paths where two have the same name."""
    names = [path.name for path in paths]
    return {p.name if names.count(p.name) == 1 else str(p): str(p) for p in paths}


def _signal_file(text: str) -> str:
    path = Path(text).expanduser()
    if load_signal_file(path).named("fluid_c") is None:
        raise UsageError(f"{text} names no fluid_c: `warmwatch signals --example` shows how.")
    return str(path.resolve())


def ask_band(book: Book) -> Asked[dict[str, Value]]:
    """Ask for the band, its unit where it is not said, its source, and the band for draining."""
    unit = unit_of(book)
    text = yield Question("band", _BAND, check=lambda text: _band(text, unit), missing=_BAND_NEEDED)
    if not set(text) & set("CF"):
        unit = yield from _unit(text)
    values: dict[str, Value] = {"band": lettered(text, unit)}
    unit = unit or str(values["band"])[-1]
    values["band_source"] = yield Question(
        "band_source",
        "Where did you find it? (A page, a document: it goes into the proof.)",
        default="service information",
        check=lambda text: text,
    )
    drain = yield Question(
        "drain_band",
        "Does it also give a range for draining warm? As 40:60; Enter: none.",
        (Choice(NONE, "none"),),
        NONE,
        check=lambda text: lettered(text, unit, "drain_band"),
    )
    return values | {"unit": unit} | ({} if drain == NONE else {"drain_band": drain})


def _band(text: str, unit: str) -> str:
    """Return the band's text, with letters where they are known; raises UsageError."""
    plain = text.replace(" to ", ":").replace(" ", "").replace("°", "").upper()
    if unit or set(plain) & set("CF"):
        return lettered(plain, unit)
    if not _is_band(plain, "F"):
        parse_band(plain, "C", "This band,")
    return plain


def _unit(text: str) -> Asked[str]:
    """Return the unit that bare figures are in; asked only where both make sense."""
    possible = [unit for unit in ("C", "F") if _is_band(text, unit)]
    if len(possible) == 1:
        yield Say(f"Taken as °{possible[0]}: in the other unit no vehicle has such a band.")
        return possible[0]
    answer = yield Question("unit", "In °C or °F?", (Choice("C", "°C"), Choice("F", "°F")), "C")
    return answer


def _is_band(text: str, unit: str) -> bool:
    try:
        parse_band(text, unit)
    except UsageError:
        return False
    return True


def _band_of(book: Book, vehicle: Entry) -> str:
    unit = unit_of(book, vehicle)
    return shown_band(lettered(vehicle.text("band"), unit), unit) if vehicle.text("band") else ""


def shown_band(text: str, unit: str) -> str:
    """Return a band of the book in both units."""
    band = parse_band(text)
    other = "C" if unit == "F" else "F"
    return f"{band_text(band, unit or 'C')} ({band_text(band, other)})"
