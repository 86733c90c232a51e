"""The vehicle identification number and its check digit."""

import pytest

from warmwatch.book import vin
from warmwatch.book.vin import CheckDigit

# The sample of 49 CFR 565.15(c)(5), table V (sum 411, remainder 4), and the one in the outline for
# new manufacturers of the agency that issues it (sum 314, remainder 6). Seventeen ones by hand:
# the weights add up to 89, and 89 modulo 11 is 1.
PUBLISHED = ["1G4AH59H45G118341", "1J9RP1A36A1644345", "1" * 17]


@pytest.mark.parametrize("number", PUBLISHED)
def test_published_examples(number: str) -> None:
    """The digit that the rule gives is the one that stands in published numbers."""
    assert vin.check_digit(number) == number[8]
    assert vin.checked(number) is CheckDigit.RIGHT


@pytest.mark.parametrize("place", [place for place in range(17) if place != 8])
def test_one_wrong_character_is_noticed(place: int) -> None:
    """A digit that is changed shows, at every place (modulo 11, weights 1 to 10)."""
    number = "1" * 17
    changed = number[:place] + "2" + number[place + 1 :]
    assert vin.checked(changed) is CheckDigit.WRONG


def test_elsewhere_the_ninth_place_may_be_a_letter() -> None:
    """ISO 3779 asks for no check digit; such a number is accepted and said to be unchecked."""
    assert vin.checked(vin.clean("XXXZZZ99ZTS392124")) is CheckDigit.ABSENT


@pytest.mark.parametrize("text", ["", "1" * 16, "1" * 18, "I" + "1" * 16, "Q" * 17, "é" * 17])
def test_what_is_no_number_is_refused(text: str) -> None:
    """17 characters, and never I, O or Q (ISO 3779)."""
    with pytest.raises(ValueError, match="vehicle identification number"):
        vin.clean(text)


def test_it_is_shown_shortened() -> None:
    """Only the last four characters are shown, and it is cleaned of blanks and small letters."""
    assert vin.shortened(vin.clean(" 1j9rp1a3 6a1-644345 ")) == "…4345"
