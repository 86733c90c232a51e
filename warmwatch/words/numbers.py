"""Whole numbers in words, for the voice."""

from warmwatch.words.catalogue import phrase


def number_words(number: int) -> str:
    """Return a whole number from -999 to 999 in words, as in `one hundred and eighty-six`."""
    if number < 0:
        return phrase("number.minus", words=number_words(-number))
    if number < 100:
        return _below_hundred(number)
    hundreds, rest = divmod(number, 100)
    words = phrase("number.hundred", words=number_words(hundreds))
    return words + (phrase("number.and", words=_below_hundred(rest)) if rest else "")


def _below_hundred(number: int) -> str:
    ones = phrase("number.ones").split(" ")
    if number < len(ones):
        return ones[number]
    tens, one = divmod(number, 10)
    word = phrase("number.tens").split(" ")[tens - 2]
    return phrase("number.compound", tens=word, one=ones[one]) if one else word
