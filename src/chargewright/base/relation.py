"""A relation: a physics function that knows its formula, units and source, and can say how a number came about.

A function under `@relation` is written once and used in four ways:

* called with floats or arrays, it checks the ranges in its annotations and returns the result;
* called inside `with tracing() as steps`, it also records a `Step`, so that any figure can be unfolded;
* `derive(name, relation, ...)` returns one `Value` with formula, inserted numbers, unit and source;
* its plain function, `relation.raw`, is what the compiled kernels are made from (`base.compiled`).

The formula is the docstring line that is indented further than the text and has a ` = `; the tests evaluate it
and compare it with the code, and the reports print it.
"""

import inspect
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Generic, ParamSpec, TypeVar, get_type_hints

import numpy as np

from chargewright.base.errors import OutOfRange

P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One evaluation of a relation: what went in, what came out."""

    relation: str
    result: Any
    unit: str
    formula: str
    inputs: dict[str, tuple[Any, str]]
    """Argument name to (SI value, unit)."""
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A number meant for people: it can say where it came from."""

    name: str
    value: float
    unit: str
    step: Step | None = None
    """The relation behind it; None for a number that was given, or found by a solver."""
    note: str = ""


_steps: ContextVar[list[Step] | None] = ContextVar("chargewright_steps", default=None)


@contextmanager
def tracing() -> Iterator[list[Step]]:
    """Record every relation that is evaluated inside the block, in order."""
    steps: list[Step] = []
    token = _steps.set(steps)
    try:
        yield steps
    finally:
        _steps.reset(token)


class Relation(Generic[P, R]):
    """A physics function with its formula, units and source. Made by `@relation`."""

    def __init__(self, function: Callable[P, R]) -> None:
        self.raw = function
        self.name: str = function.__name__
        self.__name__ = function.__name__
        self.__doc__ = function.__doc__
        self.__module__ = function.__module__
        self.__wrapped__ = function

    @cached_property
    def _hints(self) -> dict[str, tuple[Any, ...]]:
        hints = get_type_hints(self.raw, include_extras=True)
        return {name: getattr(hint, "__metadata__", ("",)) for name, hint in hints.items()}

    @cached_property
    def unit(self) -> str:
        """SI unit of the result."""
        return str(self._hints.get("return", ("",))[0])

    @cached_property
    def parameters(self) -> dict[str, str]:
        """Argument names with their SI units, in order."""
        return {n: str(self._hints.get(n, ("",))[0]) for n in inspect.signature(self.raw).parameters}

    @cached_property
    def formula(self) -> str:
        """The formula as it stands in the docstring, on one line."""
        lines = inspect.getdoc(self.raw) or ""
        found = [line.strip() for line in lines.splitlines() if re.match(r"\s{4,}\S.* = ", line)]
        return "; ".join(found)

    @cached_property
    def source(self) -> str:
        """The source as it stands in the docstring."""
        text = inspect.getdoc(self.raw) or ""
        found = re.search(r"^Source: (.*?)(?:\n\s*\n|\Z)", text, re.MULTILINE | re.DOTALL)
        return " ".join(found[1].split()) if found else ""

    @cached_property
    def _ranges(self) -> dict[str, tuple[float, float]]:
        return {n: meta[1] for n, meta in self._hints.items() if len(meta) > 1 and isinstance(meta[1], tuple)}

    @cached_property
    def _order(self) -> tuple[str, ...]:
        return tuple(inspect.signature(self.raw).parameters)

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> R:
        """Evaluate; raises OutOfRange if an argument leaves the range that its annotation states."""
        if self._ranges:
            given = dict(zip(self._order, args, strict=False)) | kwargs
            for name, (low, high) in self._ranges.items():
                self._require(name, given.get(name), low, high)
        result = self.raw(*args, **kwargs)
        steps = _steps.get()
        if steps is not None:
            given = dict(zip(self._order, args, strict=False)) | kwargs
            inputs = {n: (given[n], unit) for n, unit in self.parameters.items() if n in given}
            steps.append(
                Step(
                    relation=self.name,
                    result=result,
                    unit=self.unit,
                    formula=self.formula,
                    inputs=inputs,
                    source=self.source,
                )
            )
        return result

    def _require(self, name: str, value: Any, low: float, high: float) -> None:
        if value is None:
            return
        if isinstance(value, float | int):
            wrong = value < low or value > high
        else:
            wrong = bool(np.any(np.less(value, low) | np.greater(value, high)))
        if wrong:
            raise OutOfRange(
                f"{self.name}: {name} leaves {low:g} … {high:g} (got {np.min(value):g} … {np.max(value):g})"
            )

    def __repr__(self) -> str:
        return f"<relation {self.name}: {self.formula}>"


def relation(function: Callable[P, R]) -> Relation[P, R]:
    """Turn a plain physics function into a `Relation`."""
    return Relation(function)


def derive(name: str, of: Relation[P, R], *args: P.args, **kwargs: P.kwargs) -> Value:
    """Return one number with its derivation; the arguments must be single numbers."""
    with tracing() as steps:
        of(*args, **kwargs)
    step = steps[-1]
    return Value(name=name, value=float(step.result), unit=step.unit, step=step)


def given(name: str, value: float, unit: str, note: str = "") -> Value:
    """Return a number that was given, not derived."""
    return Value(name=name, value=value, unit=unit, note=note)
