"""The soak's short version; the long one is `python -m tests.soak.soak`."""

import math
import sys
from pathlib import Path

import pytest

from tests.soak.soak import soak

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX"),
]


def test_watches_survive_random_faults_and_tell_no_wrong_value(tmp_path: Path) -> None:
    """All links for some seconds with faults: alive, true, told, verified.

    Memory is judged by the long version: some seconds are too few.
    """
    for figures in soak(13.0, pace=4.0, seed=11, folder=tmp_path, calm_s=(1.0, 3.0)):
        assert figures.faulty(growth=math.inf) == [], figures
        assert figures.faults
