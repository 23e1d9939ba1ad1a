"""What a transient's waveforms mean: measures against the limits of cell, coil, source, parts and rails."""

from dataclasses import dataclass

import numpy as np

from chargewright.base.units import show
from chargewright.parts.pack import pack_charge_current
from chargewright.parts.supply import Supply
from chargewright.studies.transients.phases import Story
from chargewright.studies.transients.product import Product
from chargewright.studies.transients.record import (
    QUANTITIES,
    Floats,
    Limit,
    Measure,
    Script,
    Side,
    TransientReport,
    Waves,
)

SHORT = 1e-3
"""Longest time for which a pack may be beyond its lasting current [s] (common practice: protections wait longer)."""
MOST_CHANGES = 6
"""Changes of the ruling loop after one event beyond which loops are said to chatter (our choice)."""
Events = tuple[tuple[float, str], ...]
_AT_ONCE = 2
"""Periods within which a quantity that then stays in its band has settled at once."""
_LAST = 0.05
"""Share of a stretch whose mean is its final value."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """Limits of a product that a transient is held to; SI."""

    v_bus_min: float
    v_bus_max: float
    bus_max_by: str
    v_input_max: float
    v_pack_max: float
    i_charge_max: float
    i_discharge_max: float
    i_sat: float
    i_trip: float
    t_trip: float


def bounds_of(product: Product, supply: Supply) -> Bounds:
    """Return the limits of a product on a source."""
    case, build, pack = product.case, product.build, product.case.pack
    bank = build.bank_b if product.path.narrow else build.bank_a
    on_bus = [("capacitors on the bus", bank.part.v_max)]
    high = build.b_high if product.path.narrow else build.a_high
    on_bus += [("stage's switches", high.v_max)] if high is not None else []
    on_bus += [("battery switch", build.battery.v_max)] if build.battery is not None else []
    on_bus += [("rails", case.bus_max)] if np.isfinite(case.bus_max) else []
    by, v_max = min(on_bus, key=lambda one: one[1])
    return Bounds(
        v_bus_min=case.bus_min,
        v_bus_max=v_max,
        bus_max_by=by,
        v_input_max=min(build.bank_a.part.v_max, build.a_high.v_max),
        v_pack_max=pack.cell.limits.v_upper * pack.series,
        i_charge_max=float(pack_charge_current(pack, case.design.ambient.typical)),
        i_discharge_max=pack.i_discharge_max,
        i_sat=build.coil.i_sat,
        i_trip=supply.overload.i_trip.low,
        t_trip=supply.overload.time,
    )


def limits_of(b: Bounds, drawn: tuple[str, ...]) -> tuple[Limit, ...]:
    """Return the limits of what is drawn."""
    every = (
        Limit(of="v_bus", words="lowest bus for the rails", value=b.v_bus_min, side="below"),
        Limit(of="v_bus", words=f"highest bus for the {b.bus_max_by}", value=b.v_bus_max, side="above"),
        Limit(of="v_pack", words="upper limit of the cells", value=b.v_pack_max, side="above"),
        Limit(of="i_pack", words="largest lasting charge current", value=b.i_charge_max, side="above"),
        Limit(of="i_pack", words="largest lasting discharge current", value=-b.i_discharge_max, side="below"),
        Limit(of="i_coil", words="saturation", value=b.i_sat, side="above"),
        Limit(of="i_source", words="source may act", value=b.i_trip, side="above"),
    )
    return tuple(limit for limit in every if limit.of in drawn)


def measures_of(script: Script, story: Story, b: Bounds) -> tuple[Measure, ...]:
    """Return the measures of a transient from its event on."""
    w = story.waves
    after = w.t >= 0.0
    judged = w.t >= max(script.judge_bus_from, 0.0)
    step = float(np.median(np.diff(w.t)))

    def of(key: str, title: str, value: float, unit: str, limit: float | None = None, side: Side = "above",
           note: str = "") -> Measure:  # fmt: skip
        return Measure(key=key, title=title, value=value, unit=unit, limit=limit, side=side, note=note)

    bus_low, bus = w.low["v_bus"][judged], w.high["v_bus"][after]
    pack, source = w.mean["i_pack"][after], w.mean["i_source"][after]
    found = [
        of("bus_low", "lowest bus", float(np.min(bus_low)), "V", b.v_bus_min, "below"),
        of("bus_short", "bus below that for", step * _count(bus_low < b.v_bus_min), "s"),
        of("bus_high", "highest bus", float(np.max(bus)), "V", b.v_bus_max),
        of("input_high", "highest stage input", float(np.max(w.high["v_input"][after])), "V", b.v_input_max),
        of("pack_high", "highest pack voltage", float(np.max(w.mean["v_pack"][after])), "V", b.v_pack_max),
        of("charge_most", "largest charge current", max(float(np.max(pack)), 0.0), "A"),
        of("charge_over", f"above {show(b.i_charge_max, 'A')} for", step * _longest(pack > b.i_charge_max), "s", SHORT),
        of("discharge_most", "largest discharge current", max(-float(np.min(pack)), 0.0), "A"),
        of("discharge_over", f"above {show(b.i_discharge_max, 'A')} for",
           step * _longest(pack < -b.i_discharge_max), "s", SHORT),
        of("coil_most", "largest coil current", _greatest(w, "i_coil", after), "A", b.i_sat),
        of("source_most", "largest source current", float(np.max(source)), "A"),
        of("source_over", f"source above {show(b.i_trip, 'A')} for", step * _longest(source > b.i_trip), "s", b.t_trip),
    ]  # fmt: skip
    if script.charge_target is not None:
        over = max(float(np.max(pack)) - script.charge_target, 0.0)
        found.append(of("charge_overshoot", "overshoot of the charge current", over, "A"))
    stretches = _stretches(story, script.settles_from)
    told = [(_settled(w, script, a, z), z) for a, z in stretches if a >= script.settles_from]
    # What the next event cuts short had no time to settle: a bus that its capacitors hold until the switch closes.
    times = [settled for settled, end in told if settled[1] or end == np.inf]
    slowest = int(np.argmax([t for t, _ in times]))
    note = "" if all(done for _, done in times) else "not settled when the run ends"
    title = f"slowest settling of the {QUANTITIES[script.settles][0]}"
    found.append(of("settling", title, times[slowest][0], "s", note=note))
    changes = max(_changes(w.ruling[(w.t >= a) & (w.t < z)]) for a, z in stretches)
    found.append(of("changes", "changes of the ruling loop, at most", float(changes), "1", float(MOST_CHANGES)))
    return tuple(found)


def _count(which: np.ndarray) -> int:
    return int(np.sum(which))


def _longest(which: np.ndarray) -> int:
    """Return the length of the longest unbroken stretch."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], which.astype(int), [0]])))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


