"""A link tried while the page looks on: on a thread of its own, its steps as they come."""

import threading

from warmwatch.errors import WarmwatchError
from warmwatch.links.address import Address
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.links.trying.trial import try_link

MOST_STEPS = 30
SECONDS = 6.0


class Trial:
    """One trial. `running` is true until its last step has come."""

    def __init__(self, address: Address) -> None:
        self.steps: list[Step] = []
        self.running = True
        self._address = address
        threading.Thread(target=self._run, name="trial", daemon=True).start()

    @property
    def failed(self) -> bool:
        """Whether a step failed."""
        return any(step.state is StepState.FAILED for step in self.steps)

    def message(self) -> dict[str, object]:
        """Return what the page shows of it."""
        state = "running" if self.running else "failed" if self.failed else "ok"
        lines = [
            {"state": str(step.state), "text": f"{step.name}: {step.seen}{_advice(step)}"}
            for step in self.steps
        ]
        if self.running:
            lines.append({"state": "running", "text": "trying, some seconds"})
        return {"state": state, "steps": lines}

    def _run(self) -> None:
        try:
            for step in try_link(self._address, SECONDS):
                if len(self.steps) < MOST_STEPS:
                    self.steps.append(step)
        except (WarmwatchError, OSError) as error:
            self.steps.append(Step("trial", StepState.FAILED, str(error)))
        finally:
            self.running = False


def _advice(step: Step) -> str:
    return f". Next: {step.advice}" if step.advice and step.state is not StepState.OK else ""


NOT_TRIED: dict[str, object] = {"state": "none", "steps": []}
