"""The command line in a shop whose ports are the links in a folder.

    python -m tests.guide.shop FOLDER [ARGUMENTS]

A stand-in's pseudo-terminal is no port that the system lists; here each symbolic link in FOLDER is
one, `NAME` or `NAME@USBNUMBER`, and disappears when it is taken away, as a plug is.
"""

import sys
from pathlib import Path

from warmwatch.links import byte_port


def ports(folder: Path) -> list[byte_port.PortSeen]:
    """Return the links in the folder as ports of this computer."""
    found = sorted(path for path in folder.iterdir() if path.is_symlink() and path.exists())
    return [byte_port.PortSeen(str(p), "", p.name.partition("@")[2]) for p in found]


def main() -> None:
    """Run warmwatch with the ports of the folder."""
    folder = Path(sys.argv[1])
    byte_port.ports_seen = lambda: ports(folder)
    byte_port.PortOpener.__init__.__defaults__ = ("", byte_port.ports_seen)
    from warmwatch.app.guide import here
    from warmwatch.commands.main import run
    from warmwatch.links.trying import finding

    finding.ports_seen = byte_port.ports_seen  # type: ignore[attr-defined]
    here.can_sockets = list  # type: ignore[attr-defined]
    sys.exit(run(sys.argv[2:]))


if __name__ == "__main__":
    main()