def _greatest(w: Waves, key: str, which: np.ndarray) -> float:
    return float(max(np.max(np.abs(w.high[key][which])), np.max(np.abs(w.low[key][which]))))


def _stretches(story: Story, last_from: float) -> list[tuple[float, float]]:
    """Return beginning and end of what follows each event."""
    begins = [t for t, words in zip(story.begins, story.words, strict=True) if t >= 0.0 and words]
    begins = sorted({*begins, *([last_from] if last_from > 0.0 else [])})
    return list(zip(begins, [*begins[1:], np.inf], strict=True))


def _settled(w: Waves, script: Script, begin: float, end: float) -> tuple[float, bool]:
    """Return how long a stretch takes to stay within the band around its final value, and whether it does at all."""
    inside = (w.t >= begin) & (w.t < end)
    values: Floats = w.mean[script.settles][inside]
    if not len(values):
        return 0.0, True
    last = max(int(_LAST * len(values)), 1)
    final = float(np.mean(values[-last:]))
    away = np.flatnonzero(np.abs(values - final) > script.band)
    if not len(away):
        return 0.0, True
    k = int(away[-1])
    if k < _AT_ONCE:
        return 0.0, True
    done = k < len(values) - 2 * last
    return float(w.t[inside][k] - begin), done


def _changes(ruling: np.ndarray) -> int:
    driven = ruling[ruling >= 0]
    return int(np.sum(driven[1:] != driven[:-1]))


def cause_of(events: Events, w: Waves, measures: tuple[Measure, ...]) -> str:
    """Return in words which limits are passed, and after what; "" where none is."""
    return " ".join(_cause(events, w, m) for m in measures if not m.passes)


def cause_of_one(report: TransientReport, m: Measure) -> str:
    """Return in words how one limit is passed, and after what."""
    return _cause(report.events, report.waves, m)


def _cause(events: Events, w: Waves, m: Measure) -> str:
    assert m.limit is not None
    value, limit = (f"{x:.0f}" if m.unit == "1" else show(x, m.unit, 3) for x in (m.value, m.limit))
    need = f"at most {limit}" if m.side == "above" else f"at least {limit}"
    return f"{m.title}: {value}, where {need} is allowed{_when(events, w, m)}."


def _when(events: Events, w: Waves, m: Measure) -> str:
    series = {
        "bus_low": -w.low["v_bus"], "bus_high": w.high["v_bus"], "input_high": w.high["v_input"],
        "pack_high": w.mean["v_pack"], "coil_most": np.abs(w.high["i_coil"]), "source_over": w.mean["i_source"],
        "charge_over": w.mean["i_pack"], "discharge_over": -w.mean["i_pack"],
    }.get(m.key)  # fmt: skip
    if series is None:
        return ""
    after = w.t >= 0.0
    t = float(w.t[after][int(np.argmax(series[after]))])
    begins = [(b, words) for b, words in events if b <= t]
    if not begins:
        return ""
    begin, words = begins[-1]
    return f", {show(t - begin, 's', 2)} after the event '{words}'"


def verdict_of(measures: tuple[Measure, ...]) -> str:
    """Return what a transient comes to, in one sentence."""
    by = {m.key: m for m in measures}
    if all(m.passes for m in measures):
        slow = by["settling"]
        tail = f"; settled after {show(slow.value, 's', 2)}" if slow.value > 0.0 and not slow.note else ""
        return f"Kept: bus {show(by['bus_low'].value, 'V', 3)} to {show(by['bus_high'].value, 'V', 3)}{tail}."
    failed = ", ".join(m.title for m in measures if not m.passes)
    return f"Not kept: {failed}."
