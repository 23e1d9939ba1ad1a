"""Progress of long work, on standard error: one line that is rewritten in a terminal, plain lines elsewhere.

It also sees to it that the user's stop is heard: an interrupt that falls into a callback of compiled code is dropped
there by the interpreter, so the line remembers it and stops the work at its next step.
"""

import signal
import sys
import threading
import time
from types import TracebackType
from typing import Any

_WIDTH = 24
_PLAIN_EVERY = 2.0


class Line:
    """Shows the step and the share of the work that is done; use it as a context manager."""

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet
        self._terminal = sys.stderr.isatty()
        self._last = -_PLAIN_EVERY
        self._stopped = False
        self._before: Any = None

    def __enter__(self) -> "Line":
        if threading.current_thread() is threading.main_thread():
            self._before = signal.signal(signal.SIGINT, self._stop)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)
        if self._terminal and not self._quiet:
            print("\r\033[K", end="", file=sys.stderr, flush=True)

    def _stop(self, *_: object) -> None:
        self._stopped = True
        raise KeyboardInterrupt

    def tell(self, step: str, share: float) -> None:
        """Show a step; `share` from 0 to 1. Raises KeyboardInterrupt if the user has asked to stop."""
        if self._stopped:
            raise KeyboardInterrupt
        if self._quiet:
            return
        if self._terminal:
            full = round(_WIDTH * min(max(share, 0.0), 1.0))
            bar = "=" * full + "." * (_WIDTH - full)
            print(f"\r\033[K[{bar}] {step[:90]}", end="", file=sys.stderr, flush=True)
        elif time.monotonic() - self._last >= _PLAIN_EVERY:
            self._last = time.monotonic()
            print(f"{share:4.0%} {step}", file=sys.stderr, flush=True)
