"""What may stand in the book: each key with its meaning and the check of its value."""

import difflib
import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from warmwatch.book import vin
from warmwatch.book.band_text import parse_band
from warmwatch.core.job import job_from_mapping
from warmwatch.errors import UsageError

Value = str | float | bool
LONGEST = 2000
"""No value of the book is so long."""
_YES, _NO = ("true", "yes", "on"), ("false", "no", "off")


class Section(StrEnum):
    """The parts of the book."""

    VEHICLES = "vehicles"
    ADAPTERS = "adapters"
    SHOP = "shop"


@dataclass(frozen=True, slots=True)
class Key:
    """One key. `read` turns a value of the file into the one used, or raises ValueError.

    `part` is the part of a job file that the value goes to ("job", "fluid", "check"), or "".
    `numeric`: its value is a number.
    """

    name: str
    about: str
    read: Callable[[object], Value]
    part: str = ""
    numeric: bool = False

    def from_text(self, text: str) -> Value:
        """Return the value that a person typed."""
        text = text.strip()
        return self.check(_number_of(text) if self.numeric else _yes_no_of(self.read, text))

    def check(self, value: object) -> Value:
        """Return the value used; ValueError names the key."""
        try:
            return self.read(value)
        except UsageError as error:
            raise ValueError(str(error)) from None
        except ValueError as error:
            raise ValueError(f"{self.name}: {error}") from None


def _number_of(text: str) -> object:
    """Return the number that a text shows, with a point or a comma; the text when it is none."""
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        return text
    return int(number) if number.is_integer() and text.isdigit() else number


def _yes_no_of(read: Callable[[object], Value], text: str) -> object:
    word = text.casefold()
    return word in _YES if read is _yes_no and word in (*_YES, *_NO) else text


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError(f"a text in quotes is needed, not {value!r}")
    if len(value) > LONGEST:
        raise ValueError(f"at most {LONGEST} characters are kept")
    return value


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"a number is needed, not {value!r}")
    return value


def _yes_no(value: object) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"true or false is needed, not {value!r}")
    return value


def _band(name: str) -> Callable[[object], Value]:
    def read(value: object) -> str:
        text = _text(value)
        # Without a letter it may be in either unit; which one is known only beside `unit`.
        try:
            parse_band(text, "C", name)
        except UsageError:
            parse_band(text, "F", name)
        return text

    return read


def _one_of(*choices: str) -> Callable[[object], Value]:
    def read(value: object) -> str:
        for choice in choices:
            if isinstance(value, str) and value.casefold() == choice.casefold():
                return choice
        raise ValueError(f"{value!r} is not one of {', '.join(choices)}")

    return read


def _vin(value: object) -> str:
    return vin.clean(_text(value))


def _port(value: object) -> Value:
    number = _number(value)
    if number != int(number) or not 1 <= number <= 65535:
        raise ValueError(f"{value!r} is not a port: a whole number up to 65535 is needed")
    return int(number)


def _limit(name: str, part: str) -> Callable[[object], Value]:
    """Return the check of a number that the job itself judges."""

    def read(value: object) -> Value:
        number = _number(value)
        band = {"low_c": 80.0, "high_c": 90.0}
        inner: dict[str, object] = {name: number} if part == "job" else {part: {name: number}}
        try:
            job_from_mapping({"band": band, **inner})
        except ValueError as error:
            raise ValueError(str(error).removeprefix(f"{name}: ")) from None
        return number

    return read


def _limits(part: str, **about: str) -> tuple[Key, ...]:
    return tuple(
        Key(name, text, _limit(name, part), part, numeric=True) for name, text in about.items()
    )


_VEHICLE = (
    Key("link", "a link address, or the label of an adapter in this book", _text),
    Key("signals", "file with the vehicle's own identifiers", _text),
    Key("band", "check temperature from service information, as 80:90 or 176F:194F", _band("band")),
    Key("band_source", "where the band was taken from", _text, "job"),
    Key("drain_band", "warm enough to drain, as 45:60", _band("drain_band")),
    Key("unit", "C or F: unit of what is shown, and of bands without a letter", _one_of("C", "F")),
    Key("method", "usual way of warming up, a label", _text, "job"),
    Key("notes", "free text for the proof", _text, "job"),
    Key("plate", "number plate, for the proof", _text),
    Key("fluid_name", "which fluid, as it stands on the can", _text),
    Key("pan", "what to know of the pan, gasket and filter", _text),
    Key("plug_torque", "torque of the check plug, with its unit", _text),
    Key("drain_torque", "torque of the drain plug, with its unit", _text),
    Key("vin", "vehicle identification number, kept here only", _vin),
    *_limits(
        "fluid",
        capacity_l="all the fluid, litres",
        density_kg_m3="density at 15 °C, kg/m³",
        density_err_kg_m3="how far that may be off",
    ),
    *_limits(
        "check",
        tilt_limit_deg="tilt that still counts as level",
        idle_s="how long to idle before the check",
        settle_s="when the fluid counts as settled after load, seconds",
        settle_rate_c_per_min="and how slowly it moves then",
    ),
    *_limits(
        "job",
        lead_s="how early the band is announced",
        top_lead_s="how early its top is announced",
        fluid_ceiling_c="too hot, fluid",
        coolant_ceiling_c="too hot, coolant",
        hold_limit_s="longest hold against the brakes (it warns, it advises nothing)",
        rest_s="rest between holds",
    ),
)
_ADAPTER = (
    Key("address", "its link address, as serial:/dev/ttyUSB0 or can:can0", _text),
    Key("usb", "USB serial number, by which the port is found again", _text),
    Key("notes", "free text", _text),
)
_SHOP = (
    Key("unit", "C or F, where a vehicle says nothing", _one_of("C", "F")),
    Key("language", "language of what is shown, as en", _text),
    Key("paper", "a4 or letter, for proofs", _one_of("a4", "letter")),
    Key("name", "name of the shop, for proofs", _text),
    Key("address", "address of the shop, for proofs", _text),
    Key("mechanic", "who does the work, for proofs", _text),
    Key("key", "file of the shop key", _text),
    Key("vin_in_proof", "whether a proof may show a vehicle's identification number", _yes_no),
    Key("recordings", "folder where recordings go", _text),
    Key("page", "whether a watch by label serves the page", _yes_no),
    Key("page_host", "address for the page, or private", _text),
    Key("page_port", "port for the page", _port, numeric=True),
    Key("page_marks", "whether the page may set marks", _yes_no),
)
KEYS = {
    section: {key.name: key for key in keys}
    for section, keys in (
        (Section.VEHICLES, _VEHICLE),
        (Section.ADAPTERS, _ADAPTER),
        (Section.SHOP, _SHOP),
    )
}


def key_of(section: Section, name: str) -> Key:
    """Return the key; ValueError lists the ones there are."""
    try:
        return KEYS[section][name]
    except KeyError:
        close = difflib.get_close_matches(name, KEYS[section], n=3)
        known = ", ".join(close or KEYS[section])
        words = "near it are" if close else "known are"
        raise ValueError(f"{name}: there is no such key; {words} {known}") from None
