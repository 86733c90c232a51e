"""Slips in bands and job files are answered with the right form."""

from pathlib import Path

import pytest

from warmwatch.book.band_text import parse_band
from warmwatch.commands.options import read_job_file
from warmwatch.errors import UsageError


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("8:90", "C", "82 °C wide and it begins below room temperature"),
        ("8:90", "C", "write 8C:90C"),
        ("10:40", "C", "below room temperature"),
        ("30:100", "C", "70 °C wide"),
        ("17:194", "F", "177 °F wide"),
    ],
)
def test_an_odd_band_is_asked_about(text: str, unit: str, says: str) -> None:
    """A digit left out gives a band that no service information has: what to write is said."""
    with pytest.raises(UsageError, match=says):
        parse_band(text, unit)


@pytest.mark.parametrize("text", ["8C:90C", "80:90", "35:45", "29,5:50", "176F:194F", "86F:122F"])
def test_a_band_that_is_meant_goes_through(text: str) -> None:
    """Usual bands, and odd ones with both letters, are taken."""
    assert parse_band(text).low_c < parse_band(text).high_c


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("band = 80:90\n", "line 1, 'band = 80:90': write it as band = \"80:90\", with quotes"),
        ('band = "80:90"\n[check]\ntilt_deg = 0,3\n', "write it as tilt_deg = 0.3"),
        ("vehicle = van  # the old one\n", 'write it as vehicle = "van", with quotes'),
        ('band = "80:90\n', 'write it as band = "80:90", with quotes on both sides'),
        ("[fluid]\ncapacity = 9 qt\n", 'write it as capacity = "9 qt", with quotes'),
        ("nonsense\n", "it is not valid TOML"),
    ],
)
def test_a_slip_in_a_job_file_is_shown_right(tmp_path: Path, text: str, says: str) -> None:
    """The line is named, and how it is written right."""
    file = tmp_path / "job.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError) as raised:
        read_job_file(file)
    assert says in str(raised.value)
