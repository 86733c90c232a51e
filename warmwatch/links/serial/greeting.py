"""The first words with a text adapter: at which speed it talks, and its name. No I/O."""

import re
from collections.abc import Generator, Sequence

from warmwatch.links.asking.silent import NotUnderstood
from warmwatch.links.serial.talk import Ask, Settle, Speed, Wish
from warmwatch.links.trying.steps import Step, StepState

_RESET_S = 2.0
_GREETING_S = (0.2, 0.7)


def greet(bauds: Sequence[int | None]) -> Generator[Wish, str | None, tuple[str, int | None]]:
    """Reset the adapter and return what it calls itself, and the speed at which it answered.

    Each speed is tried twice, the second time with a longer wait: an adapter may just have got its
    power. None leaves the port's speed alone.
    Raises LinkLost when nothing with a prompt answers.
    """
    heard = False
    for wait_s in _GREETING_S:
        for speed in bauds:
            if speed is not None:
                yield Speed(speed)
            text = yield Ask("ATE0", wait_s)
            if text is not None:
                yield Settle(0.1)
            if text is not None and _readable(text):
                return (yield from _name_of()), speed
            heard = heard or text is not None
    advice = "check its power and plug, and the speed (?baud=)"
    seen = "what answers is not a text adapter" if heard else "nothing answers with a prompt"
    yield Step("adapter answers", StepState.FAILED, seen, advice)
    raise NotUnderstood(f"The port is open, but {seen}: {advice}.")


def _name_of() -> Generator[Wish, str | None, str]:
    """Reset what has answered and return its name."""
    text = yield Ask("ATZ", _RESET_S)
    yield Settle(0.1)
    return _name(text) if text is not None and _readable(text) else ""


def _readable(text: str) -> bool:
    return all(sign.isprintable() or sign in "\r\n\t" for sign in text) and "\ufffd" not in text


def _name(text: str) -> str:
    """Return the last line of the greeting: what the adapter calls itself."""
    lines = [line.strip() for line in re.split(r"[\r\n]+", text)]
    named = [line for line in lines if line and line.upper() not in ("ATZ", "OK", "?")]
    return named[-1][:60] if named else ""
