"""The Windows console's selection mode, which would hold up a program that writes."""

import sys
from collections.abc import Callable

_STDIN = -10
_QUICK_EDIT, _EXTENDED = 0x0040, 0x0080


def stop_selecting() -> Callable[[], None]:
    """Turn the selection mode off; return what restores it. Does nothing on other systems.

    In that mode one click freezes every write to the console until a key is pressed (console mode
    flags ENABLE_QUICK_EDIT_MODE 0040h and ENABLE_EXTENDED_FLAGS 0080h of SetConsoleMode).
    """
    if sys.platform != "win32":
        return _nothing
    import ctypes

    kernel = ctypes.windll.kernel32
    handle = kernel.GetStdHandle(_STDIN)
    mode = ctypes.c_ulong()
    if not kernel.GetConsoleMode(handle, ctypes.byref(mode)):
        return _nothing
    kernel.SetConsoleMode(handle, mode.value & ~_QUICK_EDIT | _EXTENDED)
    return lambda: kernel.SetConsoleMode(handle, mode.value | _EXTENDED)


def _nothing() -> None:
    return None
