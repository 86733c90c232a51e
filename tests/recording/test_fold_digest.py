"""The fold's digest: over what the fold does, all of it and nothing else."""

import ast
import shutil
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


@pytest.mark.slow
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


KEPT = """
import ast, pathlib, warmwatch
from warmwatch.recording import fold

home = pathlib.Path(warmwatch.__file__).parent
heat = home / "core" / "heat.py"
parsed = []
parse = ast.parse
ast.parse = lambda source: (parsed.append(1), parse(source))[1]

def digest():
    fold.code_digest.cache_clear()
    parsed.clear()
    return fold.fold_digest(), bool(parsed)

first, again = digest(), digest()
was = heat.read_bytes()
heat.write_bytes(was + b"# said otherwise\\n")
commented = digest()
heat.write_bytes(was.replace(b"COOLANT_FRESH_S = 30.0", b"COOLANT_FRESH_S = 31.0"))
changed, changed_again = digest(), digest()
heat.write_bytes(was)
(home / "core" / "extra.py").write_text("")
added = digest()
kept = next((home / "recording").rglob("*.digests.json"))
kept.write_text("[1]")
spoilt = digest()
assert first[1] and again == (first[0], False), (first, again)
assert commented == first and spoilt == first and added == first, (commented, spoilt, added)
assert changed[1] and changed[0] != first[0] and changed_again == (changed[0], False)
"""


@pytest.mark.slow
def test_a_kept_digest_is_used_for_the_very_same_bytes_only(tmp_path: Path) -> None:
    """A digest is not worked out twice, and anew once a byte or a module's name has changed."""
    shutil.copytree(
        PACKAGE, tmp_path / "warmwatch", ignore=shutil.ignore_patterns("__pycache__", "page")
    )
    subprocess.run([sys.executable, "-c", KEPT], check=True, cwd=tmp_path)
