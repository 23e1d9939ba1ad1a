"""What a usage run comes to, in words: what went wrong or nearly did, how much of it, and why."""

from collections.abc import Iterator

import numpy as np

from chargewright.base.units import show
from chargewright.studies.needs import Plan, lowest_input
from chargewright.studies.operate import source_limit
from chargewright.studies.situation import Situation
from chargewright.studies.usage.feeding import feeding
from chargewright.studies.usage.record import Story, UsageRun

_DAY = 86400.0
_MANY_FLIPS = 20.0
"""Turns of the pack current a day from which they are told (our choice)."""
_WORTH_TELLING = 60.0
"""Seconds from which a limit is told."""
_SHUT_DOWNS = {
    "pack empty": "the pack was empty",
    "bus too low": "the bus was lower than the rails need",
    "pack current": "the pack's greatest discharge current would have been passed",
    "source overloaded": "source and path could not carry the load",
    "pack asleep": "the pack was asleep",
    "pack too cold to give": "the pack was too cold to give current",
    "pack too hot to give": "the pack was too hot to give current",
    "lowest cell empty": "the lowest cell was empty",
}


def stories(case: Situation, chosen: Plan, run: UsageRun) -> tuple[Story, ...]:
    """Return what is worth telling of a run, the gravest first; a last sentence where every load is served."""
    found = [
        *_shut_downs(run),
        *_peaks(run),
        *_never_full(case, chosen, run),
        *_temperature(case, run),
        *_refused(case, run),
        *_tripped(case, chosen, run),
        *_low_source(case, chosen, run),
        *_highest_cell(case, run),
        *_asleep(case, run),
        *_weak_source(case, chosen, run),
        *_flapping(run),
        *_drift(run),
    ]
    fine = run.t_unserved == 0.0 and run.brown_outs == 0.0
    return (*found, _well(run)) if fine else tuple(found)


def _shut_downs(run: UsageRun) -> Iterator[Story]:
    if run.t_unserved <= 0.0:
        return
    parts = []
    for what, why in _SHUT_DOWNS.items():
        if what in run.counts:
            first = next((e for e in run.events if e.what == what), None)
            when = f", first {_when(first.t)} at {show(first.soc, '1', 3)} of charge" if first else ""
            parts.append(f"{_times(run.counts[what])} because {why}{when}")
    asked = float(np.sum(run.daily.e_asked)) - run.e_load
    yield Story(
        key="unserved",
        text=f"For {_long(run.t_unserved)} no load is served ({show(asked, 'J')} are missing): {'; '.join(parts)}.",
    )


def _peaks(run: UsageRun) -> Iterator[Story]:
    for risk in run.peaks:
        if risk.per_day > 0.0:
            yield Story(key="peaks", text=f"{risk.cause} That would be {risk.per_day:.0f} restarts a day.")


def _never_full(case: Situation, chosen: Plan, run: UsageRun) -> Iterator[Story]:
    t_source = float(np.sum(run.daily.t_source))
    if t_source < 3600.0 or "charge ended" in run.counts:
        return
    wanted = sum(run.seconds(state=s) for s in ("charging", "shared", "charge waits", "supplement", "flat pack"))
    if wanted < 0.5 * t_source and "charge timer ran out" not in run.counts:
        return
    yield Story(
        key="never-full",
        text=f"In {_long(t_source)} on a source no charge is finished: {_why_never(case, chosen, run)}.",
    )


def _why_never(case: Situation, chosen: Plan, run: UsageRun) -> str:
    held = {
        "source": run.seconds(limit="source current") + run.seconds(limit="headroom after supplement"),
        "voltage": run.seconds(limit="source voltage"),
        "temperature": run.seconds(limit="temperature"),
        "parallel": run.seconds(state="charging", limit="charge voltage") if chosen.path.key == "parallel" else 0.0,
        "time": run.seconds(state="charging", limit="charge current"),
    }
    tail = ", and the charge timer then ends it" if "charge timer ran out" in run.counts else ""
    most = max(held, key=lambda k: held[k])
    if most == "source":
        return f"source and load leave too little for it, the source is at its limit for {_long(held['source'])}{tail}"
    if most == "voltage":
        return f"the source's voltage is too low to charge further, for {_long(held['voltage'])}"
    if most == "temperature":
        return f"the temperature of the cells cuts it back or keeps it off for {_long(held['temperature'])}"
    if most == "parallel":
        return (
            "the charger measures pack and load current together, and the load alone is above the "
            f"{show(case.i_termination, 'A')} at which a charge ends: it is held at the charge voltage for ever{tail}"
        )
    return f"the time on a source is too short, {_long(held['time'])} of it with the full charge current"


