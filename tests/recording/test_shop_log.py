"""The shop's log: the tree against published roots; removing, exchanging, back-dating show."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.recording.invented import record
from warmwatch.errors import RecordingError
from warmwatch.recording.seal import tree
from warmwatch.recording.seal.key import ShopKey, make_key, sign_recording
from warmwatch.recording.seal.shop_log import (
    append,
    entry_of,
    held_against,
    note,
    noted_from_mapping,
    noted_to_mapping,
    read_log,
    signature_of,
    trouble,
)
from warmwatch.recording.seal.signature import Signature

TIME = "2026-06-02T03:04:05Z"
# The eight entries and their roots with which the implementations of RFC 6962 are tested (typed
# from memory; a wrong digit could not hold).
ENTRIES = [
    bytes.fromhex(text)
    for text in (
        "", "00", "10", "2021", "3031", "40414243", "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]  # fmt: skip
ROOTS = [
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]


@pytest.mark.parametrize("size", range(1, 9))
def test_the_roots_are_the_published_ones(size: int) -> None:
    """RFC 6962, section 2.1, with the entries that its implementations share."""
    assert tree.root(ENTRIES[:size]).hex() == ROOTS[size - 1]


@given(st.lists(st.binary(max_size=9), min_size=1, max_size=40), st.data())
def test_a_path_leads_to_the_root_and_no_other_entry_does(
    entries: list[bytes], data: st.DataObject
) -> None:
    """RFC 6962, section 2.1.1: a proof of inclusion holds for its entry, its place and its tree."""
    index = data.draw(st.integers(0, len(entries) - 1))
    way, size = tree.path(entries, index), len(entries)
    assert tree.root_by_path(entries[index], index, size, way) == tree.root(entries)
    assert tree.root_by_path(entries[index] + b"!", index, size, way) != tree.root(entries)
    assert len(way) <= max(0, (size - 1).bit_length())
    if way:
        with pytest.raises(ValueError, match="shorter"):
            tree.root_by_path(entries[index], index, size, way[:-1])
    with pytest.raises(ValueError, match="longer"):
        tree.root_by_path(entries[index], index, size, [*way, b"x" * 32])
    with pytest.raises(ValueError, match="no such line"):
        tree.root_by_path(entries[index], size, size, way)


@pytest.fixture
def shop(tmp_path: Path) -> tuple[Path, ShopKey, list[Signature]]:
    """A log of five signed recordings."""
    key, log, signed = make_key(tmp_path / "key.pem", "invented shop"), tmp_path / "log", []
    for n in range(5):
        path = record(tmp_path / str(n))
        sign_recording(path, key, f"2026-06-0{n + 1}T03:04:05Z")
        signature = signature_of(path)
        assert signature is not None
        append(log, signature)
        append(log, signature)  # once is enough
        signed.append(signature)
    return log, key, signed


@pytest.mark.slow
def test_what_is_noted_holds_and_comes_back(shop: tuple[Path, ShopKey, list[Signature]]) -> None:
    """Head and paths hold for the recordings of a proof, through JSON and for its signer alone."""
    log, key, signed = shop
    noted = note(read_log(log), signed[1:3], key)
    assert [index for index, _ in noted.lines] == [1, 2]
    again = noted_from_mapping(noted_to_mapping(noted))
    assert trouble(again, signed[1:3], key.fingerprint) == ""
    assert "not signed by" in trouble(again, signed[1:3], "0000-0000-0000-0000")
    assert "not in the shop's log" in trouble(again, [signed[1], signed[3]], key.fingerprint)
    assert "other recordings" in trouble(again, signed[1:2], key.fingerprint)
    assert "no log" in trouble(again, [signed[1], None], key.fingerprint)
    later = replace(again, head=replace(again.head, size=99))
    assert "not signed" in trouble(later, signed[1:3], key.fingerprint)


@pytest.mark.slow
def test_a_recording_removed_exchanged_or_dated_back_shows(
    shop: tuple[Path, ShopKey, list[Signature]],
) -> None:
    """The head that a customer holds does not fit a log that was changed afterwards."""
    log, key, signed = shop
    lines = read_log(log)
    head = note(lines, signed[4:], key).head
    assert held_against(head, lines) == ""
    assert held_against(head, [*lines, b"a later one"]) == ""
    assert "there were 5" in held_against(head, lines[:2] + lines[3:])
    dated = entry_of(replace(signed[2], time="2026-05-01T00:00:00Z"))
    exchanged = [*lines[:2], dated, *lines[3:]]
    moved = [lines[1], lines[0], *lines[2:]]
    for forged in (exchanged, moved):
        assert "not those" in held_against(head, forged)


@pytest.mark.slow
def test_a_torn_line_is_told(shop: tuple[Path, ShopKey, list[Signature]]) -> None:
    """After a power cut nothing is appended to half a line."""
    log, _, signed = shop
    log.write_bytes(log.read_bytes()[:-3])
    with pytest.raises(RecordingError, match="torn"):
        append(log, signed[0])
