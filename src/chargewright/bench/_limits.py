"""Where one limit hands over to another, and the days on which something is missing."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from chargewright.base.units import Toleranced, show
from chargewright.bench._board import Board, measured, seen
from chargewright.bench.meters import AMPS, VOLTS
from chargewright.bench.records import Step
from chargewright.network.graph import StateKey
from chargewright.network.solve import Solution, solve
from chargewright.studies.operate import conditions, for_peaks, source_limit
from chargewright.studies.settings import source_limit_point

CURRENT = 0.10
"""Spread of a current that follows from losses, to each side [1] (common practice)."""


def limits(b: Board) -> Iterator[Step]:
    """Yield the source current limit under a load step, and the entry of supplement."""
    supply, limit = b.supply, source_limit(b.case, b.supply)
    point = source_limit_point(b.settings, limit)
    band, basis = Toleranced(limit, limit * (1.0 - b.case.design.charge.i_error), limit), "asked for, not coded"
    if point is not None and not point.clamped:
        band = Toleranced(point.real, point.low, point.high)
        basis = f"coded {point.code} for '{supply.contract}', with its accuracy"
    yield measured(
        "limits and hand-over",
        "Source current limit under a load step",
        how=f"{b.source} with '{supply.contract}', pack at half charge and charging with {show(b.case.i_charge, 'A')}. "
        f"Step the rails from {show(min(b.case.modes.values()), 'W')} to {show(b.case.p_peak, 'W')} and hold; log "
        "source current, pack current and bus from a millisecond before to a second after.",
        quantity="source current once it stands",
        band=band if _reaches(b, limit) else _below(b),
        meter=AMPS,
        unit="A",
        basis=basis if _reaches(b, limit) else "solved: the source is not at its limit even then; losses within 10 %",
        why="Charge and load together trip a source that either alone would not.",
        caution=f"The source acts from {show(supply.overload.i_trip.low, 'A')} on ({supply.overload.kind}).",
    )
    yield from _supplement(b)


def _drawn(b: Board) -> Solution:
    return b.solved("charging", soc=0.5, p_load=b.case.p_peak)


def _reaches(b: Board, limit: float) -> bool:
    """Return whether peak and charge together ask for more than the limit."""
    s = _drawn(b)
    return not bool(s.ok[0]) or float(s.i["source"][0]) > limit


def _below(b: Board) -> Toleranced:
    i = float(_drawn(b).i["source"][0])
    return Toleranced(i, (1.0 - CURRENT) * i, (1.0 + CURRENT) * i)


def _supplement(b: Board) -> Iterator[Step]:
    """The pack has to help: solved with the source at each end of its coded limit."""
    state = b.path.state("supplement")
    if state is None:
        return
    limit = source_limit(b.case, b.supply)
    beyond = max(b.case.p_peak, 1.1 * limit * b.supply.v_set.typ)
    point = source_limit_point(b.settings, limit)
    ends = np.full(3, limit)
    if point is not None and not point.clamped:
        ends = np.array([point.real, point.low, point.high])
    c = conditions(b.case, b.path, "supplement", b.supply, soc=0.5, p_load=np.full(3, beyond), temp=b.temp, i_pack=0.0)
    s = solve(b.path, state, for_peaks(b.case, b.hardware), replace(c, i_source=ends))
    if not s.ok.all():
        return
    i = -s.i["pack"]
    yield measured(
        "limits and hand-over",
        "Supplement begins",
        how=f"{b.source} with '{b.supply.contract}', pack at half charge. Step the rails to {show(beyond, 'W')} for no "
        "longer than the product does, and log the pack current.",
        quantity="current out of the pack",
        band=Toleranced(float(i[0]), (1.0 - CURRENT) * float(i.min()), (1.0 + CURRENT) * float(i.max())),
        meter=AMPS,
        unit="A",
        basis="solved at both ends of the coded source limit, and 10 % for losses",
        why="Supplement that is silently off leaves every peak to the source, and only some sources trip.",
        caution="Parts carry their peak current here: keep the pulse short.",
    )


def bad_days(b: Board) -> Iterator[Step]:
    """Yield unplugging, a flat pack, no pack."""
    yield from _unplugged(b)
    flat = b.path.state("flat-pack")
    if flat is not None:
        s = b.solved("flat-pack", soc=0.0, p_load=b.case.p_boot, i_pack=b.case.i_precharge)
        if s.ok[0]:
            yield _start(b, "flat-pack", "Start with a flat pack", s, f"{show(b.rest_voltage(0.0), 'V')} in its place")
    s = b.solved("no-pack", soc=0.5, p_load=b.case.p_busy)
    if s.ok[0]:
        yield _start(b, "no-pack", "Start with no pack", s, "nothing in its place")
    yield seen(
        "bad days",
        "Every order of plugging, loading and booting",
        how="Load then plug, plug then load, plug then boot, pull and plug again within a second, each with a full, a "
        "flat and no pack; also with the weakest source.",
        quantity="the system comes up, or says why not; it never comes up and falls over again and again",
        why="Sources trip on the order of events, not on the sum of the currents.",
    )


def _unplugged(b: Board) -> Iterator[Step]:
    s = b.solved("battery", soc=0.5, p_load=b.case.p_busy)
    if not s.ok[0]:
        return
    v = float(s.v[b.path.load_at][0])
    drop = b.rest_voltage(0.5) - v
    yield measured(
        "bad days",
        "Source pulled under load",
        how=f"Busiest load ({show(b.case.p_busy, 'W')}), pack at half charge. Pull the source at its connector; catch "
        "the bus with an oscilloscope, ten times.",
        quantity=f"bus voltage once it stands; at no time below {show(b.case.bus_min, 'V')}",
        band=Toleranced(v, v - drop, v + drop),
        meter=VOLTS,
        unit="V",
        basis="solved; twice the drop of pack and battery switch, or none",
        why="Between source and pack lie a switch's delay and the capacitors that have to bridge it.",
    )


def _start(b: Board, key: StateKey, title: str, s: Solution, pack: str) -> Step:
    load = b.case.p_boot if key == "flat-pack" else b.case.p_busy
    i = float(s.i["source"][0])
    return measured(
        "bad days",
        title,
        how=f"{b.source} with '{b.supply.contract}', pack: {pack}. Plug in, let the system start and draw "
        f"{show(load, 'W')}.",
        quantity="source current once it stands",
        band=Toleranced(i, (1.0 - CURRENT) * i, (1.0 + CURRENT) * i),
        meter=AMPS,
        unit="A",
        basis=f"solved in the state '{key}'; losses within 10 % of the current",
        why="Where products fail in the field, because nobody tests it.",
        caution="A pack that was truly flat is not used here: a supply stands in for it.",
    )
