"""Keeps an output that fails from taking the watch with it."""

from collections.abc import Callable

from warmwatch.outputs.base import Entry, Output, Summary
from warmwatch.words.view import View


class Guarded:
    """Passes everything on to an output until it fails; then tells why, once, and goes on."""

    def __init__(self, output: Output, tell: Callable[[str], None]) -> None:
        self._output: Output | None = output
        self._name = type(output).__name__
        self._tell = tell

    @property
    def output(self) -> Output | None:
        """The output, None once it failed and is no longer used."""
        return self._output

    @property
    def failed(self) -> bool:
        """Whether the output failed and is no longer used."""
        return self._output is None

    def take(self, entry: Entry) -> None:
        self._try(lambda output: output.take(entry))

    def show(self, view: View) -> None:
        self._try(lambda output: output.show(view))

    def close(self, summary: Summary) -> None:
        self._try(lambda output: output.close(summary))

    def _try(self, act: Callable[[Output], None]) -> None:
        if self._output is None:
            return
        try:
            act(self._output)
        except BrokenPipeError:
            self._output = None
            self._tell(f"Nobody reads the output any more ({self._name}): the watch goes on.")
        except Exception as error:
            self._output = None
            self._tell(f"An output failed ({self._name}: {error}): the watch goes on without it.")
