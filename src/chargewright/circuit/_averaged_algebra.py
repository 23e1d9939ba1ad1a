"""The linear algebra of the averaged circuit: numpy where the loop runs plain, written out by element where compiled.

All matrices go by their columns: adding columns keeps the processor busy, a dot product waits. Nothing here makes an
array in its written-out form, so that the loop is compiled without counting references.
"""

import numpy as np

from chargewright.base.compiled import apart, compiled_as
from chargewright.circuit._averaged_book import Floats, Indices


@apart
def _copy(out: Floats, other: Floats) -> None:
    for i in range(len(out)):
        out[i] = other[i]


@compiled_as(_copy)
def copy(out: Floats, other: Floats) -> None:
    """out = other."""
    out[:] = other


@apart
def _add(out: Floats, factor: float, other: Floats) -> None:
    for i in range(len(out)):
        out[i] += factor * other[i]


@compiled_as(_add)
def add(out: Floats, factor: float, other: Floats) -> None:
    """out += factor·other, of vectors."""
    out += factor * other


@apart
def _add_times(out: Floats, factor: float, columns: Floats, x: Floats) -> None:
    for j in range(len(x)):
        part = factor * x[j]
        if part != 0.0:
            for i in range(len(out)):
                out[i] += part * columns[j, i]


@compiled_as(_add_times)
def add_times(out: Floats, factor: float, columns: Floats, x: Floats) -> None:
    """out += factor·matrix·x."""
    out += np.dot(factor * x, columns)


def _add_sizes(out: Floats, factor: float, columns: Floats, x: Floats) -> None:
    for j in range(len(x)):
        part = factor * abs(x[j])
        for i in range(len(out)):
            out[i] += part * abs(columns[j, i])


@compiled_as(_add_sizes)
def add_sizes(out: Floats, factor: float, columns: Floats, x: Floats) -> None:
    """out += factor·|matrix|·|x|, by element."""
    out += np.dot(factor * np.abs(x), np.abs(columns))


def _add_matrix(out: Floats, factor: float, other: Floats) -> None:
    for j in range(len(out)):
        for i in range(len(out)):
            out[j, i] += factor * other[j, i]


@compiled_as(_add_matrix)
def add_matrix(out: Floats, factor: float, other: Floats) -> None:
    """out += factor·other, of square matrices."""
    out += factor * other


def _add_outer(out: Floats, factor: float, left: Floats, right: Floats) -> None:
    for j in range(len(out)):
        part = factor * right[j]
        if part != 0.0:
            for i in range(len(out)):
                out[j, i] += part * left[i]


@compiled_as(_add_outer)
def add_outer(out: Floats, factor: float, left: Floats, right: Floats) -> None:
    """out += factor·left·rightᵀ."""
    out += np.outer(factor * right, left)


@apart
def _invert(slope: Floats, shift: float, out: Floats, swaps: Indices) -> None:
    """Eliminate in place (Gauss and Jordan), with the largest element of what is left of a column as pivot."""
    n = len(out)
    for j in range(n):
        for i in range(n):
            out[j, i] = -slope[j, i]
        out[j, j] += shift
    for k in range(n):
        best = k
        for j in range(k + 1, n):
            if abs(out[j, k]) > abs(out[best, k]):
                best = j
        swaps[k] = best
        if best != k:
            for i in range(n):
                out[k, i], out[best, i] = out[best, i], out[k, i]
        scale = 1.0 / out[k, k]
        out[k, k] = 1.0
        for i in range(n):
            out[k, i] *= scale
        for j in range(n):
            part = out[j, k]
            if j != k and part != 0.0:
                out[j, k] = 0.0
                for i in range(n):
                    out[j, i] -= part * out[k, i]
    for k in range(n - 1, -1, -1):
        if swaps[k] != k:
            for j in range(n):
                out[j, k], out[j, swaps[k]] = out[j, swaps[k]], out[j, k]


@compiled_as(_invert)
def invert(slope: Floats, shift: float, out: Floats, swaps: Indices) -> None:  # noqa: ARG001 - the other form's room
    """out = (shift·1 - slope)⁻¹; `swaps` is room for the order of its rows."""
    out[:] = np.linalg.inv(np.eye(len(out)) * shift - slope)
