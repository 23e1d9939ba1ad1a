"""Progress of long work, on standard error: one line that is rewritten in a terminal, plain lines elsewhere."""

import sys
import time
from types import TracebackType

_WIDTH = 24
_PLAIN_EVERY = 2.0


class Line:
    """Shows the step and the share of the work that is done; use it as a context manager."""

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet
        self._terminal = sys.stderr.isatty()
        self._last = -_PLAIN_EVERY

    def __enter__(self) -> "Line":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._terminal and not self._quiet:
            print("\r\033[K", end="", file=sys.stderr, flush=True)

    def tell(self, step: str, share: float) -> None:
        """Show a step; `share` from 0 to 1."""
        if self._quiet:
            return
        if self._terminal:
            full = round(_WIDTH * min(max(share, 0.0), 1.0))
            bar = "=" * full + "." * (_WIDTH - full)
            print(f"\r\033[K[{bar}] {step[:90]}", end="", file=sys.stderr, flush=True)
        elif time.monotonic() - self._last >= _PLAIN_EVERY:
            self._last = time.monotonic()
            print(f"{share:4.0%} {step}", file=sys.stderr, flush=True)