def _temperature(case: Situation, run: UsageRun) -> Iterator[Story]:
    blocked = float(np.sum(run.daily.t_blocked))
    limits = case.pack.cell.limits
    for what, edge, word, extreme in (
        ("too cold to charge", limits.temp_charge_low, "below", float(np.min(run.daily.temp_low))),
        ("too hot to charge", limits.temp_charge_high, "above", float(np.max(run.daily.temp_high))),
    ):
        if what in run.counts:
            yield Story(
                key=what.replace(" ", "-"),
                text=(
                    f"The charge stands still {_times(run.counts[what])}, for "
                    f"{_long(blocked)} in all, because the cells are {word} {show(edge, 'K')} (they come to "
                    f"{show(extreme, 'K')}): {_temperature_cause(case, run, what)}."
                ),
            )


def _temperature_cause(case: Situation, run: UsageRun, what: str) -> str:
    if what == "too cold to charge":
        return "cold cells plate lithium when they are charged, so the charger waits until they are warm"
    if run.settings.enclosure > 0.0:
        around = show(max(run.settings.ambient or (case.design.ambient.typical,)), "K")
        return (
            f"the losses of the path warm the pack through the enclosure ({run.settings.enclosure:g} K/W), with "
            f"{around} around it"
        )
    return "ambient and the heat of the cells themselves add up"


def _refused(case: Situation, run: UsageRun) -> Iterator[Story]:
    refused = float(np.sum(run.daily.t_refused))
    if refused <= 0.0:
        return
    limits = case.pack.cell.limits
    for what, edge, word, extreme in (
        ("pack too cold to give", limits.temp_discharge_low, "below", float(np.min(run.daily.temp_low))),
        ("pack too hot to give", limits.temp_discharge_high, "above", float(np.max(run.daily.temp_high))),
    ):
        if (extreme < edge) if word == "below" else (extreme > edge):
            dark = run.seconds(state="off", limit=what)
            after = (
                f"without a source the product is dark, for {_long(dark)}"
                if dark > 0.0
                else "a source carries every load meanwhile"
            )
            yield Story(
                key=what.replace(" ", "-"),
                text=(
                    f"For {_long(refused)} the pack gives no current, because its cells are {word} {show(edge, 'K')}, "
                    f"the end of their temperatures for discharge (they come to {show(extreme, 'K')}): {after}."
                ),
            )


_AFTER_TRIP = {
    "hiccup": "it tries again every {retry} and trips again for as long as the load stays",
    "latch-off": "it stays off until it is plugged in again",
    "fold-back": "it folds back, and returns when the load is less",
    "constant-current": "its voltage collapses, and returns when the load is less",
}


def _tripped(case: Situation, chosen: Plan, run: UsageRun) -> Iterator[Story]:
    trips = float(np.sum(run.daily.trips))
    if trips <= 0.0:
        return
    first = next(e for e in run.events if e.what == "source tripped")
    supply = feeding(case, chosen, first.source)
    after = _AFTER_TRIP[supply.overload.kind].format(retry=_long(run.settings.retry))
    times = "once" if trips < 1.5 else f"{trips:.0f} times"
    yield Story(
        key="tripped",
        text=(
            f"The load asks {first.source} for more than it gives ({show(supply.i_rated, 'A', 3)} lastingly, "
            f"{show(supply.overload.i_trip.low, 'A', 3)} for {_long(supply.overload.time)}): it trips {times}, first "
            f"{_when(first.t)}, and is off for {_long(float(np.sum(run.daily.t_tripped)))} in all; {after}. Nothing "
            "between source and bus holds the current on this path, so meanwhile the pack has to carry the load alone."
        ),
    )


def _low_source(case: Situation, chosen: Plan, run: UsageRun) -> Iterator[Story]:
    named = "source voltage"
    held, alone = run.seconds(state="shared", limit=named), run.seconds(state="battery", limit=named)
    still = run.seconds(limit=named) - held - alone
    if held + alone + still < _WORTH_TELLING:
        return
    rows = zip(run.trace.limit, run.trace.source, strict=True)
    names = [source for source in dict.fromkeys(s for limit, s in rows if limit == named) if source]
    too_low = [f"{n} ({show(lowest_input(feeding(case, chosen, n)), 'V', 3)} in the worst case)" for n in names]
    parts = [
        f"{what} for {_long(seconds)}"
        for what, seconds in (
            ("the charge is held back", held),
            ("the charge stands still while the source carries the load", still),
            ("the source cannot be used at all and the pack carries the load", alone),
        )
        if seconds > 0.0
    ]
    yield Story(
        key="low-source",
        text=(
            f"The voltage of {', '.join(too_low) or 'the source'} leaves the path too little room to a pack that is "
            f"full at {show(case.v_full, 'V', 3)}: {'; '.join(parts)}."
        ),
    )


def _highest_cell(case: Situation, run: UsageRun) -> Iterator[Story]:
    ended = run.counts.get("highest cell too high", 0)
    if ended == 0:
        return
    pack = case.pack
    v_protect = show(max(pack.cell.limits.v_upper, pack.v_cell_max), "V")
    yield Story(
        key="highest-cell",
        text=(
            f"{_times(ended).capitalize()} the pack's protection ends the charge, because the highest cell passes "
            f"{v_protect} before the pack is full: the cells differ by {show(pack.spread_capacity, '1')} in capacity, "
            f"{show(pack.spread_soc, '1')} in charge{_made_good(case, run, ended)}."
        ),
    )


