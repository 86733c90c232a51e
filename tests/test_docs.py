"""The pages and the program agree: commands on the pages run, and what the program has is told."""

import re
import shlex
import tomllib
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import click
import pytest

from tests.make_commands_page import PAGE, commands, text
from warmwatch.commands.main import cli
from warmwatch.core.events import EventKind

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


def shown_commands() -> Iterator[tuple[str, str]]:
    """Yield (page, line) of every warmwatch command that stands in a block of code."""
    for page in PAGES:
        text = page.read_text(encoding="utf-8").replace("\\\n", " ")
        fenced = False
        for line in text.splitlines():
            fenced ^= line.lstrip().startswith("```")
            found = re.match(r"(?:    +|\$ +|)(?:\$ )?(warmwatch .*)", line)
            if found and (fenced or line.startswith("    ")):
                yield page.name, found[1]


SHOWN = sorted(set(shown_commands()))


def words_of(line: str) -> list[str]:
    """Return the words of a command without comment, pipe and redirection."""
    words = shlex.split(line, comments=True)
    for number, word in enumerate(words):
        if word in ("|", ">", "&&", ";", "2>&1"):
            return words[1:number]
    return words[1:]


@pytest.mark.parametrize(("page", "line"), SHOWN)
def test_a_command_on_a_page_is_understood(page: str, line: str) -> None:
    """Its name exists, its options exist, and its arguments are as many as it takes."""
    name, *arguments = [*words_of(line), ""]
    if not name or name.startswith("-"):
        return
    found = cli.get_command(click.Context(cli), name)
    assert found is not None, f"{page}: there is no warmwatch {name}"
    arguments = [word for word in arguments if word not in ("", "...", "…")]
    group = getattr(found, "commands", None)
    if isinstance(found, click.Group) and arguments:
        found = found.get_command(click.Context(found), arguments[0])
        assert found is not None, f"{page}: {line}"
        arguments = arguments[1:]
    assert group is None or found is not None
    context = click.Context(found, resilient_parsing=True, help_option_names=["-h", "--help"])
    found.make_parser(context).parse_args(list(arguments))


def test_enough_commands_were_found() -> None:
    """The pages show commands, and the test above sees them."""
    assert len(SHOWN) > 40


def test_the_page_of_commands_is_fresh() -> None:
    """`python -m tests.make_commands_page` writes just what stands in docs/commands.md."""
    assert PAGE.read_text(encoding="utf-8") == text()


def test_every_option_has_help() -> None:
    """No option stands in the help without a word about it."""
    bare = [
        f"{' '.join(words)} {parameter.opts[-1]}"
        for words, command in commands()
        for parameter in command.params
        if isinstance(parameter, click.Option) and not parameter.help
    ]
    assert bare == []


@pytest.mark.parametrize("kind", EventKind)
def test_every_event_is_on_the_page_of_the_watch(kind: EventKind) -> None:
    """docs/watch.md names every event."""
    assert f"`{kind}`" in (ROOT / "docs/watch.md").read_text(encoding="utf-8")


def test_links_between_pages_lead_somewhere() -> None:
    """Every relative link of a page names a file that is there."""
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            if "://" not in target:
                assert (page.parent / target).exists(), f"{page.name}: {target}"


def test_readme_begins_with_the_two_commands() -> None:
    """Its first command runs the demo, its second all tests; each is one line."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    first, second = re.findall(r"^    (\S.*)$", text, re.MULTILINE)[:2]
    assert first.endswith(".venv/bin/warmwatch demo")
    assert second.endswith(".venv/bin/pytest")
    assert second in (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()


def test_every_page_is_in_the_list() -> None:
    """README's list leads to every page that is for users."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    pages = {f"docs/{page.name}" for page in (ROOT / "docs").glob("*.md")}
    assert pages - set(re.findall(r"\((docs/[^)#]+)", text)) <= {"docs/dependencies.md"}


LICENCE = re.compile(r"\b(MIT|BSD|Apache|ISC|MPL|PSF|L?GPL)\b")


def test_every_dependency_has_its_licence() -> None:
    """A table of docs/dependencies.md names each library of pyproject.toml beside its licence."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lists = [project["dependencies"], *project["optional-dependencies"].values()]
    wanted = {re.split(r"[<>=;]", line)[0] for lines in lists for line in lines}
    page = (ROOT / "docs/dependencies.md").read_text(encoding="utf-8")
    rows = [line.split("|")[1:-1] for line in page.splitlines() if line.startswith("|")]
    beside = [pair for row in rows for pair in pairwise(row)]
    told = {name for cell, licence in beside if LICENCE.search(licence) for name in cell.split()}
    assert wanted - {name.strip(",") for name in told} == set()
