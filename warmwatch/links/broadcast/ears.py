"""The ears that an address's options ask for: the same for a live bus and for a recorded one."""

from collections.abc import Sequence

from warmwatch.core.units import QUANTITIES
from warmwatch.errors import UsageError
from warmwatch.links.address import Address
from warmwatch.links.asking.units import addressings
from warmwatch.links.broadcast.ear import Ear, Ears, J1939Ear
from warmwatch.links.broadcast.overhearing import OverhearingEar
from warmwatch.signals import Signal, load_signal_file

_ADDRESSING = ("addressing", "request_id", "answer_id", "target")
EAR_OPTIONS = frozenset({"database", "signals", "source", *_ADDRESSING, *QUANTITIES})


def ear_of(address: Address, known: Sequence[Signal] = ()) -> Ear:
    """Return what reads the frames; `known` signals count where none are named.

    Raises UsageError.
    """
    options = address.options
    signals = load_signal_file(options["signals"]).signals if "signals" in options else known
    overhearing = OverhearingEar(signals, addressings(options))
    by_database = _by_database(address)
    if by_database is None:
        return Ears((J1939Ear(), overhearing), missed=overhearing)
    return Ears((by_database, overhearing), missed=overhearing if signals else by_database)


def source_of(address: Address) -> int | None:
    """Return the only sender of the fluid to believe, where one is named. Raises UsageError."""
    text = address.options.get("source")
    if text is None:
        return None
    try:
        return int(text, 16)
    except ValueError:
        raise UsageError(
            f"source={text} is not an address in hex digits, such as 03 or 7E9; `warmwatch link` "
            "shows who sends."
        ) from None


def _by_database(address: Address) -> Ear | None:
    wanted = {name: address.options[name] for name in QUANTITIES if name in address.options}
    if "database" not in address.options:
        if wanted:
            name, signal = next(iter(wanted.items()))
            raise UsageError(f"{name}={signal} needs database=FILE, where the signal is defined.")
        return None
    if not wanted:
        raise UsageError(
            f"database={address.options['database']} needs the signals to read, such as "
            "fluid_c=Message.Signal."
        )
    from warmwatch.links.broadcast.database import DatabaseEar

    return DatabaseEar(address.options["database"], wanted)
