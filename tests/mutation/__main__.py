"""`python -m tests.mutation [--count N] [--seed N] [ROOM ...]`: how many changes do tests notice?

Draws changes at random from the core and the seal, makes each in a copy of the checkout, and runs
the tests of that room, the quickest first. A change that no test notices is printed; whether it
changes anything for a user has to be judged by a person. `tests/mutation/equivalent.txt` keeps
those judged to change nothing, one `file: change` a line.
"""

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from queue import SimpleQueue

from tests.mutation.mutants import Mutant, mutant, places
from tests.mutation.quickest_first import TIMES

ROOT = Path(__file__).parent.parent.parent


def _files(pattern: str) -> tuple[str, ...]:
    return tuple(sorted(str(path.relative_to(ROOT)) for path in ROOT.glob(pattern)))


EXAMPLES = "tests/test_api.py::test_the_examples_in_docstrings_are_true"
_SEAL = (
    "anchor", "bounds", "checkpoint", "fold_digest", "frozen", "key", "privacy", "seal_edges",
    "seal_files", "seal_told", "shop_log", "verify", "when",
)  # fmt: skip
TESTS = {
    "warmwatch/core/forecast": (*_files("tests/core/test_forecast*.py"), EXAMPLES),
    "warmwatch/core": ("tests/core", "--ignore-glob=*test_forecast*", EXAMPLES),
    "warmwatch/recording/seal": (
        *(f"tests/recording/test_{name}.py" for name in _SEAL),
        "tests/outputs/test_proof.py",
        "tests/outputs/test_proof_page.py",
        "tests/outputs/test_pades.py",
    ),
    "warmwatch/links": ("tests/links",),
}
"""The tests that should notice a change in a room; a file belongs to the first that it lies in."""
LONGEST_TEST_S = 60
"""A test that takes longer, in a loop that a change made endless, has noticed it."""
DEFAULT = ["warmwatch/core", "warmwatch/core/forecast", "warmwatch/recording/seal"]
EQUIVALENT = Path(__file__).with_name("equivalent.txt")


@dataclass(frozen=True, slots=True)
class Drawn:
    """One change: the file it is in, the tests that should notice, and the change itself."""

    file: str
    tests: tuple[str, ...]
    mutant: Mutant

    @property
    def name(self) -> str:
        """How the list of changes without effect names it."""
        return f"{self.file}: {self.mutant.what}"


def draw(rooms: list[str], count: int, seed: int) -> Iterator[Drawn]:
    """Yield changes drawn at random, the same for the same seed and source."""
    known = set(EQUIVALENT.read_text(encoding="utf-8").splitlines())
    all_places = [
        (path, TESTS[room], index)
        for room in rooms
        for path in sorted((ROOT / room).rglob("*.py"))
        if room_of(str(path.relative_to(ROOT))) == room
        for index in range(places(path.read_text(encoding="utf-8")))
    ]
    chosen = random.Random(seed)
    chosen.shuffle(all_places)
    drawn = (
        Drawn(str(path.relative_to(ROOT)), tests, mutant(path.read_text(encoding="utf-8"), index))
        for path, tests, index in all_places
    )
    yield from islice((one for one in drawn if one.name not in known), count)


def room_of(file: str) -> str:
    """Return the room that a file belongs to."""
    return next(room for room in TESTS if file.startswith(room))


QUICK = ("-m", "not slow")


def fails(tests: tuple[str, ...], copy: Path, limit_s: float | None = None) -> bool:
    """Run tests in a copy of the checkout; True as well when they do not end in time."""
    command = [
        sys.executable, "-m", "pytest", "-p", "tests.mutation.quickest_first", "-x", "-q",
        "-n", "0", "--timeout", str(LONGEST_TEST_S), *tests,
    ]  # fmt: skip
    times = str(copy.parent / f"{'+'.join(tests).replace('/', '.').replace(' ', '-')}.times"[-200:])
    try:
        ran = subprocess.run(
            command, cwd=copy, capture_output=True, check=False, timeout=limit_s,
            env={"PATH": "/usr/bin:/bin", "PYTHONPATH": str(copy), TIMES: times},
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return True
    if ran.returncode != 0 and limit_s is None:
        print(ran.stdout.decode()[-3000:])
    return ran.returncode != 0


def limits(drawn: list[Drawn], copy: Path) -> dict[tuple[str, ...], float]:
    """Return how long each set of tests may take: several times what it takes with no change."""
    found = {}
    for tests in {one.tests for one in drawn}:
        began_s = time.monotonic()
        if fails(tests, copy):
            sys.exit(f"{' '.join(tests)}: fails without any change; mend that first.")
        found[tests] = 60.0 + 4.0 * (time.monotonic() - began_s)
    return found


def noticed(drawn: Drawn, copy: Path, limit_s: float) -> bool:
    """Make the change in a copy of the checkout and say whether a test fails."""
    target = copy / drawn.file
    before = target.read_text(encoding="utf-8")
    target.write_text(drawn.mutant.source, encoding="utf-8")
    try:
        return fails(drawn.tests, copy, limit_s)
    finally:
        target.write_text(before, encoding="utf-8")


def judged(drawn: list[Drawn], folder: Path, workers: int) -> Iterator[tuple[Drawn, bool]]:
    """Yield each change and whether a test noticed it; each worker has a copy of its own."""
    copies: SimpleQueue[Path] = SimpleQueue()
    for number in range(workers):
        copies.put(_copied(folder / str(number)))
    limit_s = limits(drawn, folder / "0")

    def tried(one: Drawn) -> tuple[Drawn, bool]:
        copy = copies.get()
        try:
            return one, noticed(one, copy, limit_s[one.tests])
        finally:
            copies.put(copy)

    with ThreadPoolExecutor(workers) as pool:
        yield from pool.map(tried, drawn)


def main() -> int:
    """Run; return 0 when at least 85 % of the changes were noticed."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation")
    parser.add_argument("rooms", nargs="*", default=DEFAULT, metavar="ROOM", help=", ".join(TESTS))
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--quick", action="store_true", help="without the slow tests: fewer noticed"
    )
    given = parser.parse_args()
    drawn, results = list(draw(given.rooms, given.count, given.seed)), []
    if given.quick:
        drawn = [replace(one, tests=(*QUICK, *one.tests)) for one in drawn]
    with tempfile.TemporaryDirectory() as folder:
        for one, seen in judged(drawn, Path(folder), given.workers):
            results.append(seen)
            word = "noticed" if seen else "NOT NOTICED"
            print(f"{word}: {one.file}:{one.mutant.line} {one.mutant.what}", flush=True)
    share = sum(results) / len(results)
    print(f"{sum(results)} of {len(results)} changes noticed ({share:.0%})")
    return 0 if share >= 0.85 else 1


def _copied(target: Path) -> Path:
    target.mkdir()
    for name in ("warmwatch", "tests", "shared", "recordings", "docs"):
        shutil.copytree(ROOT / name, target / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, target)
    return target


if __name__ == "__main__":
    sys.exit(main())
