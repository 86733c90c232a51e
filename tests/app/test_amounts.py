"""What was understood of an amount is said at once, and what to put in first."""

from warmwatch.app.amounts import Amounts
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Mark, MarkName

C, F = Job(Band(80.0, 90.0)), Job(Band(80.0, 90.0), unit="F")


def test_after_draining_it_says_what_to_put_in_first() -> None:
    """4.2 L at 50 °C are 4.11 L at 20 °C (ASTM D1250, lubricating oils, 860 kg/m³)."""
    said = Amounts(C).answer(Mark(1.0, MarkName.DRAINED, "4.2 L 50"), None)
    assert said == "Understood: drained 4.20 L at 50 °C. Put in first: 4.11 L at 20 °C."


def test_a_fahrenheit_watch_understands_quarts_and_bare_degrees() -> None:
    """`drained 4 1/2 qt 113` in a °F watch is at 113 °F, and so is the answer's unit."""
    amounts = Amounts(F)
    said = amounts.answer(Mark(1.0, MarkName.DRAINED, "4 1/2 qt 113"), None)
    assert said == "Understood: drained 4.50 qt at 113 °F. Put in first: 4.42 qt at 68 °F."
    said = amounts.answer(Mark(2.0, MarkName.FILLED, "8 oz"), 60.0)
    assert said == "Understood: filled in 8.0 oz at 68 °F (no temperature given)."


def test_several_drains_add_up_and_a_withdrawn_one_does_not() -> None:
    """What is to be put in first follows what stands."""
    amounts = Amounts(C)
    amounts.answer(Mark(1.0, MarkName.DRAINED, "4 L 20"), None)
    assert "first: 5.00 L" in amounts.answer(Mark(2.0, MarkName.DRAINED, "1 L 20"), None)
    assert "first: 4.00 L" in amounts.answer(Mark(3.0, MarkName.WITHDRAW), None)
    assert amounts.answer(Mark(4.0, MarkName.DRIP), None) == ""
    assert amounts.answer(Mark(5.0, MarkName.DRAINED, "a lot"), None) == ""
