"""Signal tables: the standard one shipped as data, and the files that users write.

A file holds numbers and words only; nothing in it is ever evaluated.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from warmwatch.core.units import QUANTITIES, to_c
from warmwatch.errors import UsageError
from warmwatch.signals.signal import SERVICE_READ_BY_IDENTIFIER, Signal

_INTEGERS = {
    "service": (0, 0xFF),
    "identifier": (0, 0xFFFF),
    "first_byte": (0, 499),
    "length": (1, 4),
    "record_length": (1, 500),
    "target": (0, 0x1FFFFFFF),
    "answer_id": (0, 0x1FFFFFFF),
}
EXTENDED = "extended"
_NUMBERS = ("scale", "offset", "low", "high")
_TEXTS = ("name", "unit", "source", "session")
_KEYS = (*_INTEGERS, *_NUMBERS, *_TEXTS, "signed")
_TOP_KEYS = ("title", "note", "signal")
_REQUIRED = ("name", "service", "identifier", "scale", "offset")


@dataclass(frozen=True, slots=True)
class SignalTable:
    """Signals in the order in which they were given."""

    signals: tuple[Signal, ...]
    title: str = ""

    def named(self, name: str) -> Signal | None:
        """Return the first signal of that name."""
        return next((signal for signal in self.signals if signal.name == name), None)

    def __iter__(self) -> Iterator[Signal]:
        return iter(self.signals)

    def __len__(self) -> int:
        return len(self.signals)


def standard_table() -> SignalTable:
    """Return the rows of SAE J1979 / ISO 15031-5 that we ask for, with the source at each row."""
    path = files("warmwatch.signals").joinpath("data/obd.toml")
    return parse_signals(path.read_text(encoding="utf-8"), "data/obd.toml")


def load_signal_file(path: str | Path) -> SignalTable:
    """Return the signals of a TOML file; UsageError names the file, the line and the key."""
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        reason = error.strerror or error
        raise UsageError(f"The signal file {path} cannot be read: {reason}.") from None
    except UnicodeDecodeError:
        raise UsageError(f"The signal file {path} is not UTF-8 text: save it as UTF-8.") from None
    return parse_signals(text, str(path))


def parse_signals(text: str, where: str) -> SignalTable:
    """Return the signals of TOML text; `where` is the file's name for messages."""
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{where} is not valid TOML: {error}.") from None
    for key in content:
        if key not in _TOP_KEYS:
            line = _line_of(text, -1, key)
            raise UsageError(f"{where}, line {line}: {key!r} is unknown; use [[signal]] tables.")
    rows = content.get("signal", [])
    if not (isinstance(rows, list) and rows and all(isinstance(row, dict) for row in rows)):
        raise UsageError(f"{where} holds no [[signal]] table.")
    signals = tuple(_Row(text, where, number, row).signal() for number, row in enumerate(rows))
    return SignalTable(signals, str(content.get("title", "")))


