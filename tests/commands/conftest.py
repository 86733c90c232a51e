"""Running the command line in process."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from warmwatch.commands.main import run


@dataclass(frozen=True, slots=True)
class Ran:
    """What a run left behind."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture
def warmwatch(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Run:
    """Return a function that runs `warmwatch ARGUMENTS` in an empty folder."""
    monkeypatch.chdir(tmp_path)

    def call(*arguments: object) -> Ran:
        code = run([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return Ran(code, captured.out, captured.err)

    return call
