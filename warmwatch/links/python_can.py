"""python-can and can-isotp, without asammdf: it takes a second to load, and only MF4 logs need it.

All else takes both libraries from here.
"""

import importlib
import sys

_SPARED = "asammdf" not in sys.modules
if _SPARED:
    sys.modules["asammdf"] = None  # type: ignore[assignment]  # as if it were not installed
try:
    import can
    import isotp
finally:
    if _SPARED:
        del sys.modules["asammdf"]

__all__ = ["can", "isotp", "load_mf4"]


def load_mf4() -> None:
    """Let python-can read and write MF4, where asammdf is installed."""
    from can.io import mf4

    if vars(mf4)["asammdf"] is None:
        importlib.reload(mf4)  # its classes look their names up in the module