@dataclass(frozen=True, slots=True)
class _Row:
    """One [[signal]] table and where it stands, for messages."""

    text: str
    where: str
    number: int
    values: Mapping[str, object]

    def signal(self) -> Signal:
        for key in self.values:
            if key not in _KEYS:
                raise self._wrong(key, f"is unknown; known are {', '.join(_KEYS)}")
        for key in _REQUIRED:
            if key not in self.values:
                raise self._wrong(key, "is missing")
        name = self._name()
        unit = self._unit(name)
        low, high = self._range(name, unit)
        signal = Signal(
            name=name,
            service=self._service(),
            identifier=self._identifier(),
            first_byte=self._integer("first_byte", 0),
            length=self._integer("length", 1),
            signed=self._flag("signed"),
            scale=self._number("scale", 1.0),
            offset=self._number("offset", 0.0),
            unit=unit,
            low=low,
            high=high,
            record_length=self._optional("record_length"),
            target=self._optional("target"),
            answer_id=self._optional("answer_id"),
            session=self._session(),
            source=self._text("source"),
        )
        return self._checked(signal)

    def _checked(self, signal: Signal) -> Signal:
        end = signal.first_byte + signal.length
        if signal.record_length is not None and signal.record_length < end:
            raise self._wrong("record_length", f"is too short: the signal ends at byte {end}")
        if signal.scale == 0.0:
            raise self._wrong("scale", "is 0: every answer would give the same value")
        return signal

    def _name(self) -> str:
        name = self._text("name")
        if name not in QUANTITIES:
            raise self._wrong("name", f"is {name!r}; known are {', '.join(QUANTITIES)}")
        return name

    def _unit(self, name: str) -> str:
        unit, own = self._text("unit"), QUANTITIES[name].unit
        if own == "degC":
            if unit not in ("C", "F"):
                raise self._wrong("unit", 'must be "C" or "F" for a temperature')
        elif unit not in ("", own):
            raise self._wrong("unit", f"must be {own!r} for {name}, or left out")
        return unit

    def _range(self, name: str, unit: str) -> tuple[float, float]:
        quantity = QUANTITIES[name]
        low = self._limit("low", unit, quantity.low)
        high = self._limit("high", unit, quantity.high)
        if low >= high:
            raise self._wrong("low", "is not below high")
        return low, high

    def _limit(self, key: str, unit: str, default: float) -> float:
        return to_c(self._number(key, 0.0), unit) if key in self.values else default

    def _service(self) -> int:
        service = self._integer("service", 0)
        if service not in (0x01, 0x21, 0x22):
            raise self._wrong("service", "must be 0x01, 0x21 or 0x22: warmwatch only reads")
        return service

    def _identifier(self) -> int:
        identifier = self._integer("identifier", 0)
        service = self.values["service"]
        if service != SERVICE_READ_BY_IDENTIFIER and identifier > 0xFF:
            raise self._wrong("identifier", f"must be 0x00 to 0xFF for service 0x{service:02X}")
        return identifier

    def _session(self) -> str:
        session = self._text("session")
        if session not in ("", EXTENDED):
            raise self._wrong("session", 'must be "extended", or left out')
        if session and "target" not in self.values:
            raise self._wrong("session", "needs target: one unit only is asked for it")
        return session

    def _optional(self, key: str) -> int | None:
        return self._integer(key, 0) if key in self.values else None

    def _integer(self, key: str, default: int) -> int:
        value = self.values.get(key, default)
        if not isinstance(value, int) or isinstance(value, bool):
            raise self._wrong(key, "must be a whole number, such as 5 or 0x22")
        low, high = _INTEGERS[key]
        if key in self.values and not low <= value <= high:
            raise self._wrong(key, f"must be between {low} and {high} (0x{high:X})")
        return value

    def _number(self, key: str, default: float) -> float:
        value = self.values.get(key, default)
        if not isinstance(value, int | float) or isinstance(value, bool) or value - value != 0.0:
            raise self._wrong(key, "must be a number, such as 0.1 or -40")
        return float(value)

    def _flag(self, key: str) -> bool:
        value = self.values.get(key, False)
        if not isinstance(value, bool):
            raise self._wrong(key, "must be true or false")
        return value

    def _text(self, key: str) -> str:
        value = self.values.get(key, "")
        if not isinstance(value, str):
            raise self._wrong(key, "must be a text in quotes")
        return value

    def _wrong(self, key: str, why: str) -> UsageError:
        line = _line_of(self.text, self.number, key)
        return UsageError(f"{self.where}, line {line}: {key!r} {why}.")


def _line_of(text: str, table: int, key: str) -> int:
    """Return the line of `key` in the numbered [[signal]] table, or the line of its header."""
    current, header = -1, 1
    assignment = re.compile(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=|\s*\[+\s*{re.escape(key)}\s*\]")
    for number, line in enumerate(text.splitlines(), start=1):
        if re.match(r"\s*\[\[\s*signal\s*\]\]", line):
            current += 1
            header = number if current == table else header
        elif current == table and assignment.match(line):
            return number
    return header
