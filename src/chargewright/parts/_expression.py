"""Formulas in text from a user's file, evaluated without ever running the text.

A formula is split into words, each of which must be on a short list; its tree is checked node by node, and then walked
with numpy arrays. What is not on the list does not exist: no names but `x`, no attributes, no calls but a few
functions of one argument, no powers but constant ones of bounded size.
"""

import ast
import operator
import re
from collections.abc import Callable
from typing import Any

import numpy as np

from chargewright.base.errors import PartsError
from chargewright.parts.cell import Array

MAX_LENGTH = 4000
MAX_NODES = 1500
MAX_DEPTH = 150
MAX_NESTING = 40
_WORD = re.compile(r"\s+|(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?(?![\w.])|\*\*|[-+*/()]|[a-z]+(?!\w)")
MAX_EXPONENT = 20.0
_LARGEST = 1e300
_FUNCTIONS: dict[str, Callable[[Any], Any]] = {"exp": np.exp, "tanh": np.tanh, "cosh": np.cosh, "sqrt": np.sqrt}
_BINARY: dict[type[ast.operator], Callable[[Any, Any], Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}
_UNARY: dict[type[ast.unaryop], Callable[[Any], Any]] = {ast.UAdd: operator.pos, ast.USub: operator.neg}
_ACCEPTED = f"numbers, x, + - * / **, {', '.join(_FUNCTIONS)}, constant exponents up to {MAX_EXPONENT:g}"


def evaluate(text: str, x: Array, where: str) -> Array:
    """Return the formula `text` at every `x`; `where` is what messages call the place. Raises PartsError."""
    tree = _checked(text, where)
    with np.errstate(all="ignore"):
        values = np.broadcast_to(np.asarray(_value(tree, np.asarray(x, dtype=float)), dtype=float), np.shape(x))
    if not np.all(np.isfinite(values)):
        at = float(np.asarray(x)[~np.isfinite(values)].flat[0])
        raise PartsError(f"{where}\n    the formula has no finite value at x = {at:g}")
    return values


def _checked(text: str, where: str) -> ast.expr:
    if len(text) > MAX_LENGTH:
        raise PartsError(f"{where}\n    the formula has {len(text)} characters; at most {MAX_LENGTH} are read")
    _require_words(text, where)
    try:
        tree = ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, MemoryError, RecursionError) as error:
        raise PartsError(f"{where}\n    {_short(text)} is not a formula; accepted: {_ACCEPTED}") from error
    nodes = 0
    level = [tree]
    for _depth in range(MAX_DEPTH):
        nodes += len(level)
        if nodes > MAX_NODES:
            raise PartsError(f"{where}\n    the formula has more than {MAX_NODES} parts")
        level = [part for node in level for part in _parts(node, where)]
        if not level:
            return tree
    raise PartsError(f"{where}\n    the formula is more than {MAX_DEPTH} operations deep")


def _require_words(text: str, where: str) -> None:
    at = nesting = 0
    while at < len(text):
        word = _WORD.match(text, at)
        if word is None or (word[0].isalpha() and word[0] != "x" and word[0] not in _FUNCTIONS):
            raise PartsError(f"{where}\n    {_short(text[at:])} may not stand in a formula; accepted: {_ACCEPTED}")
        nesting += (word[0] == "(") - (word[0] == ")")
        if nesting > MAX_NESTING:
            raise PartsError(f"{where}\n    the formula has brackets more than {MAX_NESTING} deep")
        at = word.end()


def _parts(node: ast.expr, where: str) -> list[ast.expr]:
    """Return the operands of a node that is on the list; raises PartsError for any other."""
    match node:
        case ast.Constant(value=int() | float()) | ast.Name(id="x"):
            return []
        case ast.UnaryOp(op=op, operand=operand) if type(op) in _UNARY:
            return [operand]
        case ast.BinOp(left=left, op=ast.Pow(), right=right):
            exponent = _constant(right)
            if exponent is not None and abs(exponent) <= MAX_EXPONENT:
                return [left]
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _BINARY:
            return [left, right]
        case ast.Call(func=ast.Name(id=name), args=[argument], keywords=[]) if name in _FUNCTIONS:
            return [argument]
    raise PartsError(f"{where}\n    {_short(ast.unparse(node))} may not stand in a formula; accepted: {_ACCEPTED}")


def _constant(node: ast.expr) -> float | None:
    """Return the number that a node is, with its sign; None if it is none."""
    match node:
        case ast.Constant(value=int() | float() as number):
            return float(number) if abs(number) < _LARGEST else None
        case ast.UnaryOp(op=ast.USub(), operand=ast.Constant(value=int() | float() as number)):
            return -float(number) if abs(number) < _LARGEST else None
    return None


def _value(node: ast.expr, x: Array) -> Any:
    match node:
        case ast.Constant(value=int() | float() as number):
            return np.float64(number) if abs(number) < _LARGEST else np.inf
        case ast.Name():
            return x
        case ast.UnaryOp(op=sign, operand=operand):
            return _UNARY[type(sign)](_value(operand, x))
        case ast.BinOp(left=left, op=op, right=right):
            return _BINARY[type(op)](_value(left, x), _value(right, x))
        case ast.Call(func=ast.Name(id=name), args=[argument]):
            return _FUNCTIONS[name](_value(argument, x))
    raise AssertionError(ast.dump(node))  # every node was checked


def _short(text: str) -> str:
    return repr(text if len(text) <= 60 else text[:57] + "...")
