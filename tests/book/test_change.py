"""Changing the book: comments kept, nothing lost, nothing half-written."""

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from warmwatch.book.book import read_book
from warmwatch.book.change import check_writable, remove, set_texts
from warmwatch.errors import BookError, UsageError

ROOT = Path(__file__).parents[2]
BY_HAND = """\
# our shop, please keep this line
version = 1

[adapters]
blue = { address = "serial:COM5", usb = "A1" }   # the one in the drawer

[vehicles."white van"]
band = "80:90"            # page 12
band_source = "service information"

[shop]
unit = "C"

[vehicles."Übergröße"]   # out of order on purpose
vehicle_note = "?"
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "home" / "book.toml"


def write(path: Path, text: str) -> str:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="")
    return text


def test_comments_and_order_are_kept(path: Path) -> None:
    """A change touches only the line it is about."""
    text = write(path, BY_HAND.replace("vehicle_note", "notes"))
    set_texts("white van", {"band": "185F:203F"}, path)
    assert path.read_text(encoding="utf-8") == text.replace('"80:90"', '"185F:203F"')


def test_line_ends_of_an_editor_on_windows_are_kept(path: Path) -> None:
    """A file with CRLF and a byte order mark is read, and stays a file with CRLF."""
    write(path, '\ufeffversion = 1\r\n[vehicles.van]\r\nband = "80:90"\r\n')
    set_texts("van", {"band": "70C:80C"}, path)
    assert path.read_bytes() == b'version = 1\r\n[vehicles.van]\r\nband = "70C:80C"\r\n'


@pytest.mark.parametrize("label", ["white van", "blue", "Übergröße", "new one", "shop"])
def test_every_layout_that_toml_allows_can_be_changed(path: Path, label: str) -> None:
    """Inline tables and tables out of order: what is set is read back, the rest stays."""
    write(path, BY_HAND.replace("vehicle_note", "notes"))
    before = tomllib.loads(path.read_text(encoding="utf-8"))
    key = "name" if label == "shop" else "notes"
    set_texts(label, {key: "seen"}, path)
    after = tomllib.loads(path.read_text(encoding="utf-8"))
    found = read_book(path).needed(label)
    assert found.values[key] == "seen"
    part = after[found.section] if label == "shop" else after[found.section][label]
    del part[key]
    if label == "new one":
        del after["vehicles"][label]
    if label == "Übergröße":
        del before["vehicles"][label]["notes"]
    assert after == before


@settings(max_examples=25)
@given(label=st.text(min_size=1, max_size=20), note=st.text(max_size=30))
def test_any_label_is_kept_or_refused(
    label: str, note: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Whatever a person types: it is found again by the same spelling, or refused in a sentence."""
    path = tmp_path_factory.mktemp("home") / "book.toml"
    try:
        entry = set_texts(label, {"band": "80:90", "notes": note}, path)
    except UsageError:
        assert not path.exists()
        return
    found = read_book(path).needed(label)
    assert found == entry or entry.label == "shop"
    assert found.text("notes") == note.strip()


