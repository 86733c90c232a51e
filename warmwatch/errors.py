"""One tree of errors; each says in one sentence what happened and what to do.

WarmwatchError           exit 1
├── UsageError           exit 2  a wrong option, address, column, band or file name
├── LinkError            exit 1
│   ├── LinkLost                 the far end went away; reopened with back-off
│   └── LinkRefused              it cannot be opened at all, and waiting will not help
├── InputError           exit 1  a file that holds something else than it should
├── BookError            exit 1  the shop's book cannot be read, or cannot be changed
└── RecordingError       exit 1  a recording that cannot be written or read
"""


def printable(text: str) -> str:
    """Return the text without what would steer a terminal: a file's name or cell may hold it."""
    return "".join(char if char.isprintable() or char == "\n" else "?" for char in text)


def one_line(text: str) -> str:
    """Return the text so that it stays one line: what a file says must not look like our word."""
    return printable(text).replace("\n", "?")


class WarmwatchError(Exception):
    """The base: `str(error)` is the sentence shown to the user."""

    exit_code = 1

    def __init__(self, text: str = "") -> None:
        super().__init__(printable(text))


class UsageError(WarmwatchError):
    """The command was given something it cannot use."""

    exit_code = 2


class LinkError(WarmwatchError):
    """Something is wrong with the way readings come in."""


class LinkLost(LinkError):
    """The far end went away (cable, ignition, bus, port); opening it again may help."""


class LinkRefused(LinkError):
    """The link cannot be opened, and trying again will not help."""


class InputError(WarmwatchError):
    """A file holds something else than it should."""


class BookError(WarmwatchError):
    """The shop's book cannot be read or changed."""


class RecordingError(WarmwatchError):
    """A recording cannot be written or read."""
