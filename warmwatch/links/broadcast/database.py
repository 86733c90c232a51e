"""Reads broadcast signals by a database file that cantools understands."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from warmwatch.core.units import QUANTITIES, f_to_c, implausible
from warmwatch.errors import UsageError
from warmwatch.links.broadcast.decoder import Said, Sender, j1939_sender, raw_of
from warmwatch.signals import Decoded
from warmwatch.signals.j1939 import group_of, not_a_value

if TYPE_CHECKING:
    from cantools.database.can import Message, Signal

_J1939 = "j1939"
_CODES = ("0/1", "code")
_FAHRENHEIT = ("F", "degF", "°F", "deg F")


class DatabaseDecoder:
    """Reads the signals in `names`, quantity name -> `Message.Signal`."""

    def __init__(self, path: str, names: Mapping[str, str]) -> None:
        self._path = path
        database = _load(path)
        self._wanted = [(name, *_find(database, path, text)) for name, text in names.items()]
        shown = names.get("fluid_c")
        self.wanted = f"it needs {shown}" if shown else "name it with fluid_c=Message.Signal"

    def hear(self, can_id: int, wide: bool, data: bytes, now_s: float) -> Sequence[Said]:
        found: list[Said] = []
        for name, message, signal in self._wanted:
            if not _is_this(message, can_id, wide):
                continue
            decoded = _decoded(name, message, signal, data)
            if decoded is not None:
                sender = Sender(can_id, f"{can_id:03X}")
                if message.protocol == _J1939:
                    sender = j1939_sender(can_id & 0xFF, name)
                found.append(Said(name, decoded, sender, raw_of(can_id, wide, data)))
        return found

    def facts(self) -> Iterator[dict[str, object]]:
        for name, message, signal in self._wanted:
            source = f"{Path(self._path).name}: {message.name}.{signal.name}"
            yield {"name": name, "source": source, **_rule(message, signal)}


def _rule(message: "Message", signal: "Signal") -> dict[str, object]:
    """Return how the number is read; empty for floating point and multiplexed signals."""
    if signal.is_float or signal.multiplexer_ids:
        return {}
    return {
        "frame": message.frame_id,
        # The sender's address and the priority may differ.
        "mask": 0x3FFFF00 if message.protocol == _J1939 else 0x1FFFFFFF,
        "start": signal.start,
        "bits": signal.length,
        "order": "big" if signal.byte_order == "big_endian" else "little",
        "signed": signal.is_signed,
        "scale": signal.scale,
        "offset": signal.offset,
        "unit": "F" if (signal.unit or "").strip() in _FAHRENHEIT else "C",
    }


def _load(path: str) -> Any:
    import cantools

    try:
        return cantools.database.load_file(path)
    except OSError as error:
        raise UsageError(f"{path} cannot be read: {error.strerror or error}.") from None
    except Exception as error:  # each format's parser raises its own
        reason = " ".join(str(error).split())[:200]
        raise UsageError(f"{path} is not a database file that cantools reads: {reason}.") from error


def _find(database: Any, path: str, text: str) -> tuple["Message", "Signal"]:
    message_name, _, signal_name = text.partition(".")
    try:
        message = database.get_message_by_name(message_name)
    except (KeyError, AttributeError):
        raise UsageError(f"{path} has no message {message_name!r} (given as {text!r}).") from None
    for signal in message.signals:
        if signal.name == signal_name:
            return message, signal
    known = ", ".join(signal.name for signal in message.signals)
    raise UsageError(f"{message_name} in {path} has no signal {signal_name!r}; it has {known}.")


def _is_this(message: "Message", can_id: int, wide: bool) -> bool:
    if message.is_extended_frame != wide:
        return False
    if message.protocol == _J1939:  # the sender's address and priority may differ
        return group_of(message.frame_id) == group_of(can_id)
    return message.frame_id == can_id


def _decoded(name: str, message: "Message", signal: "Signal", data: bytes) -> Decoded | None:
    """Return the signal's value; None when this frame does not carry it (another multiplex)."""
    try:
        raw = message.decode(data, decode_choices=False, scaling=False)
    except Exception as error:  # a frame of the wrong length is no reason to stop
        return Decoded(None, f"the frame does not fit the database: {error}")
    if not isinstance(raw, dict) or signal.name not in raw:
        return None
    number = raw[signal.name]
    if not isinstance(number, int | float):
        return Decoded(None, f"{number!r} is no number")
    if isinstance(number, int):
        code = _code(name, message, signal, number)
        if code:
            return Decoded(None, f"the control unit sends the code for {code!r}")
    scaled = signal.conversion.raw_to_scaled(number, decode_choices=False)
    if not isinstance(scaled, int | float):
        return Decoded(None, f"{scaled!r} is no number")
    return _checked(name, signal, float(scaled))


def _code(name: str, message: "Message", signal: "Signal", number: int) -> str:
    if signal.choices and number in signal.choices and QUANTITIES[name].unit not in _CODES:
        return str(signal.choices[number])
    if message.protocol == _J1939 and signal.length in (4, 8, 16, 32):
        return not_a_value(number, signal.length)
    return ""


def _checked(name: str, signal: "Signal", value: float) -> Decoded:
    low, high = signal.minimum, signal.maximum
    outside = (low is not None and value < low) or (high is not None and value > high)
    doubt = f"{value:g} is outside the database's {low} to {high}" if outside else ""
    if QUANTITIES[name].unit == "degC" and (signal.unit or "").strip() in _FAHRENHEIT:
        value = f_to_c(value)
    value = round(value, 9)
    return Decoded(value, doubt or str(implausible(name, value) or ""))
