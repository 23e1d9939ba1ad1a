"""The log of a pulse test, and the windows in it from which resistances can be read.

A window starts at the end of a long rest, holds the pulses that follow, and ends before a long move to the next state
of charge or at the end of the next long rest.
"""

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import LogError
from chargewright.base.units import show
from chargewright.parts.cell import Array, frozen

COLUMNS = {"t": "Test Time / s", "i": "Current / A", "v": "Voltage / V"}
"""Heads of the battery data format (BDF); its current is positive into the cell."""
MAX_ROWS = 5_000_000
_ON = 0.02
"""Share of the greatest current above which current counts as flowing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PulseLog:
    """Time [s], current into the cell [A] and voltage of one cell [V]; a step of current may be two rows of one time.

    Make it with `pulse_log` or `read_pulse_log`.
    """

    t: Array
    i: Array
    v: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Samples `first` to `last` of a log; the pulses in it as pairs of samples."""

    first: int
    last: int
    pulses: tuple[tuple[int, int], ...]


def pulse_log(
    t: npt.ArrayLike, i: npt.ArrayLike, v: npt.ArrayLike, *, positive: Literal["charge", "discharge"] = "charge"
) -> PulseLog:
    """Return a log from arrays; `positive` says what a positive current does to the cell. Raises LogError."""
    time, current, voltage = (np.asarray(x, dtype=float).ravel() for x in (t, i, v))
    if not len(time) == len(current) == len(voltage):
        raise LogError(
            f"the log has {len(time)} times, {len(current)} currents and {len(voltage)} voltages; "
            "give one of each a row"
        )
    if len(time) < 10:
        raise LogError(f"the log has {len(time)} rows, too few for a pulse test")
    for name, values in (("time", time), ("current", current), ("voltage", voltage)):
        if not np.all(np.isfinite(values)):
            raise LogError(f"row {int(np.argmin(np.isfinite(values))) + 1} of the log holds no number for the {name}")
    back = np.flatnonzero(np.diff(time) < 0.0)
    if len(back):
        k = int(back[0])
        raise LogError(
            f"time runs backwards after row {k + 1} of the log ({show(time[k], 's')}, then {show(time[k + 1], 's')})"
        )
    sign = 1.0 if positive == "charge" else -1.0
    return PulseLog(t=frozen(time), i=frozen(sign * current), v=frozen(voltage))


def read_pulse_log(path: Path, *, positive: Literal["charge", "discharge"] = "charge") -> PulseLog:
    """Return the log of a CSV file with the columns of the battery data format. Raises LogError."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file)
            heads = [head.strip() for head in next(reader, [])]
            missing = [head for head in COLUMNS.values() if head not in heads]
            if missing:
                named, known = ", ".join(repr(m) for m in missing), ", ".join(heads) or "none"
                raise LogError(f"{path}\n    has no column {named}; it has: {known}")
            at = [heads.index(head) for head in COLUMNS.values()]
            rows: list[tuple[float, ...]] = []
            for number, row in enumerate(reader, start=2):
                if not row:
                    continue
                try:
                    rows.append(tuple(float(row[k]) for k in at))
                except (ValueError, IndexError):
                    raise LogError(
                        f"{path}:{number}\n    does not hold a number under each of {list(COLUMNS.values())}"
                    ) from None
                if len(rows) > MAX_ROWS:
                    raise LogError(f"{path}\n    has more than {MAX_ROWS} rows; thin the log out")
    except OSError as error:
        raise LogError(f"{path}\n    cannot be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        raise LogError(f"{path}\n    is not UTF-8 text") from error
    table = np.array(rows).reshape(-1, 3)
    try:
        return pulse_log(table[:, 0], table[:, 1], table[:, 2], positive=positive)
    except LogError as error:
        raise LogError(f"{path}\n    {error}") from None


def windows(log: PulseLog, *, pulse_longest: float, rest_least: float) -> tuple[Window, ...]:
    """Return the windows of a log; see the top of this file. Times in seconds."""
    state = np.where(np.abs(log.i) > _ON * np.abs(log.i).max(), np.sign(log.i), 0.0)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(state)) + 1])
    ends = np.concatenate([starts[1:] - 1, [len(state) - 1]])
    found: list[Window] = []
    first, pulses = -1, []
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        length = log.t[b] - log.t[max(a - 1, 0)]
        if state[a] != 0.0:
            if length <= pulse_longest:
                pulses.append((a, b))
                continue
            # A long move: what came before it is complete.
            found += _complete(first, a - 1, pulses)
            first, pulses = -1, []
            continue
        if length >= rest_least:
            found += _complete(first, b, pulses)
            first, pulses = b, []
    found += _complete(first, len(state) - 1, pulses)
    return tuple(found)


def _complete(first: int, last: int, pulses: list[tuple[int, int]]) -> list[Window]:
    return [Window(first=first, last=last, pulses=tuple(pulses))] if first >= 0 and pulses else []
