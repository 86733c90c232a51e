"""Names the fold: a digest over everything that settles which events an item brings.

It covers the modules that `core.watch` imports, by itself or through others, and the data files of
the core. Two programs have the same digest when they fold alike: comments, docstrings and the
layout of the source do not count, nor does the version of Python.
"""

import ast
import hashlib
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

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
    modules = imported_modules(module)
    if module not in modules:
        return ""
    digest = hashlib.sha256()
    for name, tree in sorted(modules.items()):
        digest.update(f"{name}\0{source_text(tree)}\0".encode())
    for name, entry in sorted(_data(files(DATA), "")):
        digest.update(name.encode() + b"\0" + entry.read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return digest.hexdigest()[:16]


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
    return "".join(_parts(tree))


def _parts(node: object) -> Iterator[str]:
    if isinstance(node, list):
        yield "["
        for one in node:
            yield from (*_parts(one), ",")
        yield "]"
    elif not isinstance(node, ast.AST):
        yield ascii(node)
    else:
        fields = {name: value for name, value in ast.iter_fields(node) if name not in _UNTOLD}
        if isinstance(node, _DOCUMENTED) and ast.get_docstring(node, clean=False) is not None:
            fields["body"] = node.body[1:]
        yield f"{type(node).__name__}("
        for name, value in sorted(fields.items()):
            if value is not None and value != []:
                yield f"{name}="
                yield from (*_parts(value), ",")
        yield ")"
