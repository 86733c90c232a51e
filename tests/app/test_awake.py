"""Keeping the computer awake, and saying so."""

import pytest
import wakepy

from warmwatch.app.awake import AWAKE, NOT_AWAKE, kept_awake


def test_it_is_said_that_the_computer_is_kept_awake(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library's own switch for tests plays a system that lets itself be kept awake."""
    monkeypatch.setenv("WAKEPY_FAKE_SUCCESS", "1")
    told: list[str] = []
    with kept_awake(told.append):
        assert told == [AWAKE]


def test_it_is_said_when_it_cannot_be(monkeypatch: pytest.MonkeyPatch) -> None:
    """A way that fails is no reason to end: the watch runs, and the lid is named."""

    def broken(**options: object) -> None:
        raise OSError("no bus")

    monkeypatch.setattr(wakepy.keep, "running", broken)
    told: list[str] = []
    with kept_awake(told.append):
        assert told == [NOT_AWAKE]
    assert "lid" in NOT_AWAKE
