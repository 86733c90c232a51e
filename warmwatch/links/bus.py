"""Opens a CAN interface through python-can, and says in plain words why it cannot."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from warmwatch.errors import LinkLost, LinkRefused, UsageError
from warmwatch.links.address import Address

if TYPE_CHECKING:
    import can


def bus_options(address: Address, own: frozenset[str]) -> dict[str, object]:
    """Return the options that go to python-can as they are; `own` are ours and stay here."""
    if not address.rest:
        raise UsageError(f"{address.kind}: names no channel: write {address.kind}:CHANNEL?...")
    options = {key: _typed(value) for key, value in address.options.items() if key not in own}
    if "interface" not in options:
        raise UsageError(
            f"{address.kind}:{address.rest} needs interface=NAME, a CAN interface type that "
            f"python-can knows, such as socketcan, slcan or virtual."
        )
    return options


def open_bus(channel: str, options: Mapping[str, object]) -> "can.BusABC":
    """Return an open bus. Raises LinkRefused when waiting will not help, else LinkLost."""
    import can

    keywords: dict[str, Any] = dict(options)
    try:
        return can.Bus(channel=channel, ignore_config=True, **keywords)
    except can.CanInterfaceNotImplementedError as error:
        raise LinkRefused(
            f"python-can cannot use interface={options['interface']}: {_last_words(error)}. "
            f"Check the name, and install the driver it needs."
        ) from error
    except (TypeError, ValueError) as error:
        raise LinkRefused(
            f"The interface does not take these options: {_last_words(error)}."
        ) from error
    except (can.CanError, OSError) as error:
        raise LinkLost(
            f"{channel} cannot be opened: {_last_words(error)}. Is the adapter plugged in, the "
            f"interface up, and no other program using it?"
        ) from error


def seconds_option(options: Mapping[str, str], key: str, default: float) -> float:
    """Return a number of seconds above 0 and up to an hour."""
    if key not in options:
        return default
    try:
        seconds = float(options[key])
    except ValueError:
        seconds = 0.0
    if not 0.0 < seconds <= 3600.0:
        raise UsageError(f"{key}={options[key]} is no number of seconds above 0.")
    return seconds


def _typed(text: str) -> object:
    if text.lower() in ("true", "false"):
        return text.lower() == "true"
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def _last_words(error: Exception) -> str:
    return str(error).strip().rstrip(".") or type(error).__name__
