"""Compile every kernel ahead, so that no later run has to wait for it."""

import signal
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context

from chargewright.base.compiled import is_kept, numba_module
from chargewright.studies.kernels import shelf

PROCESSES = 2
"""Each holds some 400 MB while it compiles."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """One kernel after set-up."""

    key: str
    title: str
    seconds: float
    """That compiling took; 0 where an earlier process had done it."""
    trouble: str
    """Why it could not be compiled; "" where it was."""


def prepare(progress: Callable[[str, float], None] | None = None, *, processes: int = PROCESSES) -> list[Prepared]:
    """Compile what is not compiled yet, in `processes` processes, and return every kernel; nothing without numba."""
    if numba_module() is None:
        return []
    tell = progress or (lambda _step, _share: None)
    kernels = dict(shelf.all())
    found = [Prepared(key=k, title=x.title, seconds=0.0, trouble="") for k, x in kernels.items() if is_kept(x.function)]
    due = sorted((k for k in kernels if k not in {f.key for f in found}), key=lambda k: -kernels[k].cost)
    if not due:
        return found
    whole, done = sum(kernels[k].cost for k in due), 0.0
    tell(f"compiling {len(due)} kernels, first {kernels[due[0]].title}", 0.0)
    # Not forked: numba and the linear-algebra libraries have threads of their own.
    pool = ProcessPoolExecutor(min(processes, len(due)), mp_context=get_context("spawn"), initializer=_end_at_once)
    try:
        runs = {pool.submit(_compile, key): key for key in due}
        for run in as_completed(runs):
            key, error = runs[run], run.exception()
            done += kernels[key].cost
            trouble = "" if error is None else f"{type(error).__name__}: {error}"
            seconds = 0.0 if error is not None else run.result()
            found.append(Prepared(key=key, title=kernels[key].title, seconds=seconds, trouble=trouble))
            tell(f"{kernels[key].title}: {trouble or f'{seconds:.1f} s'}", done / whole)
    finally:
        pool.shutdown(cancel_futures=True)
    return found


def _end_at_once() -> None:
    """Leave what there is to say about a Ctrl-C to the process that asked."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _compile(key: str) -> float:
    """Return how long one kernel took to compile [s]."""
    kernel = shelf.get(key)
    numba_module()
    begin = time.perf_counter()
    kernel.tiny()
    return time.perf_counter() - begin
