"""Labels, and how a vehicle of the book is reached."""

from pathlib import Path

import pytest

from warmwatch.app.book_check import check_book
from warmwatch.book.as_job import job_values, lettered
from warmwatch.book.book import Book, Entry, book_of
from warmwatch.book.labels import near
from warmwatch.book.links import link_text
from warmwatch.errors import UsageError
from warmwatch.links.address import parse_address


def book(**vehicle: object) -> Book:
    content = {
        "vehicles": {"white van": vehicle},
        "adapters": {"blue": {"address": "serial:/dev/ttyNONE?baud=38400", "usb": "A 1&2"}},
        "shop": {"unit": "F"},
    }
    return book_of(content, Path("/home/of/the/book.toml"))


def van(made: Book) -> Entry:
    return made.needed("white van")


def test_near_labels_come_likeliest_first() -> None:
    """A typing slip and a part of a label both lead to it."""
    labels = ["white van", "white van 2", "red truck", "Übergröße"]
    assert near("whit van", labels)[0] == "white van"
    assert "red truck" in near("truck", labels)
    assert near("ÜBERGRÖSSE", labels) == ["Übergröße"]
    assert near("zzz", labels) == []


def test_the_link_is_put_together() -> None:
    """Adapter, USB serial number and signal file become one address that means just these."""
    made = book(link="Blue", signals="my file.toml")
    address = parse_address(link_text(made, van(made)))
    assert (address.kind, address.rest) == ("serial", "/dev/ttyNONE")
    assert address.options == {
        "baud": "38400", "usb": "A 1&2", "signals": "/home/of/the/my file.toml",
    }  # fmt: skip


def test_a_signal_file_in_the_link_stands() -> None:
    """What the link itself names is not replaced."""
    made = book(link="serial:COM5?signals=own.toml", signals="other.toml")
    assert link_text(made, van(made)) == "serial:COM5?signals=own.toml"


def test_a_vehicle_without_a_link_is_told() -> None:
    """The sentence shows how to write one in."""
    with pytest.raises(UsageError, match="link=serial:PORT"):
        link_text(book(), van(book()))


def test_the_values_of_a_job() -> None:
    """The vehicle's keys stand where a job file has them, bands with their letters."""
    made = book(band="185:203", capacity_l=9.4, tilt_limit_deg=0.5, lead_s=240, fluid_name="x")
    assert job_values(made, van(made)) == {
        "vehicle": "white van", "unit": "F", "band": "185F:203F",
        "fluid": {"capacity_l": 9.4}, "check": {"tilt_limit_deg": 0.5}, "lead_s": 240,
        "work": {"fluid": "x"},
    }  # fmt: skip


def test_letters_of_bands() -> None:
    """A letter behind the second figure holds for both; one behind each stays."""
    assert lettered("185 : 203 °F", "C") == "185F:203F"
    assert lettered("80C:194F", "C") == "80C:194F"
    assert lettered("29,5:50", "") == "29,5C:50C"


def test_what_does_not_work_here_is_told() -> None:
    """Absent port, missing signal file, missing source and wrong check digit are each named."""
    made = book(link="blue", signals="gone.toml", band="185:203", vin="2" + "1" * 16)
    told = "\n".join(f"{trouble.label}: {trouble.text}" for trouble in check_book(made))
    for words in ("blue: /dev/ttyNONE", "signals: The signal file", "band_source", "check digit"):
        assert words in told


def test_labels_shared_by_vehicle_and_adapter_are_told() -> None:
    """One label means one thing."""
    made = book_of(
        {"vehicles": {"x": {"band": "80:90"}}, "adapters": {"X": {"address": "serial:COM5"}}},
        Path("book.toml"),
    )
    assert list(made.vehicles) == ["x"]
    assert not made.adapters
    assert [trouble.label for trouble in made.troubles] == ["X"]
