"""Compiled twins of relations and of functions made of them: one formula, two speeds.

`compiled(f)` takes a plain function whose globals are relations, numpy and other plain functions of this package,
and returns the numba form of the very same code. Nothing is written twice, so nothing can drift apart.
numba's disk cache does not notice an edit in another module, so the cache folder is named by a hash of all sources.
"""

import dis
import hashlib
import os
import tempfile
import types
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from chargewright.base.relation import P, R, Relation

parallel_range = range
"""What a loop for `compiled_loop` counts with; a plain range where the loop is not compiled."""


_COMPILED_ROOMS = ("base", "physics", "parts", "network", "sizing", "sim", "circuit", "loops", "studies")
"""Rooms whose code may end up in a compiled kernel: an edit in any of them makes a new cache."""


@cache
def numba_module() -> Any:
    """Import numba with a cache folder that is right for this version of the sources; None if there is no numba."""
    if "NUMBA_CACHE_DIR" not in os.environ:
        os.environ["NUMBA_CACHE_DIR"] = str(_cache_folder())
    try:
        import numba  # heavy: 0.8 s, only when a kernel is wanted
    except ImportError:
        return None
    return numba


def _cache_folder() -> Path:
    root = Path(__file__).resolve().parents[1]
    # numba keeps the kernels of two checkouts apart, so neither may count for the other's.
    digest = hashlib.sha256(str(root).encode())
    for path in sorted(p for room in _COMPILED_ROOMS for p in (root / room).rglob("*.py")):
        digest.update(path.read_bytes())
    base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "chargewright"
    folder = base / f"kernels-{digest.hexdigest()[:16]}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f".write-{os.getpid()}"
        probe.touch()
        probe.unlink()
    except OSError:
        return Path(tempfile.gettempdir()) / f"chargewright-kernels-{digest.hexdigest()[:16]}"
    return folder


@cache
def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return the numba form of `function`, with all relations and functions of this package that it calls.

    The code must be branch-free over arrays (np.where, np.minimum) or scalar code that numba knows.
    """
    return _twin(_with_compiled_globals(function), {}, inner=False)


@cache
def _part(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return the numba form of a function that only compiled code calls."""
    return _twin(_with_compiled_globals(function), {}, inner=True)


def _twin(copy: types.FunctionType, options: dict[str, Any], *, inner: bool) -> Callable[..., Any]:
    """Return the numba form of a function whose globals are compiled already.

    What only compiled code calls needs no way in from Python and no place in the cache, since its callers hold it: that
    is a third of the time of compiling.
    """
    ways = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True} if inner else {"cache": True}
    twin: Callable[..., Any] = numba_module().njit(error_model="numpy", **ways, **options)(copy)
    return twin


@cache
def compiled_bare(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return the numba form of scalar code that makes no arrays of its own: it counts no references and holds no lock.

    Counting references to the arrays in its records is half of the time of a kernel that hands them from function to
    function, and handing them over half of the rest: so every function is put into its callers, but for those that are
    marked `apart`. Threads may run it side by side.
    """
    return _bare(function, inner=False)


@cache
def _bare_part(function: Callable[..., Any]) -> Callable[..., Any]:
    return _bare(function, inner=True)


def _bare(function: Callable[..., Any], *, inner: bool) -> Callable[..., Any]:
    function = getattr(function, "written_out", function)
    options: dict[str, Any] = {"nogil": True, "_nrt": False, "forceinline": not hasattr(function, "apart")}
    if hasattr(function, "merged"):
        options["inline"] = "always"
    return _twin(_rebound(function, _bare_part), options, inner=inner)


def apart(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a function that `compiled_bare` leaves one: it is called from many places, or so long that copies swell."""
    function.apart = True  # type: ignore[attr-defined]
    return function


def merged(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a function that `compiled_bare` reads as lines of its one caller: it is never compiled by itself.

    A chain of long functions that each call the next is otherwise compiled anew at every link.
    """
    function.merged = True  # type: ignore[attr-defined]
    return function


def compiled_as(written_out: Callable[P, R]) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Mark a function of whole arrays that makes some: `compiled_bare` takes another in its place, written by element.

    Only for linear algebra, which is slow by element where it runs plain; a test holds each pair together.
    """

    def mark(function: Callable[P, R]) -> Callable[P, R]:
        function.written_out = written_out  # type: ignore[attr-defined]
        return function

    return mark


def is_kept(function: Callable[..., Any]) -> bool:
    """Return whether an earlier process has compiled this function, so that compiling it now costs next to nothing."""
    if numba_module() is None:
        return False
    folder = Path(os.environ["NUMBA_CACHE_DIR"])
    return any(folder.glob(f"*/{function.__module__.rpartition('.')[2]}.{function.__name__}-*.nbi"))


@cache
def compiled_loop(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return the numba form of a loop over conditions, run on all cores: its `parallel_range` is numba's prange."""
    copy = _with_compiled_globals(function)
    copy.__globals__["parallel_range"] = numba_module().prange
    return _twin(copy, {"parallel": True}, inner=False)


@cache
def plain(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` with every relation in it replaced by its plain function: the same numbers, for inner loops.

    Range checks and tracing are left out, which halves the time of a solver's step; call the function itself with the
    solution where these matter.
    """
    return _rebound(function, plain)


def _with_compiled_globals(function: Callable[..., Any]) -> types.FunctionType:
    copy = _rebound(function, _part)
    for name in _globals_of(copy):
        if copy.__globals__.get(name) is np:
            copy.__globals__[name] = _numpy_of_scalars()
    return copy


def _rebound(function: Callable[..., Any], swap: Callable[[Any], Any]) -> types.FunctionType:
    """Return a copy of a function that sees `swap(thing)` for every relation or function of this package it names."""
    body: Any = function.raw if isinstance(function, Relation) else function
    replaced: dict[str, Any] = dict(body.__globals__)
    for name in _globals_of(body):
        thing = body.__globals__.get(name)
        if isinstance(thing, Relation) or _is_ours(thing):
            replaced[name] = swap(thing)
    copy = types.FunctionType(body.__code__, replaced, body.__name__, body.__defaults__, body.__closure__)
    copy.__module__ = body.__module__
    copy.__qualname__ = body.__qualname__
    return copy


def _globals_of(body: types.FunctionType) -> set[str]:
    """Return the global names that a function loads; `co_names` would hold the attributes it reads as well."""
    return {step.argval for step in dis.get_instructions(body) if step.opname in ("LOAD_GLOBAL", "LOAD_NAME")}


@cache
def _numpy_of_scalars() -> types.ModuleType:
    """Return numpy with a `where` that picks one of two scalars; numba's own gives a zero-dimensional array."""
    module = types.ModuleType("numpy_of_scalars", "numpy, for code that is compiled for one point at a time")
    module.__dict__.update({name: thing for name, thing in np.__dict__.items() if not name.startswith("__")})
    module.__dict__["where"] = _twin(_rebound(_pick, _part), {}, inner=True)
    return module


def _pick(condition: Any, first: Any, second: Any) -> Any:
    return first if condition else second


def _is_ours(thing: Any) -> bool:
    return isinstance(thing, types.FunctionType) and thing.__module__.partition(".")[0] == "chargewright"
