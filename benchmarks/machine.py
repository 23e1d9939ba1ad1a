"""What every benchmark says about the machine it ran on: cores, what else ran, medians, memory."""

import os
import platform
import resource
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from types import TracebackType

STAT = Path("/proc/stat")


def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def about() -> str:
    """Return machine and versions on one line."""
    libraries = ", ".join(f"{name} {version(name)}" for name in ("numpy", "numba") if _has(name))
    return f"{platform.machine()}, {cores()} cores, Python {platform.python_version()}, {libraries}"


def _has(name: str) -> bool:
    try:
        version(name)
    except ModuleNotFoundError:
        return False
    return True


def _busy_seconds() -> float | None:
    """Return how long all cores together have been busy since the machine started, where the system tells."""
    if not STAT.exists():
        return None
    ticks = [int(word) for word in STAT.read_text().split("\n", 1)[0].split()[1:]]
    idle = ticks[3] + ticks[4]  # idle, waiting for a disk
    return (sum(ticks[:8]) - idle) / os.sysconf("SC_CLK_TCK")


@dataclass
class Watch:
    """Wall time, own processor time and what other processes used meanwhile, over a `with` block."""

    wall: float = 0.0
    own: float = 0.0
    others: float | None = None
    """Cores' worth of processor time that other processes used; None where the system does not tell."""
    _start: tuple[float, float, float | None] = field(default=(0.0, 0.0, None), repr=False)

    def __enter__(self) -> "Watch":
        self._start = (time.perf_counter(), time.process_time(), _busy_seconds())
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        wall, own, busy = self._start
        self.wall = time.perf_counter() - wall
        self.own = time.process_time() - own
        now = _busy_seconds()
        if busy is not None and now is not None and self.wall > 0.0:
            self.others = max((now - busy - self.own) / self.wall, 0.0)


def repeated(work: Callable[[], object], times: int) -> list[Watch]:
    """Run `work` several times and return what each run took."""
    watches = []
    for _ in range(times):
        with Watch() as watch:
            work()
        watches.append(watch)
    return watches


def median(watches: list[Watch], what: str) -> float:
    """Return the median of `wall` or `own` [s]."""
    return statistics.median(getattr(w, what) for w in watches)


def other_load(watches: list[Watch]) -> str:
    """Return what else ran, in cores, from the least to the most busy run."""
    known = [w.others for w in watches if w.others is not None]
    return f"{min(known):.1f} to {max(known):.1f} cores" if known else "not told by this system"


def peak_memory() -> int:
    """Return the most memory that this process has had [B]."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak if sys.platform == "darwin" else peak * 1024
