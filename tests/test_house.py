"""The house itself: imports go downward, the core stands alone, every command has help and docs."""

import ast
import os
import shutil
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest
from click.testing import CliRunner

from warmwatch.commands.main import COMMANDS, cli

ROOT = Path(__file__).parent.parent


def lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    command = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    return subprocess.run(
        [sys.executable, "-c", command, "--no-cache"],
        cwd=folder, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(folder)},
    )  # fmt: skip


def test_imports_go_downward() -> None:
    """The contracts in pyproject.toml hold."""
    ran = lint_imports(ROOT)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert " 0 broken" in ran.stdout


PLANTED = {
    "core/units.py": "import warmwatch.errors",
    "outputs/base.py": "import warmwatch.links.base",
    "links/base.py": "import warmwatch.analysis.learned",
    "words/events.py": "import warmwatch.links.base",
    "recording/rows.py": "import warmwatch.signals.obd",
    "demo/car.py": "import warmwatch.outputs.base",
    "app/session.py": "import warmwatch.commands.watch",
    "errors.py": "import warmwatch.core.units",
}
"""Upward and sideways imports, one for each wall."""


@pytest.mark.slow
@pytest.mark.parametrize("place", PLANTED)
def test_a_planted_import_breaks_the_contract(place: str, tmp_path: Path) -> None:
    """An import that goes upward or sideways is found wherever it is planted."""
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    house = shutil.copytree(
        ROOT / "warmwatch", tmp_path / "warmwatch", ignore=shutil.ignore_patterns("__pycache__")
    )
    source = house / place
    source.write_text(source.read_text(encoding="utf-8") + f"\n{PLANTED[place]}\n", "utf-8")
    ran = lint_imports(tmp_path)
    assert ran.returncode == 1
    assert " 1 broken" in ran.stdout or " 2 broken" in ran.stdout, ran.stdout


def test_no_import_goes_in_a_circle() -> None:
    """Also counting imports inside functions; CycleError names the circle."""
    found: dict[str, set[str]] = {}
    for path in (ROOT / "warmwatch").rglob("*.py"):
        names = [
            f"{node.module}{'.' + alias.name if inside else ''}"
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
            for inside in (False, True)
        ]
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        found[module.removesuffix(".__init__")] = set(names)
    del found["warmwatch"]  # it shows what others may import, from everywhere
    links = {name: (names & found.keys()) - {name} for name, names in found.items()}
    assert len(list(TopologicalSorter(links).static_order())) > 100


@pytest.mark.slow
@pytest.mark.timeout(400)
@pytest.mark.parametrize(
    "tool", [["mypy"], ["ruff", "check"], ["ruff", "format", "--check"]], ids=" ".join
)
def test_types_and_style_are_clean(tool: list[str]) -> None:
    """`mypy --strict` and `ruff`, as set in pyproject.toml, find nothing."""
    ran = subprocess.run(
        [sys.executable, "-m", *tool], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr


_PURE = {
    "bisect", "collections", "collections.abc", "dataclasses", "enum", "functools", "itertools",
    "importlib.resources", "json", "math", "numpy", "numpy.typing", "re", "sys", "typing",
}  # fmt: skip


def test_the_core_has_no_clock_no_thread_and_no_file() -> None:
    """Also inside functions, every import of the core is of itself or of what only computes."""
    for path in (ROOT / "warmwatch" / "core").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            others = {name for name in names if not name.startswith("warmwatch.core")}
            assert others <= _PURE, f"{path}: {others - _PURE}"


def test_the_core_needs_numpy_alone() -> None:
    """Of all installed packages the core loads numpy only: the forecast reckons with it."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); before = set(sys.modules)\n"
        "from warmwatch.core.watch import Watch\n"
        "from warmwatch.core.job import Job\n"
        "from warmwatch.core.band import Band\n"
        "from warmwatch.core.reading import Reading\n"
        "watch = Watch(Job(Band(80, 90)))\n"
        "told = [r for t in range(5) for r in watch.step(Reading(float(t), {'fluid_c': 85.0}))]\n"
        "print([r.kind.value for r in told if hasattr(r, 'kind')])\n"
        "loaded = [m for name, m in list(sys.modules.items()) if name not in before]\n"
        "files = [str(getattr(m, '__file__', '')) for m in loaded]\n"
        "parts = [f.replace(chr(92), '/').split('site-packages/') for f in files]\n"
        "print(sorted({p[1].split('/')[0] for p in parts if len(p) > 1}))"
    )
    ran = subprocess.run(
        [sys.executable, "-I", "-c", code, str(ROOT)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.split("\n")[:2] == ["['entered']", "['numpy']"]


@pytest.mark.slow
def test_nothing_but_mf4_logs_needs_asammdf() -> None:
    """No module of ours loads it: it takes a second, and who has it would wait at every start."""
    code = (
        "import importlib, pkgutil, sys, warmwatch\n"
        "for module in pkgutil.walk_packages(warmwatch.__path__, 'warmwatch.'):\n"
        "    if not module.name.endswith('__main__'): importlib.import_module(module.name)\n"
        "assert 'can.io.mf4' in sys.modules\n"
        "assert 'asammdf' not in sys.modules\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_and_a_page(name: str) -> None:
    """`warmwatch NAME --help` works, and some page in docs/ says how to use it."""
    ran = CliRunner().invoke(cli, [name, "--help"])
    assert ran.exit_code == 0, ran.output
    pages = [page.read_text(encoding="utf-8") for page in (ROOT / "docs").glob("*.md")]
    assert any(f"warmwatch {name}" in page for page in pages), f"no page shows warmwatch {name}"


def test_files_stay_small() -> None:
    """No source file grows past 300 lines, so that each keeps one reason to change.

    (A language's catalogue of phrases is data.)
    """
    long = {
        path.relative_to(ROOT).as_posix(): count
        for path in (ROOT / "warmwatch").rglob("*.py")
        if path.parent.name != "english"
        and (count := len(path.read_text(encoding="utf-8").splitlines())) > 300
    }
    assert long == {}
