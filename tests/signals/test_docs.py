"""What docs/signals.md shows is what the program takes."""

import re
from pathlib import Path

import pytest

from warmwatch.errors import UsageError
from warmwatch.signals import decode
from warmwatch.signals.table import parse_signals
from warmwatch.signals.uds import records

TEXT = (Path(__file__).parents[2] / "docs" / "signals.md").read_text(encoding="utf-8")


def test_the_file_in_the_docs_gives_the_value_in_the_docs() -> None:
    """The example is valid, and its answer 62 12 34 03 55 is 85.3 degC."""
    (example,) = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
    (signal,) = parse_signals(example, "docs").signals
    record = records(bytes.fromhex("6212340355"), {0x1234: 2})[0x1234]
    assert decode(signal, record).value == 85.3


def test_every_key_is_described() -> None:
    """The table of keys has each key that a file may hold, and no other."""
    described = set(re.findall(r"`(\w+)`", "".join(re.findall(r"^\| (`.*?) \|", TEXT, re.M))))
    with pytest.raises(UsageError) as caught:
        parse_signals("[[signal]]\nnonsense = 1\n", "x")
    known = set(re.findall(r"\w+", str(caught.value).split("known are")[1]))
    assert described == known
