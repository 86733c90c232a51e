"""Wall time of foreign files: as the file says it, or by --zone, or not at all."""

from pathlib import Path

import pytest

from warmwatch.core.reading import Reading
from warmwatch.errors import UsageError
from warmwatch.links import open_link, parse_address
from warmwatch.recording.rows import utc_text


def readings(path: Path, cells: list[str], options: str = "") -> list[Reading]:
    rows = [f"{cell},{50 + n}" for n, cell in enumerate(cells)]
    path.write_text("\n".join(["time,fluid_c", *rows]) + "\n", encoding="utf-8")
    link = open_link(parse_address(f"csv:{path}?{options}" if options else f"csv:{path}"))
    return [item for item in link.items() if isinstance(item, Reading)]


LOCAL = ["2026-03-01T10:00:00", "2026-03-01T10:00:05"]


@pytest.mark.parametrize(
    ("options", "wall"),
    [
        ("", ""),
        ("zone=UTC", "2026-03-01T10:00:00.000Z"),
        ("zone=%2B02:00", "2026-03-01T08:00:00.000Z"),
        ("zone=-0530", "2026-03-01T15:30:00.000Z"),
        ("zone=Europe/Lisbon", "2026-03-01T10:00:00.000Z"),
        ("zone=Asia/Tokyo", "2026-03-01T01:00:00.000Z"),
    ],
)
def test_a_time_without_a_zone_is_not_guessed(tmp_path: Path, options: str, wall: str) -> None:
    """The seconds between rows are the same in each case; offsets as in the IANA time zones."""
    first, second = readings(tmp_path / "x.csv", LOCAL, options)
    assert utc_text(first.utc_s) == wall
    assert (first.elapsed_s, second.elapsed_s) == (0.0, 5.0)


def test_a_zone_in_the_file_counts(tmp_path: Path) -> None:
    """Cells that name their zone need none, and `zone` changes nothing about them."""
    cells = ["2026-03-01T10:00:00+01:00", "2026-03-01T09:00:05Z"]
    for options in ("", "zone=Asia/Tokyo"):
        first, second = readings(tmp_path / "x.csv", cells, options)
        assert utc_text(first.utc_s) == "2026-03-01T09:00:00.000Z"
        assert second.elapsed_s == 5.0


def test_the_night_the_clocks_change_is_right_with_a_zone(tmp_path: Path) -> None:
    """29 March 2026 in Lisbon: 00:59:55 is followed by 02:00:00, five seconds later."""
    cells = ["2026-03-29T00:59:55", "2026-03-29T02:00:00"]
    _, second = readings(tmp_path / "x.csv", cells, "zone=Europe/Lisbon")
    assert second.elapsed_s == 5.0


def test_an_unknown_zone_is_told(tmp_path: Path) -> None:
    """With what to write instead."""
    with pytest.raises(UsageError, match=r"\+01:00"):
        readings(tmp_path / "x.csv", LOCAL, "zone=Middle/Earth")
