"""A step of a link's trial as text."""

from warmwatch.links.trying.steps import Step
from warmwatch.words.reasons import doubt_text

_NAME_WIDTH = 22


def step_line(step: Step, unit: str = "C") -> str:
    """Return a step as one line, and what to try next as a second one; `unit` is "C" or "F"."""
    why = f": {doubt_text(step.doubt, unit)}" if step.doubt else ""
    line = f"{step.state:<8}{step.name:<{_NAME_WIDTH}}  {step.seen}{why}"
    return f"{line}\n{'':8}next: {step.advice.rstrip('.')}." if step.advice else line
