"""Keeps the computer awake while a watch runs: a sleeping computer reads nothing."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager

AWAKE = "The computer is kept awake. Leave its lid open: closing it may still put it to sleep."
NOT_AWAKE = (
    "This computer cannot be kept awake from here: switch off sleep in its settings, and leave its "
    "lid open. Asleep it sees nothing and sounds nothing."
)


@contextmanager
def kept_awake(say: Callable[[str], None]) -> Iterator[None]:
    """Keep the computer awake within, and say whether that works; the screen may go dark."""
    with ExitStack() as held:
        say(AWAKE if _held(held) else NOT_AWAKE)
        yield


def _held(stack: ExitStack) -> bool:
    try:
        from wakepy import keep

        mode = stack.enter_context(keep.running(on_fail="pass"))
        return bool(mode.active)
    except Exception:  # each system has its own way, and any of them may fail in its own
        return False
