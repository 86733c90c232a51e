"""Names the fold: a digest over everything that decides which events an item brings.

It covers the modules that `core.watch` imports, by itself or through others, and the data files of
the core. Two programs have the same digest when they fold alike: comments, docstrings and the
layout of the source do not count, nor does the version of Python.

Working it out takes a third of a second, so it is kept beside Python's own bytecode, which is
trusted no less. It is used only while the very bytes it was worked out from are still there.
"""

import ast
import hashlib
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from importlib.util import cache_from_source
from pathlib import Path
from typing import Any

ROOT = "warmwatch"
FOLD = f"{ROOT}.core.watch"
DATA = f"{ROOT}.core"
_UNTOLD = frozenset({"ctx", "kind", "type_comment", "type_ignores", "type_params"})
"""Fields that say nothing more about what is done, or that not every Python has."""
_DOCUMENTED = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef


def fold_digest() -> str:
    """Return 16 hex digits; empty where the source is not there, so that nothing can be said."""
    return code_digest(FOLD)


@cache
def code_digest(module: str) -> str:
    """Return the digest of what a module of ours does with all that it imports of ours."""
    kept = _Kept()
    if found := kept.get(module):
        return found
    modules = imported_modules(module)
    if module not in modules:
        return ""
    digest = _digest_of(modules)
    kept.put(module, sorted(modules), digest)
    return digest


def _digest_of(modules: Mapping[str, ast.Module]) -> str:
    digest = hashlib.sha256()
    for name, tree in sorted(modules.items()):
        digest.update(f"{name}\0{source_text(tree)}\0".encode())
    for name, entry in sorted(_data(files(DATA), "")):
        digest.update(name.encode() + b"\0" + entry.read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return digest.hexdigest()[:16]


class _Kept:
    """Digests worked out before, each under the bytes of all that it was worked out from."""

    def __init__(self) -> None:
        home = files(ROOT)
        # A package in an archive has no folder for bytecode.
        self._home = home if isinstance(home, Path) else None
        self._path = Path(cache_from_source(__file__)).with_suffix(".digests.json")

    def get(self, module: str) -> str:
        """Return the digest that was kept; empty when there is none for these bytes."""
        entry = self._entries().get(module)
        if self._home is None or not isinstance(entry, dict):
            return ""
        names, digest = entry.get("modules"), entry.get("digest")
        if not isinstance(names, list) or not isinstance(digest, str):
            return ""
        return digest if entry.get("bytes") == self._bytes(names) else ""

    def put(self, module: str, names: list[str], digest: str) -> None:
        """Keep a digest, where the folder can be written to."""
        if self._home is None:
            return
        entry = {"modules": names, "bytes": self._bytes(names), "digest": digest}
        text = json.dumps({**self._entries(), module: entry})
        own = self._path.with_suffix(f".{os.getpid()}")
        with suppress(OSError):
            self._path.parent.mkdir(exist_ok=True)
            own.write_text(text, encoding="utf-8")
            own.replace(self._path)

    def _entries(self) -> dict[str, Any]:
        try:
            entries = json.loads(self._path.read_bytes())
        except (OSError, ValueError):
            return {}
        return entries if isinstance(entries, dict) else {}

    def _bytes(self, names: Sequence[object]) -> str:
        """Return a digest over the sources, the data, and which modules there are to import."""
        assert self._home is not None
        digest = hashlib.sha256(Path(__file__).read_bytes())
        for folder, folders, entries in os.walk(self._home):
            folders[:] = sorted(set(folders) - {"__pycache__"})
            there = sorted(entry for entry in entries if entry.endswith(".py"))
            digest.update(f"{folder[len(str(self._home)) :]}\0{there}\0".encode())
        for name in names:
            digest.update(f"{name}\0".encode() + (_source(str(name)) or b"") + b"\0")
        for name, entry in sorted(_data(files(DATA), "")):
            digest.update(name.encode() + b"\0" + entry.read_bytes() + b"\0")
        return digest.hexdigest()


def imported_modules(module: str) -> dict[str, ast.Module]:
    """Return the modules of ours that `module` imports, itself included, by full name.

    The package's own first module is left out: it shows what others may import, and does nothing.
    """
    found: dict[str, ast.Module] = {}
    due = [module]
    while due:
        name = due.pop()
        if name not in found and (source := _source(name)) is not None:
            found[name] = ast.parse(source)
            due += [name.rpartition(".")[0], *_imported(found[name])]
    return found


def _imported(tree: ast.Module) -> Iterator[str]:
    """Yield all that may be modules of ours; functions and classes are no files."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def _source(name: str) -> bytes | None:
    root, *parts = name.split(".")
    if root != ROOT or not parts:
        return None
    place = files(ROOT).joinpath(*parts)
    for file in (files(ROOT).joinpath(*parts[:-1], f"{parts[-1]}.py"), place / "__init__.py"):
        if file.is_file():
            return file.read_bytes()
    return None


def _data(folder: Traversable, above: str) -> Iterator[tuple[str, Traversable]]:
    for entry in folder.iterdir():
        if entry.is_dir() and entry.name != "__pycache__":
            yield from _data(entry, f"{above}{entry.name}/")
        elif entry.is_file() and not entry.name.endswith((".py", ".pyc", ".typed")):
            yield above + entry.name, entry


def source_text(tree: ast.AST) -> str:
    """Return what a module does as text: its syntax tree without docstrings and positions.

    >>> source_text(ast.parse("def f(a):  # why\\n    'Says what.'\\n    return a"))[30:99]
    "arguments(args=[arg(arg='a',),],),body=[Return(value=Name(id='a',),),"
    """
    parts: list[str] = []
    _tell(tree, parts)
    return "".join(parts)


def _tell(node: object, parts: list[str]) -> None:
    if isinstance(node, list):
        parts.append("[")
        for one in node:
            _tell(one, parts)
            parts.append(",")
        parts.append("]")
    elif not isinstance(node, ast.AST):
        parts.append(ascii(node))
    else:
        fields = {name: value for name, value in ast.iter_fields(node) if name not in _UNTOLD}
        if isinstance(node, _DOCUMENTED) and ast.get_docstring(node, clean=False) is not None:
            fields["body"] = node.body[1:]
        parts.append(f"{type(node).__name__}(")
        for name, value in sorted(fields.items()):
            if value is not None and value != []:
                parts.append(f"{name}=")
                _tell(value, parts)
                parts.append(",")
        parts.append(")")