def _made_good(case: Situation, run: UsageRun, ended: int) -> str:
    """Return what balancing has to do with it."""
    pack, last = case.pack, [e.t for e in run.events if e.what == "highest cell too high"]
    if pack.balance_current <= 0.0:
        return ", and nothing balances them"
    # The last charge of a run that goes on without it tells that balancing has caught up.
    filled = [e.t for e in run.events if e.what == "charge ended"]
    if len(last) == ended and filled and filled[-1] > last[-1]:
        return f"; the last time {_when(last[-1])}, then balancing has made that good"
    return f"; {show(pack.balance_current, 'A')} of balancing do not make that good in time"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _asleep(case: Situation, run: UsageRun) -> Iterator[Story]:
    if "pack fell asleep" not in run.counts:
        return
    first = next(e for e in run.events if e.what == "pack fell asleep")
    woken = next((e for e in run.events if e.what == "pack woken"), None)
    after = (
        f"a source wakes it {_when(woken.t)}" if woken else "no source comes to wake it, and it goes on losing charge"
    )
    yield Story(
        key="asleep",
        text=(
            f"{_when(first.t).capitalize()} the pack is empty and its protection board opens: standby "
            f"({show(case.design.system.standby, 'W')}) and self-discharge have drained it; {after}. A pack that stays "
            "below its lowest voltage is damaged: the cell maker says whether it may be charged again."
        ),
    )


def _weak_source(case: Situation, chosen: Plan, run: UsageRun) -> Iterator[Story]:
    t_source = float(np.sum(run.daily.t_source))
    shared, helped = run.seconds(state="shared"), run.seconds(state="supplement")
    if shared < _WORTH_TELLING and helped < _WORTH_TELLING and not np.any(run.daily.t_overload > 0.0):
        return
    limits = _sources_at_limit(case, chosen, run)
    parts = []
    if shared >= _WORTH_TELLING:
        parts.append(f"the charge is cut back for {_long(shared)}")
    if helped >= _WORTH_TELLING:
        energy = show(float(np.sum(run.daily.e_supplement)) * _DAY / run.length, "J")
        parts.append(f"the pack helps for {_long(helped)} ({energy} a day)")
    over = float(np.sum(run.daily.t_overload))
    if over > 0.0:
        parts.append(f"the source is asked for more than it may lastingly give for {_long(over)}")
    yield Story(
        key="weak-source",
        text=f"Of {_long(t_source)} on a source, {'; '.join(parts)}: the load leaves too little of {limits}.",
    )


def _flapping(run: UsageRun) -> Iterator[Story]:
    flips = float(np.sum(run.daily.flips)) * _DAY / run.length
    if flips > _MANY_FLIPS:
        yield Story(
            key="flapping",
            text=(
                f"On the source the pack turns between charge and discharge {flips:.0f} times a day: the load goes to "
                "and fro across the source's limit. Each turn is a small cycle; more headroom or dwell before "
                "supplement ends, or a stronger source, calms it."
            ),
        )


def _drift(run: UsageRun) -> Iterator[Story]:
    ends = run.daily.soc_end
    # A charger lets a full pack fall by self-discharge until it is time for the next charge: no drift.
    rests = run.settings.self_discharge * (run.length - _DAY) if float(np.sum(run.daily.t_source)) > 0.0 else 0.0
    if len(ends) > 2 and ends[0] - ends[-1] <= 1.1 * rests:
        return
    if len(ends) > 2 and ends[-1] < ends[0] - 0.02 and run.t_unserved == 0.0:
        days = ends[-1] / max((ends[0] - ends[-1]) / (len(ends) - 1), 1e-9)
        yield Story(
            key="drift",
            text=f"Each day ends emptier than the one before; at this pace the pack is empty in {days:.0f} more days.",
        )


def _well(run: UsageRun) -> Story:
    lowest = show(float(np.min(run.daily.soc_low)), "1", 3)
    return Story(key="well", text=f"Every load is served in {_long(run.length)}; the pack never falls below {lowest}.")


def _long(seconds: float) -> str:
    return show(seconds, "s", 3)


def _when(t: float) -> str:
    return f"after {_long(t)}" if t > 0.0 else "at the very start"


def _sources_at_limit(case: Situation, chosen: Plan, run: UsageRun) -> str:
    rows = zip(run.trace.state, run.trace.source, strict=True)
    seen = {source for state, source in rows if state in ("shared", "supplement")} or set(run.sources)
    limits = (f"{n} at {show(source_limit(case, feeding(case, chosen, n)), 'A', 3)}" for n in run.sources if n in seen)
    return ", ".join(limits)
