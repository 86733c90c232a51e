"""The worked page in docs/ shows what the program prints."""

import pytest

from tests.make_worked_comparison import PAGE, PICTURE, page


@pytest.mark.slow
def test_the_worked_page_is_fresh() -> None:
    """Every output on the page is what the program prints today; if not, make it anew."""
    assert PAGE.read_text(encoding="utf-8") == page(), "python -m tests.make_worked_comparison"


def test_the_picture_of_the_page_is_there() -> None:
    """The page shows the picture that its own script drew."""
    assert PICTURE.read_bytes().startswith(b"\x89PNG")
    assert f"pictures/{PICTURE.name}" in PAGE.read_text(encoding="utf-8")
