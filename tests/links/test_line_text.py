"""Lines of text: how they are split, and why one is refused."""

import pytest

from warmwatch.links.line_text import (
    MAX_LINE,
    LineFormat,
    LineSplitter,
    UnreadableLine,
    read_line,
)


def test_a_cut_line_says_why_it_is_unreadable() -> None:
    """A line past the limit counts as garbage, and the reason names its length."""
    splitter = LineSplitter(skip_first=False)
    told = [*splitter.receive(b"9" * (MAX_LINE + 1) + b"\n"), *splitter.receive(b"21.5\n")]
    assert told[-1] == "21.5"
    with pytest.raises(UnreadableLine, match="longer than"):
        read_line(told[0], LineFormat())
