"""What the book says of a vehicle, in the form of a job file."""

from typing import Any

from warmwatch.book.band_text import parse_band
from warmwatch.book.book import Book, Entry
from warmwatch.book.keys import KEYS, Section
from warmwatch.core.job import Job, job_from_mapping
from warmwatch.errors import UsageError

BANDS = ("band", "drain_band")


def unit_of(book: Book, vehicle: Entry | None = None) -> str:
    """Return the unit of show that the book gives a vehicle, "" where it says nothing."""
    own = "" if vehicle is None else vehicle.text("unit")
    return own or book.shop.text("unit")


def lettered(text: str, unit: str, name: str = "band") -> str:
    """Return a band's text with a unit behind both figures, so that it can mean only one thing.

    A bare figure is in `unit`. Raises UsageError when the text is no band.

    >>> lettered("185:203", "F"), lettered("80:90C", "F")
    ('185F:203F', '80C:90C')
    """
    parse_band(text, unit or "C", name)
    low, _, high = (part.strip().replace("°", "").upper() for part in text.partition(":"))
    last = high[-1] if high[-1] in "CF" else (unit or "C")
    return ":".join(
        edge.replace(" ", "") if edge[-1] in "CF" else f"{edge}{last}" for edge in (low, high)
    )


def job_values(book: Book, vehicle: Entry) -> dict[str, Any]:
    """Return the vehicle's values as a job file would hold them; raises UsageError.

    Bands come with a unit behind each figure, whatever unit is shown later.
    """
    unit = unit_of(book, vehicle)
    content: dict[str, Any] = {"vehicle": vehicle.label}
    if unit:
        content["unit"] = unit
    for name in BANDS:
        if text := vehicle.text(name):
            content[name] = lettered(text, unit, f"{vehicle.label}: {name}")
    for name, value in vehicle.values.items():
        part = KEYS[Section.VEHICLES][name].part
        if part == "job":
            content[name] = value
        elif part:
            content.setdefault(part, {})[name] = value
    return content | paperwork(book, vehicle)


def paperwork(book: Book, vehicle: Entry | None = None) -> dict[str, dict[str, str]]:
    """Return the sections `[shop]` and `[work]` of a job file, without what is empty.

    The identification number is among it only where the shop wants it in proofs.
    """
    shop = {name: book.shop.text(name) for name in ("name", "address", "mechanic")}
    work = {} if vehicle is None else _work(book, vehicle)
    sections = {"shop": shop, "work": work}
    filled = {name: {k: v for k, v in part.items() if v} for name, part in sections.items()}
    return {name: part for name, part in filled.items() if part}


def _work(book: Book, vehicle: Entry) -> dict[str, str]:
    number = vehicle.text("vin") if book.shop.values.get("vin_in_proof") is True else ""
    plugs = (("check plug", "plug_torque"), ("drain plug", "drain_torque"))
    torques = [f"{plug} {vehicle.text(key)}" for plug, key in plugs if vehicle.text(key)]
    return {
        "plate": "\n".join(filter(None, (vehicle.text("plate"), number))),
        "fluid": vehicle.text("fluid_name"),
        "torques": "\n".join(torques),
    }


def check_whole(book: Book, vehicle: Entry) -> None:
    """Raise UsageError when the vehicle's values do not go together."""
    content = job_values(book, vehicle)
    bands = {name: _plain(content.pop(name, "80C:90C")) for name in BANDS}
    content.pop("unit", None)
    try:
        job: Job = job_from_mapping({**content, **bands})
    except ValueError as error:
        raise UsageError(f"{vehicle.label}: {error}.") from None
    assert job.vehicle == vehicle.label


def _plain(text: str) -> dict[str, float]:
    band = parse_band(text)
    return {"low_c": band.low_c, "high_c": band.high_c}
