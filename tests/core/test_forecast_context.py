"""What the vehicle does: drives with their halts, holds, and an engine that pulls away."""

from warmwatch.core.forecast.context import Context
from warmwatch.core.phase import Phase


def after(*ways: tuple[Phase, int]) -> tuple[Context, int]:
    """Return the context after so many seconds of each way, and the second it is."""
    context, now_s = Context(), 0
    for way, seconds in ways:
        for _ in range(seconds):
            context.step(float(now_s), way)
            now_s += 1
    return context, now_s


TOWN = ((Phase.DRIVING, 60), (Phase.IDLE, 10), (Phase.LOADED, 1)) * 5
"""At each junction the engine turns faster for a second before the vehicle moves."""


def test_pulling_away_is_no_hold() -> None:
    """Parked after a town drive, nothing of the drive is carried on as holds."""
    context, now_s = after(*TOWN, (Phase.DRIVING, 60), (Phase.IDLE, 100))
    assert not context.in_holds
    assert context.ahead().mix == {Phase.IDLE: 1.0}
    assert now_s - context.way_since_s == 100


def test_pulling_away_belongs_to_the_drive() -> None:
    """The second in which the engine turns faster is one of the drive, the third one is not."""
    pulling, _ = after((Phase.DRIVING, 60), (Phase.IDLE, 10), (Phase.LOADED, 1))
    assert pulling.in_drive
    held, _ = after((Phase.DRIVING, 60), (Phase.IDLE, 10), (Phase.LOADED, 3))
    assert not held.in_drive


def test_a_drive_ends_a_series_of_holds() -> None:
    """Held twice is a series, with its rests; after driving it is none."""
    holds = ((Phase.LOADED, 5), (Phase.IDLE, 60)) * 2
    series, now_s = after(*holds)
    assert series.in_holds
    assert series.way_since_s == 0.0
    assert now_s == 130
    driven, _ = after(*holds, (Phase.DRIVING, 30), (Phase.IDLE, 100))
    assert not driven.in_holds
