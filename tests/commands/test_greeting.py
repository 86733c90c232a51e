"""What is said before a watch begins."""

from warmwatch.app.greeting import greeting
from warmwatch.app.keyboard.terminal import key_words, parse_keys
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.links import Address


def test_the_greeting_names_the_keys_as_they_are() -> None:
    """A key given another meaning by `--key` is never announced with its old one."""
    keys = key_words(parse_keys(["o=drip", "f13=plug-out"]))
    *_, said = greeting(Job(Band(80.0, 90.0)), Address("lines", "-", {}), None, keys=keys)
    assert "o drip" in said
    assert "f13 plug out" in said
    assert "o plug out" not in said


def test_without_a_keyboard_no_key_is_named() -> None:
    """Where nothing can be typed the greeting names no keys."""
    lines = greeting(Job(Band(80.0, 90.0)), Address("lines", "-", {}), None, keys=())
    assert not [line for line in lines if line.startswith("Keys")]
