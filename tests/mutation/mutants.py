"""Finds the places of a module that can be changed, and changes one."""

import ast
from dataclasses import dataclass

_COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
    ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_RECKONED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mutant:
    """A module's source with one place changed; `what` says which, `line` where."""

    line: int
    what: str
    source: str


def places(source: str) -> int:
    """Return how many mutants a module has."""
    return len(_changeable(ast.parse(source)))


def mutant(source: str, index: int) -> Mutant:
    """Return the mutant number `index` of a module."""
    tree = ast.parse(source)
    node = _changeable(tree)[index]
    before = ast.unparse(node)
    _change(node)
    what = f"{before.splitlines()[0]} -> {ast.unparse(node).splitlines()[0]}"
    return Mutant(getattr(node, "lineno", 0), what[:110], ast.unparse(tree))


def _changeable(tree: ast.Module) -> list[ast.AST]:
    """Return the nodes that can be changed, but for `slots=True`: that saves memory, no more."""
    keywords = (node for node in ast.walk(tree) if isinstance(node, ast.keyword))
    slots = {id(keyword.value) for keyword in keywords if keyword.arg == "slots"}
    return [node for node in ast.walk(tree) if _can_change(node) and id(node) not in slots]


def _can_change(node: ast.AST) -> bool:
    if isinstance(node, ast.Constant):
        return isinstance(node.value, int | float) and not isinstance(node.value, str)
    if isinstance(node, ast.Compare):
        return type(node.ops[0]) in _COMPARED
    if isinstance(node, ast.BinOp):
        return type(node.op) in _RECKONED
    return isinstance(node, ast.BoolOp | ast.UnaryOp) and not isinstance(
        getattr(node, "op", None), ast.USub | ast.UAdd | ast.Invert
    )


def _change(node: ast.AST) -> None:
    """Change one node in place."""
    if isinstance(node, ast.Constant):
        value = node.value
        node.value = (not value) if isinstance(value, bool) else value * 2 + 1  # type: ignore[operator]
    elif isinstance(node, ast.Compare):
        node.ops[0] = _COMPARED[type(node.ops[0])]()
    elif isinstance(node, ast.BinOp):
        node.op = _RECKONED[type(node.op)]()
    elif isinstance(node, ast.BoolOp):
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    elif isinstance(node, ast.UnaryOp):
        node.operand = ast.UnaryOp(ast.Not(), node.operand)
