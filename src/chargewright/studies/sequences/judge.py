"""What of a passage is bad, and why: the name of a limit cycle, a reset, a latch, a product that stays dead."""

from dataclasses import dataclass

from chargewright.base.units import show
from chargewright.sim import sequence_rules as code
from chargewright.sim.sequence import Change, Passage
from chargewright.sim.sequence_rules import Machine
from chargewright.studies.sequences.record import OutcomeKey
from chargewright.studies.sequences.words import ON, resets

_LASTING = 1.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One bad thing in one passage."""

    key: OutcomeKey
    cause: str
    no_pack: bool
    default: bool
    """Whether the default contract was in force."""


def verdicts(p: Machine, run: Passage, word: str) -> tuple[Verdict, ...]:
    """Return what is bad in a passage that the event `word` began."""
    found: list[Verdict | None] = [
        _cycle(p, run),
        *([] if run.cycle else _resets(p, run, word)),
        _latched(p, run, word),
        _dead(p, run),
        _beyond(p, run),
        _pack_beyond(p, run),
    ]
    if run.ending == "not settled":
        end = run.end.now
        found.append(
            Verdict(
                key="not-settled",
                cause=(
                    f"After {show(run.end.x[code.T], 's', 3)}, {len(run.changes)} changes and {len(resets(run))} "
                    "resets of the load nothing has settled, and no round was like the one before."
                ),
                no_pack=end[code.PACK] != code.FITTED,
                default=end[code.AT] == 0,
            )
        )
    return tuple(v for v in found if v is not None)


def _of(now: tuple[int, ...], key: OutcomeKey, cause: str) -> Verdict:
    return Verdict(key=key, cause=cause, no_pack=now[code.PACK] != code.FITTED, default=now[code.AT] == 0)


def cycle_key(cycle: tuple[Change, ...]) -> OutcomeKey:
    """Return the name of a limit cycle by what it goes through."""
    seen = [c.now for c in cycle]
    trips = any(n[code.SRC] in (code.RESTS, code.RESETS) for n in seen)
    reset = any(n[code.LOAD] in ON for n in seen) and any(n[code.LOAD] in (code.HELD, code.LOCKED) for n in seen)
    if trips:
        return "trip-and-restart" if reset else "trip-and-return"
    if any(n[code.IN] == code.RETRIES for n in seen):
        return "input-chatter"
    if len({n[code.PACK] for n in seen}) > 1:
        return "protection-loop"
    return "restart-loop" if reset else "flapping"


def _cycle(p: Machine, run: Passage) -> Verdict | None:
    if not run.cycle:
        return None
    key = cycle_key(run.cycle)
    first = run.cycle[0].now
    every = f"every {show(run.period, 's', 3)}"
    at = first[code.AT]
    trip, limit = (p.i_trip_1, p.i_limit_1) if at else (p.i_trip_0, p.i_limit_0)
    peak = show(run.sums.i_peak, "A", 3)
    resting = " while no pack fills in" if first[code.PACK] != code.FITTED else ""
    causes: dict[OutcomeKey, str] = {
        "trip-and-restart": (
            f"The load takes up to {peak} from a source that acts at {show(trip, 'A', 3)}{resting}; the bus falls with "
            f"it, the product resets, both come back and meet the same load again {every}."
        ),
        "trip-and-return": (
            f"The load takes up to {peak} from a source that acts at {show(trip, 'A', 3)}; the pack carries the "
            f"product until the source is back, and {every} it trips again."
        ),
        "input-chatter": _chatter(p, run, limit, trip, every),
        "restart-loop": (
            f"Started, the load pulls the bus to {show(run.sums.v_low, 'V', 3)} and resets at "
            f"{show(p.v_off, 'V', 3)}; unloaded the bus recovers above {show(p.v_on, 'V', 3)} and it starts again, "
            f"{every}{resting}."
        ),
        "protection-loop": (
            f"The charger wakes a pack whose protection then opens again under load at {show(p.v_cut, 'V', 3)}, "
            f"{every}."
        ),
        "flapping": (
            f"Supplement ends with {show(max(1.0 - p.headroom, 0.0), '1', 3)} of the source's limit in use, which the "
            f"load still asks for ({peak} of {show(limit, 'A', 3)}): {every} the pack leaves and is called back."
        ),
    }
    return _of(first, key, causes[key])


def _chatter(p: Machine, run: Passage, limit: float, trip: float, every: str) -> str:
    if not any(c.now[code.IN] == code.FED for c in run.cycle):
        return (
            f"The soft start never ends: the load takes all that the source gives ({show(trip, 'A', 3)}) before the "
            f"bus is up, and after {show(p.t_ramp, 's', 2)} the controller gives up, {every}."
        )
    return (
        f"Without load the input is good; once connected it falls to {show(run.sums.v_in_low, 'V', 3)} and the "
        f"controller lets go at {show(p.v_bad, 'V', 3)}. What is drawn (limit {show(limit, 'A', 3)}) drops too "
        f"much over {show(p.r_line, 'ohm', 3)} of source and cable, or passes what the source holds, {every}."
    )


def _resets(p: Machine, run: Passage, word: str) -> list[Verdict]:
    found = []
    for k in resets(run)[:1]:
        change = run.changes[k]
        now = change.now
        fed = now[code.IN] == code.FED or any(c.now[code.IN] == code.FED for c in run.changes[:k])
        charged = now[code.PACK] == code.FITTED and now[code.SOC] > code.FLAT
        low = show(run.sums.v_low, "V", 3)
        if charged:
            cause = (
                f"{show(change.t, 's', 2)} after '{word}' the bus is at {low}, {show(p.v_off, 'V', 3)} are needed, "
                f"while a charged pack is fitted. {_why_pack(p, run, now)}"
            )
            found.append(_of(now, "reset-with-pack", cause))
        elif fed and (now[code.IN] == code.FED or _tripped(run, k)):
            at = _contract_before(run, k)
            gives = (p.i_limit_1 * p.e_1) if at else (p.i_limit_0 * p.e_0)
            cause = (
                f"With no charged pack to help, the load asks for more than the source gives ({show(gives, 'W', 3)} at "
                f"its limit); the bus falls to {low}."
            )
            found.append(
                Verdict(key="reset-on-source", cause=cause, no_pack=now[code.PACK] != code.FITTED, default=at == 0)
            )
    return found


def _contract_before(run: Passage, k: int) -> int:
    """Return the contract under which a source that has tripped meanwhile gave last: 0 the default one."""
    states = [run.start.now, *(c.now for c in run.changes[: k + 1])]
    gave = [n[code.AT] for n in states if n[code.SRC] in (code.GIVES, code.MOVES)]
    return gave[-1] if gave else states[-1][code.AT]


def _tripped(run: Passage, k: int) -> bool:
    return any(c.now[code.OVER] == 1 for c in run.changes[:k]) or any(
        c.now[code.IN] == code.RETRIES for c in run.changes[: k + 1]
    )


def _why_pack(p: Machine, run: Passage, now: tuple[int, ...]) -> str:
    if run.sums.t_diode > 0.0:
        return (
            f"The pack reaches the bus through the body diode only, {show(p.v_diode, 'V', 2)} lower, until the switch "
            f"is closed {show(p.t_close, 's', 2)} later; {show(p.c_bus, 'F', 2)} do not bridge that."
        )
    if now[code.BAT] == code.CLOSED or not p.switched:
        return f"The pack alone drops too much over {show(p.r_pack + p.r_switch, 'ohm', 2)} at what is asked of it."
    return "The pack cannot reach the bus in this state."


def _latched(p: Machine, run: Passage, word: str) -> Verdict | None:
    end = run.end.now
    if end[code.SRC] != code.TRIPPED or word == "trip" or run.start.now[code.SRC] == code.TRIPPED:
        return None
    cause = (
        f"{show(run.sums.i_peak, 'A', 3)} are drawn for longer than {show(p.t_trip, 's', 2)}; the source acts at "
        f"{show(p.i_trip_1 if end[code.AT] else p.i_trip_0, 'A', 3)} and stays off until it is re-plugged."
    )
    return _of(end, "latched-off", cause)


def _dead(p: Machine, run: Passage) -> Verdict | None:
    end = run.end.now
    waits = end[code.WANT] == 1 and end[code.LOAD] in (code.HELD, code.LOCKED)
    if run.ending != "at rest" or not waits or end[code.SRC] != code.GIVES or (p.talks and end[code.AT] == 0):
        return None
    if end[code.IN] != code.FED:
        cause = (
            f"The controller never connects its source: {show(p.e_1, 'V', 3)} are not above the "
            f"{show(p.v_good, 'V', 3)} that it needs, or not above the pack."
        )
    else:
        cause = (
            f"The source is connected, but the bus stays at {show(run.end.v_bus, 'V', 3)}; the load starts at "
            f"{show(p.v_on, 'V', 3)}."
        )
        if not p.switched and end[code.PACK] == code.FITTED:
            cause += " The pack lies on the bus and holds it down."
    return _of(end, "dead", cause)


def _beyond(p: Machine, run: Passage) -> Verdict | None:
    end = run.end.now
    rated = p.i_rated_1 if end[code.AT] else p.i_rated_0
    if run.ending != "at rest" or run.end.i_source <= rated * _LASTING:
        return None
    cause = (
        f"At rest the source gives {show(run.end.i_source, 'A', 3)}; it is rated {show(rated, 'A', 3)} and acts only "
        f"at {show(p.i_trip_1 if end[code.AT] else p.i_trip_0, 'A', 3)}."
    )
    return _of(end, "beyond-rated", cause)


def _pack_beyond(p: Machine, run: Passage) -> Verdict | None:
    if run.ending != "at rest" or -run.end.i_pack <= p.i_pack_most * _LASTING:
        return None
    cause = (
        f"At rest the pack gives {show(-run.end.i_pack, 'A', 3)}; {show(p.i_pack_most, 'A', 3)} are its lasting limit."
    )
    return _of(run.end.now, "pack-beyond", cause)
