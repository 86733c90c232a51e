"""A busy bus: `python -m tests.peers.flood LINK RATE`, RATE frames a second, one in 200 the fluid.

What is sent is SAE J1939: 40 groups that nobody here reads, engine speed, and the fluid at 60 degC.
"""

import sys
import time
from pathlib import Path

from tests.peers.text_end import TextEnd

FLUID, ENGINE = 0x18FEF803, 0x0CF00400
SIXTY = bytes.fromhex("FFFFFFFFA029FFFF")
PERIOD, ENGINE_EVERY = 200, 20
BURST_S = 0.01


def main() -> None:
    """Send until killed, in bursts of BURST_S."""
    end, rate = TextEnd(Path(sys.argv[1])), float(sys.argv[2])
    began_s, sent = time.monotonic(), 0
    while True:
        due = int((time.monotonic() - began_s) * rate)
        for number in range(sent, due):
            if number % PERIOD == 0:
                end.send(FLUID, True, SIXTY)
            elif number % ENGINE_EVERY == 0:
                end.send(ENGINE, True, bytes.fromhex("FFFFFF8017FFFFFF"))
            else:
                end.send(0x18FE0000 + 256 * (number % 40) + 0x10, True, bytes(8))
        sent = due
        time.sleep(BURST_S)


if __name__ == "__main__":
    main()
