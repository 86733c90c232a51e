"""Shows the guide on a terminal and takes the answers from its keyboard."""

import shutil
import textwrap

import click

from warmwatch.app.guide.asking import Question, Say
from warmwatch.errors import UsageError, printable
from warmwatch.links.trying.steps import Step, StepState


def ask(question: Question) -> str:
    """Ask until there is an answer, and return it."""
    click.echo()
    _say(question.text)
    width = max((len(choice.key) for choice in question.choices), default=0)
    for number, choice in enumerate(question.choices, 1):
        told = f"  {choice.text}" if choice.text != choice.key else ""
        click.echo(printable(f"  {number}  {choice.key:<{width}}{told}".rstrip()))
    prompt = f"[{printable(question.default)}] >" if question.default else ">"
    while True:
        typed: str = click.prompt(prompt, default="", show_default=False, prompt_suffix=" ")
        try:
            return question.answer(typed.encode("utf-8", "replace").decode("utf-8"))
        except UsageError as error:
            _say(str(error))


def say(told: Say) -> None:
    """Show a sentence; a warning stands out by its mark."""
    _say(f"! {told.text}" if told.warn else told.text)


def say_step(step: Step) -> None:
    """Show a step of a trial, and what to try next where it failed."""
    mark = "! " if step.state is StepState.FAILED else "  "
    advice = f"; next: {step.advice}" if step.advice else ""
    _say(f"{mark}{step.name}: {step.seen}{advice}")


def _say(text: str) -> None:
    width = max(40, shutil.get_terminal_size().columns - 1)
    click.echo(textwrap.fill(printable(text), width, break_on_hyphens=False))
