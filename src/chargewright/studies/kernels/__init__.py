"""Compiled kernels: one file each; adding a file here has it compiled in set-up.

A file defines KERNEL: what it is called, the function that is compiled, and a tiny run in the same types as any other.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from chargewright.base.shelf import Shelf


@dataclass(frozen=True, slots=True, kw_only=True)
class Kernel:
    """One function that runs compiled where numba is there."""

    title: str
    function: Callable[..., Any]
    """The plain form of what is compiled."""
    tiny: Callable[[], object]
    """Runs it compiled, on as little as it takes; a run in other types would be compiled once more."""
    cost: float
    """Processor time that compiling takes, nearly [s]: the longest goes first."""


shelf: Shelf[Kernel] = Shelf(__name__, __path__, "KERNEL")
