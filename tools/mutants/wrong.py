"""What can be made wrong in a file: one comparison, constant, condition, branch, result or statement at a time."""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Place:
    """One line by its text and the function it stands in, so that what was collected stays true when lines move."""

    function: str
    text: str

    @property
    def key(self) -> str:
        return f"{self.function}\t{self.text}"


def places(source: str) -> dict[int, Place]:
    """Each line that holds code."""
    functions: dict[int, str] = {}

    def walk(node: ast.AST, name: str) -> None:
        for child in ast.iter_child_nodes(node):
            inner = name
            if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                inner = f"{name}.{child.name}" if name else child.name
                functions.update(dict.fromkeys(range(child.lineno, (child.end_lineno or child.lineno) + 1), inner))
            walk(child, inner)

    walk(ast.parse(source), "")
    return {
        number: Place(functions.get(number, ""), text.strip()) for number, text in enumerate(source.splitlines(), 1)
    }


TURNED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot,
    ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or, ast.Or: ast.And, ast.Add: ast.Sub, ast.Sub: ast.Add,
    ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One thing made wrong: the text between two places of a file, and what stands there instead."""

    file: str
    function: str
    line: int
    first: int  # lines of the statement's head, whose tests are run
    last: int
    how: str
    start: int  # bytes
    end: int
    before: str
    instead: str

    @property
    def what(self) -> tuple[str, ...]:
        """What it is, wherever it stands: the same when lines above it change."""
        return self.file, self.function, self.how, self.before, self.instead

    def source(self, text: bytes) -> bytes:
        """The file with it."""
        return text[: self.start] + self.instead.encode() + text[self.end :]


def wrong_ones(file: str, text: str) -> Iterator[Mutant]:
    """Every small thing that could be wrong in a file."""
    starts = [0]
    for line in text.encode().splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    functions = places(text)

    def mutant(node: Any, other: ast.AST | str, how: str, head: tuple[int, int]) -> Mutant:
        instead = other if isinstance(other, str) else f"({ast.unparse(other)})"
        start, end = starts[node.lineno - 1] + node.col_offset, starts[node.end_lineno - 1] + node.end_col_offset
        before = text.encode()[start:end].decode()
        return Mutant(file, functions[node.lineno].function, node.lineno, *head, how, start, end, before, instead)

    def expressions(node: ast.AST, head: tuple[int, int]) -> Iterator[Mutant]:
        if isinstance(node, ast.stmt | ast.JoinedStr):
            return
        if isinstance(node, ast.Compare):
            for at, operator in enumerate(node.ops):
                other = copy.deepcopy(node)
                other.ops[at] = TURNED[type(operator)]()  # type: ignore[call-overload]
                yield mutant(node, other, "comparison", head)
        elif isinstance(node, ast.BoolOp):
            yield mutant(node, ast.BoolOp(TURNED[type(node.op)](), node.values), "and/or", head)  # type: ignore[arg-type]
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            yield mutant(node, node.operand, "not left out", head)
        elif (
            isinstance(node, ast.BinOp)
            and type(node.op) in TURNED
            and not any(_text(side) for side in (node.left, node.right))
        ):
            yield mutant(node, ast.BinOp(node.left, TURNED[type(node.op)](), node.right), "arithmetic", head)  # type: ignore[arg-type]
        elif isinstance(node, ast.IfExp):
            yield mutant(node, ast.IfExp(node.test, node.orelse, node.body), "branches changed over", head)
        elif isinstance(node, ast.Constant) and isinstance(node.value, int | float):
            value = not node.value if isinstance(node.value, bool) else node.value + 1
            yield mutant(node, repr(value), "constant", head)
        elif isinstance(node, ast.comprehension):
            for condition in node.ifs:
                yield mutant(condition, "True", "condition left out", head)
        for name, child in ast.iter_fields(node):
            if name not in ("annotation", "returns", "format_spec"):
                for inner in child if isinstance(child, list) else [child]:
                    if isinstance(inner, ast.AST):
                        yield from expressions(inner, head)

    def statements(body: Sequence[ast.stmt]) -> Iterator[Mutant]:
        for node in body:
            if isinstance(node, ast.Import | ast.ImportFrom | ast.Assert) or _docstring(node) or _types_only(node):
                continue
            inner: list[ast.stmt] = [
                *getattr(node, "body", []),
                *getattr(node, "orelse", []),
                *getattr(node, "finalbody", []),
            ]
            inner += [statement for handler in getattr(node, "handlers", []) for statement in handler.body]
            inner += [statement for case in getattr(node, "cases", []) for statement in case.body]
            head = (
                node.lineno,
                (min((one.lineno for one in inner), default=(node.end_lineno or node.lineno) + 1) - 1) or node.lineno,
            )
            head = (head[0], max(head))
            if isinstance(node, ast.If | ast.While):
                yield mutant(node.test, ast.UnaryOp(ast.Not(), node.test), "branch turned round", head)
            if (
                isinstance(node, ast.Return)
                and node.value
                and not (isinstance(node.value, ast.Constant) and node.value.value is None)
            ):
                yield mutant(node, "return None", "nothing returned", head)
            if isinstance(node, ast.Continue | ast.Break):
                yield mutant(node, "break" if isinstance(node, ast.Continue) else "continue", "continue/break", head)
            if isinstance(node, ast.AugAssign) and type(node.op) in TURNED and not _text(node.value):
                other = copy.deepcopy(node)
                other.op = TURNED[type(node.op)]()  # type: ignore[assignment]
                yield mutant(node, ast.unparse(other), "arithmetic", head)
            to_a_place = isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Attribute | ast.Subscript)
            if (
                to_a_place
                or isinstance(node, ast.Raise | ast.AugAssign | ast.Continue)
                or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call))
            ):
                yield mutant(node, "pass", "statement left out", head)
            if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                for name, child in ast.iter_fields(node):
                    if name not in ("annotation", "body", "orelse", "finalbody", "handlers", "cases", "op"):
                        for one in child if isinstance(child, list) else [child]:
                            if isinstance(one, ast.AST):
                                yield from expressions(one, head)
            yield from statements(inner)

    yield from statements(ast.parse(text).body)


def _text(node: ast.AST) -> bool:
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def _docstring(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _types_only(node: ast.stmt) -> bool:
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"
