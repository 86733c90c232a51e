"""The decoders that an address's options ask for: the same for a live bus and a recorded one."""

from collections.abc import Sequence

from warmwatch.core.units import QUANTITIES
from warmwatch.errors import UsageError
from warmwatch.links.address import Address
from warmwatch.links.asking.units import addressings
from warmwatch.links.broadcast.decoder import Decoder, Decoders, J1939Decoder
from warmwatch.links.broadcast.overhearing import OverhearingDecoder
from warmwatch.signals import Signal, load_signal_file

_ADDRESSING = ("addressing", "request_id", "answer_id", "target")
DECODER_OPTIONS = frozenset({"database", "signals", "source", *_ADDRESSING, *QUANTITIES})


def decoder_of(address: Address, known: Sequence[Signal] = ()) -> Decoder:
    """Return what reads the frames; `known` signals count where none are named.

    Raises UsageError.
    """
    options = address.options
    signals = load_signal_file(options["signals"]).signals if "signals" in options else known
    overhearing = OverhearingDecoder(signals, addressings(options))
    by_database = _by_database(address)
    if by_database is None:
        return Decoders((J1939Decoder(), overhearing), missed=overhearing)
    return Decoders((by_database, overhearing), missed=overhearing if signals else by_database)


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


def _by_database(address: Address) -> Decoder | None:
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
    from warmwatch.links.broadcast.database import DatabaseDecoder

    return DatabaseDecoder(address.options["database"], wanted)
