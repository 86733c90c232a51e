"""The extended session is asked about at the terminal, with its caution."""

from pathlib import Path

import pytest

from tests.links.can_runs import FLUID_FILE, signal_file
from warmwatch.commands.extended import agreed
from warmwatch.links.address import Address, parse_address


@pytest.fixture
def address(tmp_path: Path) -> Address:
    """A link whose signal file needs the extended session of unit 7E1."""
    file = signal_file(tmp_path, FLUID_FILE, target="0x7E1", session='"extended"')
    return parse_address(f"can:x?interface=virtual&signals={file}")


@pytest.mark.parametrize(("answer", "given"), [(True, "yes"), (False, None)])
def test_it_is_used_only_after_a_yes(
    address: Address,
    answer: bool,
    given: str | None,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The caution names the unit, the standing vehicle and the way back; no is no."""
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("click.confirm", lambda *_, **__: answer)
    assert agreed(address).options.get("extended") == given
    caution = capsys.readouterr().err
    assert "extended session of 7E1 (10 03)" in caution
    assert "vehicle standing, selector in park" in caution


def test_nobody_at_the_terminal_is_no_agreement(
    address: Address, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a terminal nothing is asked and nothing agreed to; the link then says what to do."""
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    assert agreed(address) == address


def test_a_file_without_it_asks_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The usual signal file: no caution, no question."""
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    usual = parse_address(f"can:x?interface=virtual&signals={signal_file(tmp_path)}")
    assert agreed(usual) == usual
