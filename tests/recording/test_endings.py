"""Every ending is in order, however early it comes."""

import sys
from pathlib import Path

import pytest

from tests.recording import endings

pytestmark = pytest.mark.slow


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
def test_every_ending_is_in_order(tmp_path: Path) -> None:
    """Some of the endings of docs/verify.md: no file, or a closed and intact recording."""
    found = endings.run(8, 3, tmp_path)
    assert set(found) <= endings.GOOD, found
