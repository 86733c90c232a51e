"""What to ask a vehicle for, and how to read what it answers. No I/O but reading tables."""

from warmwatch.signals.signal import Decoded, Signal, decode
from warmwatch.signals.table import SignalTable, load_signal_file, standard_table

__all__ = ["Decoded", "Signal", "SignalTable", "decode", "load_signal_file", "standard_table"]
