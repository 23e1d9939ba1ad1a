"""Run a deck in the general circuit simulator and work on its table: straight lines between unevenly spaced points."""

import subprocess
from pathlib import Path

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def simulated(ngspice: str, text: str, folder: Path) -> Floats:
    """Run a deck; return its table, time in the first column."""
    (folder / "deck.cir").write_text(text)
    done = subprocess.run([ngspice, "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=300)
    said, raw = done.stdout + done.stderr, folder / "out.raw"
    assert raw.exists(), said
    assert "aborted" not in said, said
    head, data = raw.read_bytes().split(b"Binary:\n", 1)
    fields = dict(line.split(":", 1) for line in head.decode().splitlines() if ":" in line)
    return np.frombuffer(data).reshape(-1, int(fields["No. Variables"]))


def integral(t: Floats, values: Floats) -> float:
    """Return ∫ of a straight-line waveform."""
    return float(np.sum(0.5 * (values[1:] + values[:-1]) * np.diff(t)))


def power(a: Floats, b: Floats, t: Floats) -> float:
    """Return ∫a·b dt of two straight-line waveforms."""
    pieces = (2 * a[1:] * b[1:] + a[1:] * b[:-1] + a[:-1] * b[1:] + 2 * a[:-1] * b[:-1]) / 6.0
    return float(np.sum(pieces * np.diff(t)))


def between(t: Floats, values: Floats, begin: float, end: float) -> tuple[Floats, Floats]:
    """Return a waveform cut at two instants."""
    kept = (t > begin) & (t < end)
    ends = np.interp([begin, end], t, values)
    return np.array([begin, *t[kept], end]), np.array([ends[0], *values[kept], ends[1]])


def cycle_means(t: Floats, values: Floats, period: float, cycles: int) -> Floats:
    """Return the mean over each period."""
    total = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(t))])
    return np.asarray(np.diff(np.interp(np.arange(cycles + 1) * period, t, total)) / period)
