"""Protection ladders: per quantity, what is normal, where each protection acts, how far it overshoots, what breaks.

A ladder climbs (over-voltage, over-current) or descends (under-voltage). Each rung has a band; a rung must end before
the next begins. An overlap means that a protection trips in normal use, or acts only when something has broken.

Thresholds that the design file does not set are proposed here by the stated rules (common practice) and marked so.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.sizing.build import Build, bank_capacitance
from chargewright.studies.needs import Plan
from chargewright.studies.operate import source_limit
from chargewright.studies.settings import Settings
from chargewright.studies.situation import Situation

RungKind = Literal["normal", "set-point", "threshold", "overshoot", "rating"]

OVER_VOLTAGE_ABOVE = 1.05
OVER_VOLTAGE_TOLERANCE = 0.025
"""Proposed over-voltage threshold over the highest normal voltage, and a comparator's tolerance (common practice)."""
CUT_OFF_DELAY = 1e-6
"""From crossing an over-voltage threshold to an open blocking pair [s] (common practice for a fast comparator)."""
CELL_GUARDS = ((0.075, 0.025, 1.0), (0.15, 0.025, 2.0))
"""Guards in the pack: above the charge voltage per cell [V], tolerance [V], delay [s] (common practice)."""
PACK_UNDER_VOLTAGE = (0.25, 0.05, 0.1)
"""Pack's under-voltage cut: below the lowest working cell voltage [V], tolerance [V], delay [s] (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One rung: a band [low, high] around `typ`, SI, in the ladder's unit."""

    kind: RungKind
    name: str
    low: float
    typ: float
    high: float
    delay: float
    """Time until it acts [s]; nan where that has no meaning."""
    origin: str
    """Where the numbers come from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """Rungs in the order in which they have to come."""

    key: str
    title: str
    unit: str
    climbs: bool
    rungs: tuple[Rung, ...]


def ladders(case: Situation, chosen: Plan, build: Build, coded: Settings) -> tuple[Ladder, ...]:
    """Return the ladders of a path with its parts and coded set-points."""
    found = [
        _inlet_voltage(chosen, build),
        _cell_voltage(case, coded),
        _pack_floor(case),
        _source_current(case, chosen, build, coded),
        _charge_current(case, build, coded),
    ]
    if chosen.path.narrow:
        found.insert(1, _bus_voltage(case, chosen, build))
    return tuple(found)


def _inlet_voltage(chosen: Plan, build: Build) -> Ladder:
    top = max(chosen.contracts.values(), key=lambda s: s.v_max_normal)
    typ = top.v_max_normal * OVER_VOLTAGE_ABOVE * (1.0 + OVER_VOLTAGE_TOLERANCE)
    low, high = typ * (1.0 - OVER_VOLTAGE_TOLERANCE), typ * (1.0 + OVER_VOLTAGE_TOLERANCE)
    peak = overshoot(top.v_set.low, high, top.v_max_fault, top.l_cable, float(bank_capacitance(build.bank_a, high)))
    # The rails' inputs on a direct path's bus are left out: they only slow the rise.
    behind = {
        "source-side capacitors": build.bank_a.part.v_max,
        "source-side high switch": build.a_high.v_max,
        "source-side low switch": build.a_low.v_max,
    }
    if not chosen.path.narrow:
        behind |= {f"rail '{r.name}'": r.v_rating for r in chosen.rails}
    weakest = min(behind, key=lambda k: behind[k])
    return Ladder(
        key="inlet-voltage",
        title="voltage behind the blocking pair" if chosen.path.narrow else "voltage of inlet and bus",
        unit="V",
        climbs=True,
        rungs=(
            _rung(
                "normal",
                f"source '{top.contract}'",
                top.v_set.low,
                top.v_set.typ,
                top.v_max_normal,
                "its standard or file",
            ),
            _rung("threshold", "source over-voltage", low, typ, high, "proposed, common practice", CUT_OFF_DELAY),
            _rung(
                "overshoot",
                "until the pair is open",
                high,
                peak,
                peak,
                "source steps to its fault voltage through the cable",
            ),
            _sharp(f"weakest behind it: {weakest}", behind[weakest], "part"),
            _sharp("blocking pair", build.blocking.v_max, "part"),
        ),
    )


def overshoot(v_normal: float, v_threshold: float, v_fault: float, l_cable: float, c: float) -> float:
    """Return the voltage [V] reached when the pair opens, after a source stepped from `v_normal` to `v_fault`.

    Undamped, the capacitors behind the cable follow v(t) = v_fault − (v_fault − v_normal)·cos(t/√(L·C)). They cross the
    threshold with current in the cable already, and the pair opens the cut-off delay later: at most at the first peak
    2·v_fault − v_normal. A step that never reaches the threshold gives the threshold. Derived here (LC step); cable
    resistance and load, left out, only lower it.
    """
    step = v_fault - v_normal
    if v_fault + step <= v_threshold:
        return v_threshold
    turn = 1.0 / np.sqrt(l_cable * c) if l_cable > 0.0 and c > 0.0 else np.inf
    crossing = np.arccos(min((v_fault - v_threshold) / step, 1.0))
    return float(v_fault - step * np.cos(min(crossing + turn * CUT_OFF_DELAY, np.pi)))


def _bus_voltage(case: Situation, chosen: Plan, build: Build) -> Ladder:
    top = chosen.v_bus_max
    regulated = top * (1.0 + case.design.charge.v_error)
    typ = regulated * OVER_VOLTAGE_ABOVE * (1.0 + OVER_VOLTAGE_TOLERANCE)
    behind = {f"rail '{r.name}'": r.v_rating for r in chosen.rails} | {"pack-side capacitors": build.bank_b.part.v_max}
    if build.b_high is not None:
        behind["pack-side high switch"] = build.b_high.v_max
    weakest = min(behind, key=lambda k: behind[k])
    return Ladder(
        key="bus-voltage",
        title="voltage of the bus",
        unit="V",
        climbs=True,
        rungs=(
            _rung("normal", "bus window", case.bus_min, case.v_full, regulated, "study"),
            _rung(
                "threshold",
                "bus over-voltage",
                typ * (1.0 - OVER_VOLTAGE_TOLERANCE),
                typ,
                typ * (1.0 + OVER_VOLTAGE_TOLERANCE),
                "proposed, common practice",
                CUT_OFF_DELAY,
            ),
            _sharp(f"weakest: {weakest}", behind[weakest], "part"),
        ),
    )


def _cell_voltage(case: Situation, coded: Settings) -> Ladder:
    pack = case.pack
    v = pack.v_cell_max
    cell = coded.cell
    low, high = (cell.low, cell.high) if cell is not None else (v, v * (1.0 + case.design.charge.v_error))
    rungs = [_rung("set-point", "charge voltage at the highest cell", low, (low + high) / 2.0, high, "coded set-point")]
    upper = pack.cell.limits.v_upper
    rungs.append(_rung("rating", "upper limit charging voltage", upper, upper, upper, "cell model"))
    for name, (above, tol, delay) in zip(("first", "second"), CELL_GUARDS, strict=True):
        typ = v + above
        rungs.append(
            _rung(
                "threshold", f"{name} guard in the pack", typ - tol, typ, typ + tol, "assumed, common practice", delay
            )
        )
    return Ladder(key="cell-voltage", title="voltage of the highest cell", unit="V", climbs=True, rungs=tuple(rungs))


def _pack_floor(case: Situation) -> Ladder:
    pack = case.pack
    below, tol, delay = PACK_UNDER_VOLTAGE
    cut = pack.v_empty - below * pack.series
    shutdown = max(pack.v_empty, case.bus_min)
    return Ladder(
        key="pack-floor",
        title="pack voltage under discharge",
        unit="V",
        climbs=False,
        rungs=(
            _rung("normal", "working range", shutdown, pack.v_full, pack.v_full, "cells and rails"),
            _rung(
                "threshold", "system shuts down", 0.985 * shutdown, 0.9925 * shutdown, shutdown, "proposed, 1.5 % band"
            ),
            _rung(
                "threshold",
                "pack's own under-voltage cut",
                cut - tol * pack.series,
                cut,
                cut + tol * pack.series,
                "assumed, common practice",
                delay,
            ),
        ),
    )


def _source_current(case: Situation, chosen: Plan, build: Build, coded: Settings) -> Ladder:
    weakest = min(chosen.contracts.values(), key=lambda s: s.i_rated)
    point = next((p for p in coded.points if p.want.quantity == "input_current"), None)
    asked = source_limit(case, weakest)
    band = (point.low, point.real, point.high) if point is not None else (asked, asked, asked)
    trip = weakest.overload.i_trip
    rungs = [
        _rung("set-point", "source current limit", *band, "coded set-point" if point else "asked"),
        _sharp(f"rated current of '{weakest.contract}'", weakest.i_rated, "source"),
        _rung(
            "threshold",
            f"source acts ({weakest.overload.kind})",
            trip.low,
            trip.typ,
            trip.high,
            "source",
            weakest.overload.time,
        ),
        _sharp("blocking pair", build.blocking.i_max, "part"),
    ]
    return Ladder(key="source-current", title="source current", unit="A", climbs=True, rungs=tuple(rungs))


def _charge_current(case: Situation, build: Build, coded: Settings) -> Ladder:
    point = next((p for p in coded.points if p.want.quantity == "charge_current"), None)
    band = (point.low, point.real, point.high) if point is not None else (case.i_charge,) * 3
    limit = case.pack.cell.limits.rate_charge * case.pack.capacity
    rungs = (
        _rung("set-point", "charge current", *band, "coded set-point" if point else "asked"),
        _rung("rating", "cells, usual temperatures", limit, limit, limit, "cell model"),
        _sharp("inductor saturates", build.coil.i_sat, "part"),
    )
    return Ladder(key="charge-current", title="charge current of the pack", unit="A", climbs=True, rungs=rungs)


def _rung(
    kind: RungKind, name: str, low: float, typ: float, high: float, origin: str, delay: float = float("nan")
) -> Rung:
    return Rung(kind=kind, name=name, low=low, typ=typ, high=high, delay=delay, origin=origin)


def _sharp(name: str, value: float, origin: str) -> Rung:
    return _rung("rating", name, value, value, value, origin)


def ladder_findings(ladder: Ladder) -> tuple[Finding, ...]:
    """Return a finding for every rung that does not end before the next begins."""
    found = []
    sign = 1.0 if ladder.climbs else -1.0
    for below, above in zip(ladder.rungs, ladder.rungs[1:], strict=False):
        ends = below.high if ladder.climbs else below.low
        begins = above.low if ladder.climbs else above.high
        if sign * (begins - ends) >= -1e-9 * abs(ends):
            continue
        breaks = above.kind == "rating"
        found.append(
            Finding(
                severity="serious" if breaks else "caution",
                check="ladder",
                where=f"{ladder.title}",
                what=(
                    f"'{below.name}' reaches {show(ends, ladder.unit)}, past the start of '{above.name}' at "
                    f"{show(begins, ladder.unit)}."
                ),
                value=ends,
                limit=begins,
                unit=ladder.unit,
                why=(
                    "The rating can be passed before anything acts."
                    if breaks
                    else "The protection can act in normal use, or two protections race."
                ),
                source="ladder of bands; tolerances from the design file, the parts and common practice",
            )
        )
    return tuple(found)
