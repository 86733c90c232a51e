"""A plugin of pytest: the quickest tests run first, so that most changes are noticed in seconds.

The file that TIMES names holds how long each test took. Where there is none yet, the run writes it.
"""

import json
import os
from pathlib import Path

import pytest

TIMES = "WARMWATCH_MUTATION_TIMES"


def pytest_configure(config: pytest.Config) -> None:
    """Sort by the times of an earlier run, or take them."""
    file = Path(os.environ[TIMES])
    config.pluginmanager.register(_Sort(file) if file.exists() else _Take(file))


class _Sort:
    def __init__(self, file: Path) -> None:
        self._took_s: dict[str, float] = json.loads(file.read_text(encoding="utf-8"))

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items.sort(key=lambda item: self._took_s.get(item.nodeid, 0.0))


class _Take:
    def __init__(self, file: Path) -> None:
        self._file = file
        self._took_s: dict[str, float] = {}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        before_s = self._took_s.get(report.nodeid, 0.0)
        self._took_s[report.nodeid] = round(before_s + report.duration, 2)

    def pytest_sessionfinish(self) -> None:
        self._file.write_text(json.dumps(self._took_s), encoding="utf-8")
