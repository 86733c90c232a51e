"""A kind of link is defined in one place: its record."""

import json
from pathlib import Path

import pytest

from tests.commands.conftest import Run, warmwatch
from tests.links.can_runs import signal_file
from warmwatch.links.kinds import KINDS, Kind
from warmwatch.links.trying import asking

__all__ = ["warmwatch"]
INVENTED = Kind(
    "memory",
    "a vehicle in memory",
    "warmwatch.links.asking.link",
    "remember better",
    transport="tests.links.invented_kind",
)


@pytest.fixture
def address(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> str:
    """An address of a kind that exists in this test only, by one record."""
    monkeypatch.setitem(KINDS, INVENTED.name, INVENTED)
    monkeypatch.setattr(asking, "TRY_POLLS_S", 0.5)
    return f"memory:bench?signals={signal_file(tmp_path, target='0x7E1')}"


def test_a_kind_defined_in_one_record_is_watched(warmwatch: Run, address: str) -> None:
    """`watch` reads it by the driver that all links share."""
    ran = warmwatch(
        "watch", address, "--band", "80:90", "--until", "1", "--no-record", "--json", "--quiet"
    )
    items = [json.loads(line) for line in ran.out.splitlines()]
    fluid = {item["fluid_c"] for item in items if "fluid_c" in item and item["kind"] == "reading"}
    assert fluid == {85.3}, ran.out + ran.err


@pytest.mark.slow
def test_a_kind_defined_in_one_record_is_tried_and_searched(warmwatch: Run, address: str) -> None:
    """`link` shows its steps, and the search asks through it."""
    ran = warmwatch("link", address)
    assert "ok      vehicle remembered      bench" in ran.out
    assert "ok      units that answer       7E8" in ran.out
    assert "ok      fluid temperature now   85.3 °C" in ran.out
    assert ran.code == 0
    fahrenheit = warmwatch("link", address, "--unit", "F")
    assert "fluid temperature now   185.5 °F" in fahrenheit.out
    found = warmwatch(
        "link", address, "--find-temperature", "1233:1235", "--unit-address", "7E1", "--yes",
        "--rate", 10, "--minutes", 0.02, "--json",
    )  # fmt: skip
    assert json.loads(found.out)["answered"] in ([], ["1234"])  # it never moves


def test_an_unknown_kind_names_all_of_them(warmwatch: Run, address: str) -> None:
    """The message lists the kinds that there are, also the new one."""
    ran = warmwatch("link", "memry:x")
    assert ran.code == 2
    assert "memory:" in ran.err
