"""`watch demo:` as a stranger types it first."""

import pytest

from tests.commands.conftest import Run


@pytest.mark.slow
def test_the_invented_vehicle_brings_its_band_along(warmwatch: Run) -> None:
    """`watch demo:` needs no band, takes the scenario's, and one that is given wins."""
    for link, options, band in (
        ("demo:?pace=5000&minutes=1", (), "80 to 90 °C"),
        ("demo:?pace=5000&minutes=1&band=60:70", (), "60 to 70 °C"),
        ("demo:?pace=5000&minutes=1", ("--band", "75:85"), "75 to 85 °C"),
        ("demo:?pace=5000&minutes=1", ("--unit", "F"), "176 to 194 °F"),
    ):
        ran = warmwatch("watch", link, *options, "--quiet", "--no-record")
        assert ran.code == 0, ran.err
        assert f"for {band}" in ran.out


def test_a_wrong_band_of_the_demo_is_one_sentence(warmwatch: Run) -> None:
    """A band in the address that is none is wrong usage."""
    ran = warmwatch("watch", "demo:?band=warm", "--quiet", "--no-record")
    assert (ran.code, ran.err.count("\n")) == (2, 1)
