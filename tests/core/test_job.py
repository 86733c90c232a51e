"""Jobs: limits that make sense, and a round trip through the sidecar's values."""

import json
import math
import re
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import pytest

from warmwatch.core.band import Band
from warmwatch.core.job import Job, job_from_mapping, job_to_mapping
from warmwatch.core.level.rules import CheckRules

PAGE = Path(__file__).parents[2] / "docs" / "job-file.md"


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


def _as_documented() -> list[tuple[str, str]]:
    """Return (key, value unless given) from the tables of the page."""
    found: list[tuple[str, str]] = []
    for keys, value in re.findall(r"^\| (`[^|]*`) \| ([^|]*) \|", PAGE.read_text("utf-8"), re.M):
        names, values = re.findall(r"`(\w+)`", keys), value.split(", ")
        values = values * len(names) if len(values) == 1 else values
        found += zip(names, values, strict=False)
    return found


def test_what_holds_unless_given_is_what_the_page_says() -> None:
    """docs/job-file.md names the value of each limit of the job and of its check."""
    told, job, rules = dict(_as_documented()), Job(Band(80.0, 90.0)), CheckRules()
    numbers = {name: float(value) for name, value in told.items() if re.fullmatch(r"[\d.]+", value)}
    assert len(numbers) >= 13
    for name, value in numbers.items():
        assert getattr(job if hasattr(job, name) else rules, name) == value, name
    for name in (name for name, value in told.items() if value == "false"):
        assert getattr(rules, name) is False


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"lead_s": 0.1}, ""),
        ({"deadband_c": 0.0}, ""),
        ({"deadband_c": -0.1}, "deadband_c"),
        ({"deadband_c": math.nan}, "deadband_c"),
        ({"fluid_ceiling_c": math.inf}, "fluid_ceiling_c"),
        ({"blind_s": 60.0}, ""),
        ({"blind_s": 60.1}, "blind_s"),
        ({"band": Band(80.0, 150.0)}, ""),
        ({"band": Band(80.0, 150.1)}, "hotter"),
        ({"band": Band(-39.0, 20.0)}, ""),
        ({"band": Band(-39.1, 20.0)}, "colder"),
    ],
)
def test_a_job_has_its_limits(change: dict[str, Any], named: str) -> None:
    """A minute of silence, a band that a sensor can send and that is no degF; figures are ours."""
    with pytest.raises(ValueError, match=named) if named else nullcontext():
        Job(**{"band": Band(80.0, 90.0), **change})


@pytest.mark.parametrize(
    ("poll_s", "limit_s"), [(None, 5.0), (1.6, 5.0), (2.0, 6.0), (20.0, 60.0), (30.0, 60.0)]
)
def test_a_slow_link_may_be_silent_for_three_polls(poll_s: float | None, limit_s: float) -> None:
    """docs/watch.md: 5 s, or three poll periods of a slow link; a minute at most."""
    assert Job(Band(80.0, 90.0), poll_s=poll_s).blind_limit_s == pytest.approx(limit_s)
