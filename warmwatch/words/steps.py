"""The step of the visit in one line: what to do now, with its caution, and what is waited for."""

from warmwatch.core.job import Job
from warmwatch.core.steps import Step
from warmwatch.words.catalogue import phrase, temperature
from warmwatch.words.events import band_text


def _values(job: Job) -> dict[str, str]:
    unit, drain = job.unit, job.drain_band
    return {
        "band": band_text(job.band, unit),
        "drain": "" if drain is None else band_text(drain, unit),
        "low": temperature(job.band.low_c, unit),
        "high": temperature(job.band.high_c, unit),
    }


def step_act(step: Step, job: Job) -> str:
    """Return what to do now, with its caution."""
    return phrase(f"step.{step}", **_values(job))


def step_waits(step: Step, job: Job) -> str:
    """Return what the tool waits for."""
    return phrase(f"waits.{step}", **_values(job))


def step_text(step: Step, job: Job) -> str:
    """Return what to do now, with its caution, and what is waited for."""
    return phrase("status.step", act=step_act(step, job), waits=step_waits(step, job))
