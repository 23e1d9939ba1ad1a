"""What a usage run comes to, in words: what went wrong or nearly did, how much of it, and why."""

from collections.abc import Iterator

import numpy as np

from chargewright.base.units import show
from chargewright.studies.needs import Plan
from chargewright.studies.operate import source_limit
from chargewright.studies.situation import Situation
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
}


def stories(case: Situation, chosen: Plan, run: UsageRun) -> tuple[Story, ...]:
    """Return what is worth telling of a run, the gravest first; a last sentence where all went well."""
    found = [
        *_shut_downs(run),
        *_peaks(run),
        *_never_full(case, chosen, run),
        *_temperature(case, run),
        *_asleep(case, run),
        *_weak_source(case, chosen, run),
        *_flapping(run),
        *_drift(run),
    ]
    return tuple(found) if found else (_well(run),)


def _shut_downs(run: UsageRun) -> Iterator[Story]:
    if run.t_unserved <= 0.0:
        return
    parts = []
    for what, why in _SHUT_DOWNS.items():
        if what in run.counts:
            first = next((e for e in run.events if e.what == what), None)
            when = f", first after {_when(first.t)} at {show(first.soc, '1', 3)} of charge" if first else ""
            parts.append(f"{run.counts[what]} time{'s' if run.counts[what] > 1 else ''} because {why}{when}")
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
        "source": run.seconds(limit="source current"),
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
                    f"The charge stands still {run.counts[what]} time{'s' if run.counts[what] > 1 else ''}, for "
                    f"{_long(blocked)} in all, because the cells are {word} {show(edge, 'K')} (they come to "
                    f"{show(extreme, 'K')}): {_temperature_cause(run, what)}."
                ),
            )


def _temperature_cause(run: UsageRun, what: str) -> str:
    if what == "too cold to charge":
        return "cold cells plate lithium when they are charged, so the charger waits until they are warm"
    if run.settings.enclosure > 0.0:
        return f"the losses of the path warm the pack through the enclosure ({run.settings.enclosure:g} K/W)"
    return "ambient and the heat of the cells themselves add up"


def _asleep(case: Situation, run: UsageRun) -> Iterator[Story]:
    if "pack fell asleep" not in run.counts:
        return
    first = next(e for e in run.events if e.what == "pack fell asleep")
    woken = next((e for e in run.events if e.what == "pack woken"), None)
    after = (
        f"a source wakes it after {_when(woken.t)}"
        if woken
        else "no source comes to wake it, and it goes on losing charge"
    )
    yield Story(
        key="asleep",
        text=(
            f"After {_when(first.t)} the pack is empty and its protection board opens: standby "
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
    return _long(t) if t > 0.0 else "no time at all"


def _sources_at_limit(case: Situation, chosen: Plan, run: UsageRun) -> str:
    rows = zip(run.trace.state, run.trace.source, strict=True)
    seen = {source for state, source in rows if state in ("shared", "supplement")} or set(run.sources)
    limits = (f"{n} at {show(source_limit(case, chosen.contracts[n]), 'A', 3)}" for n in run.sources if n in seen)
    return ", ".join(limits)
