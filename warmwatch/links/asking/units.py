"""Who can be asked on a CAN bus, and at which identifiers (ISO 15765-2, ISO 15765-4)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from warmwatch.errors import UsageError

TESTER = 0xF1
"""The address of an external tester in 29-bit and extended addressing."""

LAST_NODE, LAST_NARROW = 0xFF, 0x7FF
"""The last address of a node with 29 bits, and the last CAN identifier of 11 bits."""

_FIRST_ANSWER, _LAST_ANSWER = 0x7E8, 0x7EF
_ANSWER_OFFSET = 8
_FIXED = 0x18DA0000


@dataclass(frozen=True, slots=True, order=True)
class Unit:
    """One control unit: the CAN identifiers it answers from and is asked at.

    `target` is the address byte in front of each frame to it, with extended addressing only.
    """

    answer_id: int
    request_id: int
    target: int | None = None
    tester: int = TESTER

    @property
    def wide(self) -> bool:
        """True when its identifiers have 29 bits."""
        return self.answer_id > LAST_NARROW or self.request_id > LAST_NARROW

    @property
    def label(self) -> str:
        """The answering identifier in hex digits, as it shows on the bus."""
        if not self.answer_id:  # a text adapter that shows no identifiers
            return f"the unit at {self.request_id:X}"
        return f"{self.answer_id:08X}" if self.wide else f"{self.answer_id:03X}"


@dataclass(frozen=True, slots=True)
class Addressing:
    """A way to reach units. `functional_id` reaches all of them at once, where there is one."""

    name: str
    functional_id: int | None
    only: Unit | None = None

    def unit_at(self, target: int, answer_id: int | None = None) -> Unit:
        """Return the unit asked at `target`, as written in a signal file."""
        if self.only is not None:
            return Unit(answer_id or self.only.answer_id, self.only.request_id, target)
        if self.name == "fixed" and target <= LAST_NODE:
            target = _FIXED | target << 8 | TESTER
        return Unit(_usual_answer(target) if answer_id is None else answer_id, target)

    def sender(self, answer_id: int, wide: bool) -> Unit | None:
        """Return the unit that answers from an identifier of the legislated ranges."""
        if self.only is not None:
            return self.only if answer_id == self.only.answer_id else None
        if wide:
            fixed = answer_id & 0x1FFFFF00 == _FIXED | TESTER << 8
            return Unit(answer_id, _usual_answer(answer_id)) if fixed else None
        legislated = _FIRST_ANSWER <= answer_id <= _LAST_ANSWER
        return Unit(answer_id, answer_id - _ANSWER_OFFSET) if legislated else None


def is_wide(target: int) -> bool:
    """True when a unit's address is of 29 bits: a node, or an identifier that needs them."""
    return target <= LAST_NODE or target > LAST_NARROW


def way_to(target: int, ways: Sequence[Addressing]) -> Addressing:
    """Return the way to reach `target`: an 11-bit identifier, or a node or identifier of 29."""
    return next((way for way in ways if (way is FIXED) == is_wide(target)), ways[0])


class KLineUnit(Unit):
    """A unit on K-line: `answer_id` is its address, `request_id` the three bytes in front."""

    @property
    def label(self) -> str:
        return f"{self.answer_id:02X}"


class KLineAddressing(Addressing):
    """ISO 14230-2: format, target and source in front of each request."""

    def unit_at(self, target: int, answer_id: int | None = None) -> Unit:
        return KLineUnit(target & 0xFF, _K_PHYSICAL | (target & 0xFF) << 8 | TESTER)

    def sender(self, answer_id: int, wide: bool) -> Unit | None:
        return self.unit_at(answer_id)


_K_PHYSICAL = 0x810000  # as 0xC133F1, with a length that the adapter corrects
K_LINE = KLineAddressing("k-line", 0xC133F1)
NORMAL = Addressing("normal", 0x7DF)
FIXED = Addressing("fixed", 0x18DB33F1)


def _usual_answer(request_id: int) -> int:
    if request_id <= LAST_NARROW:
        return request_id + _ANSWER_OFFSET
    to, sender = request_id >> 8 & 0xFF, request_id & 0xFF
    return request_id & ~0xFFFF | sender << 8 | to


def addressings(options: Mapping[str, str]) -> tuple[Addressing, ...]:
    """Return the ways to try, in order, from a link address's options.

    `addressing` is `normal` (11 bits), `fixed` (29 bits), `extended` or left out (the first two
    are tried). Extended addressing needs `request_id`, `answer_id` and `target`, in hex digits.
    """
    name = options.get("addressing", "")
    if name == "extended":
        keys = ("request_id", "answer_id", "target")
        request_id, answer_id, target = (_hex_option(options, key) for key in keys)
        return (Addressing("extended", None, Unit(answer_id, request_id, target & 0xFF)),)
    known = {"": (NORMAL, FIXED), "normal": (NORMAL,), "fixed": (FIXED,)}
    if name not in known:
        raise UsageError(f"addressing={name} is unknown: use normal, fixed or extended.")
    return known[name]


def _hex_option(options: Mapping[str, str], key: str) -> int:
    try:
        return int(options[key], 16)
    except KeyError:
        raise UsageError(f"addressing=extended needs {key}= too, in hex digits.") from None
    except ValueError:
        raise UsageError(f"{key}={options[key]} is not a hex number.") from None
