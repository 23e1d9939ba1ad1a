"""A load log while it is read: rows are checked and resampled piece by piece, and what is wrong is gathered."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import LogError
from chargewright.base.units import show
from chargewright.bridges._log_bins import Bins, Floats
from chargewright.bridges._log_rows import Rows
from chargewright.bridges._log_wrong import BACKWARDS, BAD_ROW, GAP, REPEATED, STANDSTILL, Kind, Wrong
from chargewright.parts.cell import frozen
from chargewright.studies.usage.series import LoadLog

Places = npt.NDArray[np.int8]
_GAP = 10.0
"""A distance between rows this many times the usual one is a gap [1]."""
_NOISE = 1e-3
"""Power below zero by no more than this share of the greatest is noise around zero [1]."""
_MOST_SOURCES = 12
_EXAMPLES = 3


@dataclass(slots=True, kw_only=True)
class Reading:
    """The rows so far, resampled, and everything that was found."""

    where: str
    step: float
    gaps: str
    bad: str
    sign: float
    notes: list[str] = field(default_factory=list)
    wrong: Wrong = field(default_factory=Wrong)
    bins: Bins | None = None
    rows: int = 0
    usual: float = 0.0
    """Usual distance between rows [s]."""
    t_first: float = 0.0
    t_last: float = 0.0
    p_last: float = 0.0
    source_last: int = -1
    """Time since the first row, power and source of the last row, which hold until the next."""
    highest: float = 0.0
    lowest: float = 0.0
    below_zero: int = 0
    lifted: float = 0.0
    """Energy added by setting noise below zero to zero [J]."""
    t_gaps: float = 0.0
    names: list[str] = field(default_factory=list)
    name_lines: list[int] = field(default_factory=list)
    """Line in which each name was met first."""
    line_below_zero: int = 0
    has_sources: bool = False
    decimal_commas: bool = False

    def take(self, rows: Rows) -> None:
        """Take in the rows of a piece."""
        self.wrong.add(BAD_ROW, [f"line {line}: {what}" for line, what in rows.bad[:_EXAMPLES]], len(rows.bad))
        self.decimal_commas |= rows.decimal_commas
        if len(rows.t) == 0:
            return
        source, p = self._places(rows), self.sign * rows.p
        t, line = rows.t, rows.line
        if self.bins is None:
            self.bins, self.t_first = Bins(self.step, self.where), float(t[0])
            steps = np.diff(t[:10_000])
            self.usual = float(np.median(steps[steps > 0.0])) if np.any(steps > 0.0) else 0.0
            t = t - self.t_first
            self._note_powers(p, line)
        else:
            self._note_powers(p, line)
            t = np.concatenate([[self.t_last], t - self.t_first])
            p, line = np.concatenate([[self.p_last], p]), np.concatenate([[line[0] - 1], line])
            source = np.concatenate([np.array([self.source_last], dtype=np.int8), source])
        wide = self._check(t, p, source, line)
        self.rows += len(rows.t)
        self.t_last, self.p_last, self.source_last = float(t[-1]), float(p[-1]), int(source[-1])
        if not self._refused():
            self._fill(self.bins, t, np.maximum(p, 0.0), source, wide)

    def _check(self, t: Floats, p: Floats, source: Places, line: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
        """Note what is wrong with the order of the rows; returns where the gaps are."""
        step = np.diff(t)
        same = step == 0.0
        repeated = same & (np.diff(p) == 0.0) & (np.diff(source) == 0)
        wide = step > _GAP * self.usual if self.usual > 0.0 else np.zeros(len(step), dtype=bool)
        self.t_gaps += float(np.sum(step[wide]))

        def note(kind: Kind, found: npt.NDArray[np.bool_], text: str) -> None:
            at = np.flatnonzero(found)
            texts = [text.format(line=line[k + 1], long=show(abs(float(step[k])), "s")) for k in at[:_EXAMPLES]]
            self.wrong.add(kind, texts, len(at))

        note(REPEATED, repeated, "line {line}")
        note(STANDSTILL, same & ~repeated, "line {line}")
        note(BACKWARDS, step < 0.0, "line {line}, by {long}")
        note(GAP, wide, "{long} before line {line}")
        return wide

    def _fill(self, bins: Bins, t: Floats, p: Floats, source: Places, wide: npt.NDArray[np.bool_]) -> None:
        held = p[:-1]
        if self.gaps == "off" and wide.any():
            # The last value holds for the usual distance, then the product is off.
            at = np.flatnonzero(wide)
            t = np.insert(t, at + 1, t[at] + self.usual)
            held, source = np.insert(held, at + 1, 0.0), np.insert(source, at + 1, source[at])
        bins.add(t, held, source[:-1])

    def _note_powers(self, p: Floats, line: npt.NDArray[np.int64]) -> None:
        self.highest, self.lowest = max(self.highest, float(np.max(p))), min(self.lowest, float(np.min(p)))
        if self.below_zero == 0 and np.any(p < 0.0):
            self.line_below_zero = int(line[np.argmax(p < 0.0)])
        self.below_zero += int(np.sum(p < 0.0))
        self.lifted -= float(np.sum(np.minimum(p, 0.0))) * self.usual

    def _places(self, rows: Rows) -> Places:
        if rows.source is None:
            return np.full(len(rows.t), -1, dtype=np.int8)
        self.has_sources = True
        new = [n for n in dict.fromkeys(rows.source) if n not in ("", "none") and n not in self.names]
        self.names += new
        self.name_lines += [int(rows.line[rows.source.index(n)]) for n in new]
        if len(self.names) > _MOST_SOURCES:
            shown = ", ".join(self.names[:4])
            raise LogError(f"{self.where}: the column of sources names more than {_MOST_SOURCES}: {shown} …")
        places = {name: k for k, name in enumerate(self.names)} | {"": -1, "none": -1}
        return np.array([places[name] for name in rows.source], dtype=np.int8)

    def _refused(self) -> bool:
        wrong = self.wrong
        unread = wrong[BAD_ROW] > 0 and self.bad == "refuse"
        gaps = wrong[GAP] > 0 and self.gaps == "refuse"
        return bool(unread or gaps or wrong[BACKWARDS] or wrong[STANDSTILL])

    def finished(self) -> LoadLog:
        """Return the log; raises LogError with all that keeps it from being used."""
        problems = list(self._problems())
        if problems or self.bins is None:
            raise LogError("\n".join([f"{self.where}: the log cannot be used", *(f"    {p}" for p in problems)]))
        hold = self.usual or self.step
        last = np.array([self.source_last], dtype=np.int8)
        self.bins.add(np.array([self.t_last, self.t_last + hold]), np.array([max(self.p_last, 0.0)]), last)
        power = self.bins.power()
        return LoadLog(
            name=self.where,
            step=self.step,
            power=frozen(power),
            peak=frozen(np.maximum(self.bins.peak[: len(power)].astype(float), power)),
            source=self.bins.source[: len(power)].copy() if self.has_sources else None,
            sources=tuple(self.names),
            source_lines=tuple(self.name_lines),
            energy=self.bins.total,
            rows=self.rows,
            notes=tuple(self._notes(hold)),
        )

    def _problems(self) -> Iterator[str]:
        for kind, refused in (
            (BAD_ROW, self.bad == "refuse"), (GAP, self.gaps == "refuse"), (BACKWARDS, True), (STANDSTILL, True),
        ):  # fmt: skip
            if self.wrong[kind] and refused:
                yield f"{self.wrong.told(kind)}. {kind.cure}".rstrip()
        if self.rows < 2:
            yield f"It has {self.rows} row{'' if self.rows == 1 else 's'} that can be used; two are needed."
        elif self.highest <= 0.0 and self.lowest < 0.0:
            yield (
                "Every power is below zero: the log counts consumption as negative. Read it with the sign turned "
                "(--flip-sign)."
            )
        elif self.lowest < -_NOISE * self.highest:
            yield (
                f"{self.below_zero} of {self.rows} powers are below zero, first in line {self.line_below_zero}, down "
                f"to {show(self.lowest, 'W')}: a load cannot give power. Is this the log of a pack or of a source, or "
                "is the sign of the current turned?"
            )

    def _notes(self, hold: float) -> Iterator[str]:
        yield from self.notes
        if self.decimal_commas:
            yield "Its numbers have a decimal comma."
        if self.sign < 0.0:
            yield "The sign of the power is turned: the log counts consumption as negative."
        if self.wrong[BAD_ROW]:
            yield f"Dropped, so that the value before holds on: {self.wrong.told(BAD_ROW)}."
        if self.wrong[REPEATED]:
            yield f"Passed over: {self.wrong.told(REPEATED)}."
        if self.wrong[GAP]:
            what = "the last value holds on" if self.gaps == "hold" else "the product is taken as off"
            yield f"{self.wrong.told(GAP)}, {show(self.t_gaps, 's')} in all: there {what}."
        if self.below_zero:
            yield f"{self.below_zero} powers a little below zero are set to zero, which adds {show(self.lifted, 'J')}."
        if self.t_first:
            yield "Time is counted from the first row."
        yield f"The last row holds for {show(hold, 's')}, the usual distance between rows."
