"""The adapter's end of a serial cable: python-can's slcan text on a pseudo-terminal."""

import os
import pty
import select
import tty
from pathlib import Path


class TextEnd:
    """A pseudo-terminal with the name `link`; frames go out as lines, commands are agreed to."""

    def __init__(self, link: Path) -> None:
        self._fd, self._far = pty.openpty()
        tty.setraw(self._fd)
        tty.setraw(self._far)
        os.symlink(os.ttyname(self._far), link)
        self._opened = False
        print("ready", flush=True)

    def send(self, can_id: int, wide: bool, data: bytes) -> None:
        """Put one frame on the wire, once the far side has opened the bus."""
        self._agree()
        if self._opened:
            head = f"T{can_id:08X}" if wide else f"t{can_id:03X}"
            os.write(self._fd, f"{head}{len(data)}{data.hex().upper()}\r".encode("ascii"))

    def _agree(self) -> None:
        while select.select([self._fd], [], [], 0)[0]:
            text = os.read(self._fd, 4096)
            self._opened = self._opened or b"O" in text or b"L" in text
            os.write(self._fd, b"\r" * text.count(b"\r"))
