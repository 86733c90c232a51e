"""What the guide gives out, and takes back: questions and sentences, whoever shows them.

The guide is a generator: it yields a `Say` to be shown, or a `Question`, and is sent the answer.
A terminal drives it by prompts; a page can drive it by posts.
"""

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Any, TypeVar

from warmwatch.errors import UsageError, WarmwatchError


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer that is offered."""

    key: str
    text: str


@dataclass(frozen=True, slots=True)
class Say:
    """Something to be shown; `warn`: it must not be overlooked."""

    text: str
    warn: bool = False


def _any(text: str) -> str:
    return text


@dataclass(frozen=True, slots=True)
class Question:
    """One question. Enter, an empty answer, means `default`, which is "" where nothing does.

    With `check` an own text is an answer, too: it returns the text as the guide wants it and raises
    a WarmwatchError or ValueError with what is wrong. Without it only the choices are.
    """

    name: str
    text: str
    choices: tuple[Choice, ...] = ()
    default: str = ""
    check: Callable[[str], str] | None = None
    missing: str = "An answer is needed here."

    def answer(self, typed: str) -> str:
        """Return the answer that was typed: a choice's key, its number, or an own text.

        Raises UsageError, one sentence, for what is no answer.
        """
        text = " ".join(typed.split()) or self.default
        if not text:
            raise UsageError(self.missing)
        keys = [choice.key for choice in self.choices]
        for key in keys:
            if text.casefold() == key.casefold():
                return key
        if text.isdecimal() and 1 <= int(text) <= len(keys):
            return keys[int(text) - 1]
        if len(text) == 1 and (same := [k for k in keys if k[0].casefold() == text.casefold()]):
            return same[0]
        if self.check is None:
            raise UsageError(f"{text!r} is not one of the answers: type a number, or press Enter.")
        return self._checked(text)

    def _checked(self, text: str) -> str:
        assert self.check is not None
        try:
            return self.check(text)
        except WarmwatchError as error:
            raise UsageError(str(error)) from None
        except ValueError as error:
            raise UsageError(f"{error}.") from None


T = TypeVar("T")
Asked = Generator[Say | Question, str, T]
"""A part of the guide that returns a T."""

YES, NO = Choice("yes", "yes"), Choice("no", "no")


def drive(guide: Asked[T], ask: Callable[[Question], str], say: Callable[[Say], Any]) -> T:
    """Run a guide to its end with these two and return what it returns."""
    answer = ""
    try:
        wish = next(guide)
        while True:
            if isinstance(wish, Question):
                answer = ask(wish)
                wish = guide.send(answer)
            else:
                say(wish)
                wish = next(guide)
    except StopIteration as end:
        result: T = end.value
        return result
