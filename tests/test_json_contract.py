"""Every command's --json is what docs/output.schema.json says, and says nothing else."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests.links.invented_table import TABLE
from warmwatch.commands.main import run
from warmwatch.core.steps import Step

ROOT = Path(__file__).parent.parent
SCHEMA = json.loads((ROOT / "docs" / "output.schema.json").read_text(encoding="utf-8"))
FROZEN = ROOT / "tests" / "recording" / "frozen" / "0.1"
CHECK = str(next((FROZEN / "check").glob("*.csv")))
WHAT_IF = ["fluid", "--what-if", "--capacity", "8 L"]
OUTPUTS = {
    "verify": ["verify", CHECK],
    "jobs": ["jobs", str(FROZEN / "check")],
    "fluid_what_if": [*WHAT_IF, "--pan-length", "300", "--pan-width", "250"],
    "fluid_fresh": ["fluid", "--fresh", "--capacity", "8 L", "--drain", "4 L"],
    "signals": ["signals"],
    "tones": ["tones"],
    "book": ["book"],
    "link": ["link", "csv:table.csv?elapsed_s=t&fluid_c=temp"],
    "learn": ["learn", str(ROOT / "recordings" / "single")],
    "compare": ["compare", str(ROOT / "recordings")],
}
"""What each command is run with; `--json` comes behind."""
SLOW = {"learn", "compare"}


def closed(part: Any) -> Any:
    """Return a schema that takes no member which it does not name."""
    if isinstance(part, list):
        return [closed(one) for one in part]
    if not isinstance(part, Mapping):
        return part
    made = {name: closed(value) for name, value in part.items()}
    if "properties" in part and "additionalProperties" not in part:
        made["unevaluatedProperties"] = False
    return made


def errors(name: str, found: object) -> list[str]:
    """Return what is wrong with an output."""
    strict = {**closed(SCHEMA), "$ref": f"#/$defs/{name}"}
    return [
        f"{error.json_path}: {error.message}"
        for error in Draft202012Validator(strict).iter_errors(found)
    ]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty home, with a table of an invented warm-up in it."""
    monkeypatch.setenv("WARMWATCH_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("WARMWATCH_CACHE", str(tmp_path / "cache.sqlite"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "table.csv").write_text(TABLE, encoding="utf-8")
    return tmp_path


def test_the_schema_is_one() -> None:
    """Valid by the rules of JSON Schema 2020-12, and each command's page names it."""
    Draft202012Validator.check_schema(SCHEMA)
    assert "output.schema.json" in (ROOT / "docs" / "json.md").read_text(encoding="utf-8")


def test_the_steps_are_those_of_the_core() -> None:
    """No step of the visit is missing in the schema, whether or not a test comes to it."""
    assert SCHEMA["$defs"]["step_name"]["enum"] == [str(step) for step in Step]


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=pytest.mark.slow) if n in SLOW else n for n in OUTPUTS]
)
def test_an_output_is_as_the_schema_says(
    name: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One object on stdout, every member of it named."""
    run([*OUTPUTS[name], "--json"])
    assert errors(name, json.loads(capsys.readouterr().out)) == []


@pytest.mark.slow
@pytest.mark.parametrize("source", [CHECK, "gaps", "table.csv"])
def test_every_line_of_a_watch_is_as_the_schema_says(
    source: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Readings, forecasts, events, marks, alarms and the summary."""
    link = str(next((FROZEN / source).glob("*.csv"))) if source == "gaps" else source
    columns = ["--column", "elapsed_s=t", "--column", "fluid_c=temp", "--band", "80:90"]
    words = [] if source != "table.csv" else columns
    assert run(["watch", link, "--json", "--quiet", "--no-record", *words]) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert {"reading", "forecast", "event", "summary"} <= {line["kind"] for line in lines}
    wrong = [errors(line["kind"], line) for line in lines]
    assert [one for one in wrong if one] == []


def test_the_test_would_notice() -> None:
    """A member that is missing, of another type, or not named."""
    mark = {"kind": "mark", "elapsed_s": 1.0, "mark": "plug-out", "note": ""}
    assert errors("mark", mark) == []
    for wrong in ({**mark, "note": None}, {**mark, "more": 1}, {"kind": "mark"}):
        assert errors("mark", wrong)
    assert errors("watch_line", mark) == []
