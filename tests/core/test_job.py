"""Jobs: limits that make sense, and a round trip through the sidecar's values."""

import json
import math

import pytest

from warmwatch.core.band import Band
from warmwatch.core.job import Job, job_from_mapping, job_to_mapping


def test_a_job_comes_back_from_its_mapping() -> None:
    """What the sidecar keeps is the whole job."""
    job = Job(Band(80.5, 90.0), vehicle="blue van", unit="F", lead_s=240.0, poll_s=0.5)
    assert job_from_mapping(json.loads(json.dumps(job_to_mapping(job)))) == job


def test_degf_typed_as_degc_is_asked_about() -> None:
    """A band above 150 degC is no check temperature, and the sentence says what to write."""
    with pytest.raises(ValueError, match="185F:203F"):
        Job(Band(185.0, 203.0))


@pytest.mark.parametrize("name", ["lead_s", "confirm_s", "blind_s", "hold_limit_s", "rest_s"])
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_no_limit_can_be_switched_off(name: str, value: float) -> None:
    """A limit of nothing or for ever is refused, by its name."""
    with pytest.raises(ValueError, match=name):
        job_from_mapping({"band": {"low_c": 80, "high_c": 90}, name: value})


@pytest.mark.parametrize(
    ("mapping", "named"),
    [
        ({}, "band"),
        ({"band": {"low_c": 80}}, "band"),
        ({"band": {"low_c": "80", "high_c": 90}}, "band"),
        ({"band": {"low_c": 80, "high_c": 90}, "blind_limit": 99}, "blind_limit"),
        ({"band": {"low_c": 80, "high_c": 90}, "lead_s": "3"}, "lead_s"),
        ({"band": {"low_c": 80, "high_c": 90}, "lead_s": True}, "lead_s"),
        ({"band": {"low_c": 80, "high_c": 90}, "vehicle": 5}, "vehicle"),
        ({"band": {"low_c": 80, "high_c": 90}, "unit": "K"}, "unit"),
    ],
)
def test_a_wrong_key_is_named(mapping: dict[str, object], named: str) -> None:
    """A misspelt limit is never silently without effect."""
    with pytest.raises(ValueError, match=named):
        job_from_mapping(mapping)
