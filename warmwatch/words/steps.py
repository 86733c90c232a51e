"""The step of the visit in one line: what to do now, with its caution, and what is waited for.

One order at a time. What insists, and what forbids the check, comes before any step. Where the step
is not about heat it is the order itself, in place of "Wait."; in a check, what is seen at the plug
is.
"""

from dataclasses import dataclass

from warmwatch.core.job import Job
from warmwatch.core.steps import Step
from warmwatch.words.catalogue import phrase, temperature
from warmwatch.words.events import band_text
from warmwatch.words.level import plug_texts
from warmwatch.words.view import View

_OF_HEAT = (Step.WARM_TO_DRAIN, Step.WARM_UP, Step.COOL_DOWN, Step.OPEN_PLUG)
"""Of these the state and the temperature ahead say enough: the step stands beside them."""


@dataclass(frozen=True, slots=True)
class StepLine:
    """What a screen says of the step: `act`, what to do, is empty where something else says it.

    `leads`: the act is the one order, in place of what the state alone would say.
    """

    act: str = ""
    waits: str = ""
    leads: bool = False

    @property
    def text(self) -> str:
        """The line below the state."""
        if self.act and not self.leads:
            return phrase("status.step", act=self.act, waits=self.waits)
        return phrase("status.waits", waits=self.waits) if self.waits else ""


def step_line(view: View) -> StepLine:
    """Return what is to be said of the step; nothing while something else comes first."""
    step, job = view.snapshot.step, view.job
    if not view.snapshot.step_allowed:
        return StepLine()
    waits = step_waits(step, job)
    if plug_texts(view):
        return StepLine(waits=waits)
    return StepLine(step_act(step, job), waits, leads=step not in _OF_HEAT)


def step_words(step: Step, view: View | None) -> str:
    """Return what is to be said when a step of the visit begins, while it lasts."""
    if view is None or view.snapshot.step is not step or not view.snapshot.step_allowed:
        return ""
    return (*plug_texts(view), step_act(step, view.job))[0]


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
