"""A link tried while the page looks on: on a thread of its own, its steps as they come."""

import threading
from collections.abc import Callable

from warmwatch.app.guide.here import Here
from warmwatch.app.guide.world import Answered
from warmwatch.app.visit.shop import Adapter
from warmwatch.errors import WarmwatchError
from warmwatch.links.address import Address
from warmwatch.links.trying.steps import FLUID, Step, StepState
from warmwatch.links.trying.trial import try_link
from warmwatch.words.catalogue import phrase

MOST_STEPS = 40
SECONDS = 6.0
NOT_TRIED: dict[str, object] = {"state": "none", "steps": []}


class Trial:
    """One trial of an adapter. `running` is true until its last step has come.

    What is at a port that nobody has named yet is found out first, in a harmless order: `found` is
    then what answered. `address` gives the address to try, with what the vehicle needs.
    """

    def __init__(self, adapter: Adapter, address: Callable[[Adapter], Address]) -> None:
        self.steps: list[Step] = []
        self.running = True
        self.found: Answered | None = None
        self._adapter, self._address = adapter, address
        threading.Thread(target=self._run, name="trial", daemon=True).start()

    @property
    def failed(self) -> bool:
        """Whether a step failed."""
        return any(step.state is StepState.FAILED for step in self.steps)

    def message(self) -> dict[str, object]:
        """Return what the page shows of it."""
        state = "running" if self.running else "failed" if self.failed else "ok"
        lines = [{"state": str(step.state), "text": _line(step)} for step in self.steps]
        if self.running:
            lines.append({"state": "running", "text": phrase("visit.trying")})
        return {"state": state, "steps": lines}

    def _run(self) -> None:
        try:
            adapter = self._recognised()
            if adapter is not None:
                for step in try_link(self._address(adapter), SECONDS):
                    self._take(step)
        except (WarmwatchError, OSError) as error:
            self._take(Step("trial", StepState.FAILED, str(error)))
        finally:
            self.running = False

    def _recognised(self) -> Adapter | None:
        """Return the adapter with an address, None when nothing answers at its socket."""
        adapter = self._adapter
        if adapter.address or adapter.socket is None:
            return adapter
        self.found = Here(self._take, lambda address, path: False).recognise(adapter.socket)
        if self.found is None:
            return None
        return Adapter(adapter.id, adapter.label, adapter.about, self.found.address)

    def _take(self, step: Step) -> None:
        if len(self.steps) < MOST_STEPS:
            self.steps.append(step)


def _line(step: Step) -> str:
    told = step.advice and step.state is not StepState.OK
    # Files and options are for the laptop; the guide there finds the fluid by questions.
    advice = phrase("visit.search") if step.name == FLUID and not step.doubt else step.advice
    after = phrase("visit.step-next", advice=advice) if told else ""
    return phrase("visit.step", name=step.name, seen=step.seen, next=after)
