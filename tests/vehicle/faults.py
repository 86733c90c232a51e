"""What the far end can be told to do wrong, and how its broadcast fluid rises."""

TALK_C_PER_S = 0.1
ON_THE_WIRE = ("off", "lost", "cut", "garbage", "noise", "foreign")
REFUSALS = {"refuse": 0x22, "locked": 0x33, "pending": 0x78, "unknown": 0x11, "gone": 0x31}
CONDUCT = ("busy", "slow")
"""Busy every second time; an answer that comes SLOW_S late."""
SLOW_S = 0.9
SPN_177_CODES = {"error": b"\x00\xfe", "absent": b"\xff\xff"}
CANNOT_ONLY_LISTEN = "cannot-only-listen"
"""An adapter that refuses to be opened for listening only."""
FAULTS = ("none", CANNOT_ONLY_LISTEN, *ON_THE_WIRE, *REFUSALS, *CONDUCT, *SPN_177_CODES)
