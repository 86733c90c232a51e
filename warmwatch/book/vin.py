"""The vehicle identification number: its form after ISO 3779, and its check digit.

The form (17 characters; letters without I, O and Q) is ISO 3779's. The check digit in the ninth
place is required in North America only (49 CFR 565.15(c)), so that a number from elsewhere may be
right without one.
"""

import re
from enum import StrEnum

LENGTH = 17
CHECK_PLACE = 8
_FORM = re.compile(r"[A-HJ-NPR-Z0-9]{17}")
# 49 CFR 565.15, tables III (values of letters) and IV (weights of places).
_VALUES = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", "12345678123457923456789", strict=True))
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


class CheckDigit(StrEnum):
    """What the ninth place says: `absent` where no digit stands there that could be checked."""

    RIGHT = "right"
    WRONG = "wrong"
    ABSENT = "absent"


def clean(text: str) -> str:
    """Return the number without blanks and hyphens, in capitals; ValueError when it is none."""
    number = re.sub(r"[\s-]", "", text).upper()
    if not _FORM.fullmatch(number):
        raise ValueError(
            f"{text!r} is not a vehicle identification number: {LENGTH} letters and digits without "
            "I, O and Q are needed"
        )
    return number


def check_digit(number: str) -> str:
    """Return the digit (or X) that belongs into the ninth place of a clean number."""
    total = sum(
        int(_VALUES.get(char, char)) * weight for char, weight in zip(number, _WEIGHTS, strict=True)
    )
    return "0123456789X"[total % 11]


def checked(number: str) -> CheckDigit:
    """Return what the ninth place of a clean number says."""
    if number[CHECK_PLACE] not in "0123456789X":
        return CheckDigit.ABSENT
    return CheckDigit.RIGHT if number[CHECK_PLACE] == check_digit(number) else CheckDigit.WRONG


def shortened(number: str) -> str:
    """Return the number as it is shown: only its last four characters."""
    return f"…{number[-4:]}"
