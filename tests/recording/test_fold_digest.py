"""The fold's digest: over what the fold does, all of it and nothing else."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import warmwatch
from warmwatch.recording import fold

PACKAGE = Path(warmwatch.__file__).parent


def loaded_by_the_fold() -> set[str]:
    code = (
        "import sys, warmwatch\n"
        "before = set(sys.modules)\n"
        "import warmwatch.core.watch\n"
        "print(*[name for name in sys.modules if name[:10] == 'warmwatch.' and name not in before])"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True,
        cwd=PACKAGE.parent,
    )  # fmt: skip
    return set(ran.stdout.split())


def test_it_covers_exactly_what_the_fold_loads() -> None:
    """The modules found in the source are those that `import warmwatch.core.watch` brings."""
    assert set(fold.imported_modules(fold.FOLD)) == loaded_by_the_fold()


BEFORE = '''
"""What it is."""
LIMIT = 1.5  # the usual one
class A:
    """A class."""
    def f(self, x: float = 1e-3) -> str:
        """Say it."""
        return f"{x:.1f} é" if x > LIMIT else "no"
    def g(self) -> None:
        """Nothing."""
'''


def digest_text(source: str) -> str:
    return fold.source_text(ast.parse(source))


def test_comments_docstrings_and_layout_do_not_count() -> None:
    """What does the same is the same."""
    after = '''
LIMIT = (1.5)
class A:
    # A class, described otherwise.

    def f(self, x: float = 0.001) -> str:
        return (f"{x:.1f} é"
                if x > LIMIT
                else 'no')
    def g(self) -> None:
        """Nothing whatever."""
'''
    assert digest_text(BEFORE) == digest_text(after)


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("1.5", "1.6"),
        ("x > L", "x >= L"),
        ('"no"', '"No"'),
        ("1e-3", "1e-4"),
        (".1f", ".2f"),
        ("-> str", ""),
    ],
)
def test_what_is_done_counts(was: str, now: str) -> None:
    """Any number, comparison, text or default that changes gives another digest."""
    assert digest_text(BEFORE) != digest_text(BEFORE.replace(was, now))


def test_the_text_is_the_same_in_every_python() -> None:
    """Fields that came with later Pythons, and those left out when empty, are not in it.

    The text was written down from Python 3.11.
    """
    tree = ast.parse("def f[T](a): pass" if sys.version_info >= (3, 12) else "def f(a): pass")
    function = "FunctionDef(args=arguments(args=[arg(arg='a',),],),body=[Pass(),],name='f',)"
    assert fold.source_text(tree) == f"Module(body=[{function},],)"