@pytest.mark.parametrize(
    ("texts", "told"),
    [
        ({"bnad": "80:90"}, "bnad"),
        ({"band": "90:80"}, "90:80"),
        ({"band": "80"}, "band"),
        ({"unit": "K"}, "unit"),
        ({"capacity_l": "many"}, "capacity_l"),
        ({"capacity_l": "900"}, "capacity_l"),
        ({"capacity_l": "nan"}, "capacity_l"),
        ({"vin": "12345"}, "vin"),
        ({"tilt_limit_deg": "-1"}, "tilt_limit_deg"),
        ({"notes": "fine", "density_kg_m3": "3"}, "density_kg_m3"),
        ({"band": "185:203", "unit": "C"}, "185"),
        ({"fluid_ceiling_c": "-5"}, "fluid_ceiling_c"),
    ],
)
def test_a_wrong_value_leaves_the_file_as_it_was(
    path: Path, texts: dict[str, str], told: str
) -> None:
    """Every wrong key or value is refused by its name, also beside good ones."""
    text = write(path, BY_HAND.replace("vehicle_note", "notes"))
    with pytest.raises(UsageError, match=told):
        set_texts("white van", texts, path)
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("version = 1\nband = 80:90\n", r"line 2, column 10"),
        ('[vehicles.van]\nband = "80:90"\nband = "70:80"\n', r"line 3"),
        ("version = 2\n", "newer warmwatch"),
        ("[vehicles.van]\nbnad = 1\n", "bnad"),
    ],
)
def test_what_cannot_be_read_is_told_and_left_alone(path: Path, text: str, told: str) -> None:
    """A broken file is told with line and column, a newer one kindly; neither is written over."""
    write(path, text)
    with pytest.raises(BookError, match=told):
        set_texts("van", {"notes": "x"}, path)
    assert path.read_text(encoding="utf-8") == text


def test_text_that_is_no_utf8_is_told_with_its_line(path: Path) -> None:
    """A file saved as UTF-16 or Latin-1 is named as such, not read as something else."""
    write(path, "")
    path.write_bytes(b"version = 1\n# caf\xe9\n")
    with pytest.raises(BookError, match="line 2"):
        read_book(path)


def test_a_bare_band_gets_the_letter_of_its_unit(path: Path) -> None:
    """What was typed in one unit never turns into the other when the shop's unit changes."""
    set_texts("shop", {"unit": "F"}, path)
    set_texts("van", {"band": "185:203", "drain_band": "100:120"}, path)
    set_texts("shop", {"unit": "C"}, path)
    van = read_book(path).needed("VAN")
    assert (van.text("band"), van.text("drain_band")) == ("185F:203F", "100F:120F")


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """Where no folder can be made the sentence names WARMWATCH_HOME."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(BookError, match="WARMWATCH_HOME"):
        set_texts("van", {"notes": "x"}, tmp_path / "file" / "book.toml")


def test_a_folder_without_permission_is_told_beforehand(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before anybody answers ten questions in vain; the nearest folder that exists decides."""
    asked: list[Path] = []

    def access(place: Path, mode: int) -> bool:
        asked.append(place)
        return False

    check_writable(path)
    monkeypatch.setattr("os.access", access)
    with pytest.raises(BookError, match="WARMWATCH_HOME"):
        check_writable(path)
    assert asked == [path.parent.parent]


def test_a_link_to_the_file_stays_one(path: Path, tmp_path: Path) -> None:
    """A book kept elsewhere (a shared folder) is changed there."""
    real = tmp_path / "shared.toml"
    write(real, "version = 1\n")
    path.parent.mkdir()
    path.symlink_to(real)
    set_texts("van", {"notes": "x"}, path)
    assert path.is_symlink()
    assert "van" in real.read_text(encoding="utf-8")


def test_removing(path: Path) -> None:
    """What is removed is gone, its neighbours and comments stay; the shop's part cannot go."""
    write(path, BY_HAND.replace("vehicle_note", "notes"))
    remove("WHITE van", path)
    assert list(read_book(path).vehicles) == ["Übergröße"]
    assert "# the one in the drawer" in path.read_text(encoding="utf-8")
    with pytest.raises(UsageError):
        remove("shop", path)
    with pytest.raises(UsageError, match="blue"):
        remove("bleu", path)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="kills by POSIX signals")
def test_two_writers_lose_nothing(path: Path) -> None:
    """One of two writers is killed 50 times: all that was reported as done is in the book."""
    ran = subprocess.run(
        [sys.executable, "-m", "tests.book.two_writers", str(path), "50"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    told = json.loads(ran.stdout)
    assert set(told["promised"]) <= set(told["kept"])
    writers = {label.partition("-")[0] for label in told["promised"]}
    assert writers == {"first", "steady", *(f"victim{number}" for number in range(50))}
