"""Changes that may cure a bad outcome, each tried on the very order of events that led to it."""

from collections.abc import Callable, Iterator

from chargewright.base.errors import ChargewrightError
from chargewright.base.findings import Cure
from chargewright.base.units import show
from chargewright.sim import sequence_rules as code
from chargewright.sim.sequence import Passage
from chargewright.sim.sequence_rules import Machine
from chargewright.studies.sequences.judge import Verdict, verdicts
from chargewright.studies.sequences.record import OutcomeKey
from chargewright.studies.sequences.script import last
from chargewright.studies.sequences.words import ON

Change = tuple[str, Machine]
_LESS = (0.95, 0.85, 0.7)
_LOADS = (0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)
_MORE = (2.0, 4.0, 10.0)


def cure_of(p: Machine, words: tuple[str, ...], verdict: Verdict) -> Cure | None:
    """Return the first change under which the script no longer ends so; None if none of them helps.

    A change that only moves the trouble, so that anything as bad comes instead, is no cure.
    """
    for text, machine in _changes(p, verdict):
        if _clears(machine, words):
            return Cure(change=text, value=0.0, clears=True)
    return None


def _clears(machine: Machine, words: tuple[str, ...]) -> bool:
    """Say whether a script ends well, the product running if it is wanted and has something to run on.

    A pack that no longer runs down at its end is as good.
    """
    try:
        run = last(machine, words)
        return not verdicts(machine, run, words[-1].partition("@")[0]) and _runs(run)
    except ChargewrightError:
        return words[-1] == "drain" and len(words) > 1 and _clears(machine, words[:-1])


def _runs(run: Passage) -> bool:
    end = run.end.now
    powered = end[code.SRC] != code.ABSENT or (end[code.PACK] == code.FITTED and end[code.SOC] > code.FLAT)
    return end[code.WANT] == 0 or end[code.LOAD] in ON or not powered


def _changes(p: Machine, verdict: Verdict) -> Iterator[Change]:
    makers: dict[OutcomeKey, tuple[Callable[[Machine, Verdict], Iterator[Change]], ...]] = {
        "trip-and-restart": (_limit, _faster_help, _ramp, _load),
        "trip-and-return": (_limit, _faster_help, _ramp, _load),
        "latched-off": (_limit, _faster_help, _ramp, _load),
        "beyond-rated": (_load,),
        "input-chatter": (_hold, _limit, _window, _ramp, _cable, _load),
        "restart-loop": (_lock, _apart, _load),
        "reset-on-source": (_bus, _load),
        "reset-with-pack": (_switch, _bus, _load),
        "flapping": (_headroom, _below),
        "protection-loop": (_lock, _load),
        "pack-beyond": (_load,),
    }
    for make in makers.get(verdict.key, ()):
        yield from make(p, verdict)


def _limit(p: Machine, verdict: Verdict) -> Iterator[Change]:
    now, trip = (p.i_limit_0, p.i_trip_0) if verdict.default else (p.i_limit_1, p.i_trip_1)
    for share in _LESS:
        i = min(now, trip) * share
        text = f"set the source limit to {show(i, 'A', 3)}, below the {show(trip, 'A', 3)} at which the source acts"
        yield text, (p._replace(i_limit_0=i) if verdict.default else p._replace(i_limit_1=i))


def _faster_help(p: Machine, _: Verdict) -> Iterator[Change]:
    if p.helps and not p.narrow:
        for less in (2.0, 5.0, 10.0):
            t, tau = p.t_help / less, p.tau / less
            yield (
                f"let the pack help within {show(t, 's', 2)} and regulate with {show(tau, 's', 2)}",
                p._replace(t_help=t, tau=tau),
            )


def _ramp(p: Machine, _: Verdict) -> Iterator[Change]:
    for more in (2.0, 5.0):
        yield (
            f"let the soft start rise with {show(p.slew * more, 'V/s', 2)}",
            p._replace(slew=p.slew * more, t_ramp=p.t_ramp / more),
        )


def _load(p: Machine, verdict: Verdict) -> Iterator[Change]:
    while_ = _while(p, verdict)
    for share in _LOADS:
        most = share * max(p.p_boot, p.p_light, p.p_busy, p.p_peak)
        held = p._replace(
            p_boot=min(p.p_boot, most),
            p_light=min(p.p_light, most),
            p_busy=min(p.p_busy, most),
            p_peak=min(p.p_peak, most),
        )
        yield f"hold the load back to {show(most, 'W', 3)} on the bus{while_}", held
    yield f"do not start{while_}", p._replace(p_boot=0.0, p_light=0.0, p_busy=0.0, p_peak=0.0)


def _while(p: Machine, verdict: Verdict) -> str:
    parts = []
    if verdict.default and p.talks:
        parts.append("before the contract is made")
    if verdict.no_pack:
        parts.append("without a charged pack")
    return f" {' and '.join(parts)}" if parts else ""


def _hold(p: Machine, verdict: Verdict) -> Iterator[Change]:
    e = p.e_0 if verdict.default else p.e_1
    for share in (1.05, 1.1, 1.2):
        v = p.v_bad * share
        if v < e:
            changed = p._replace(v_hold_0=v) if verdict.default else p._replace(v_hold_1=v)
            yield f"hold the input above {show(v, 'V', 3)} by cutting back what is drawn", changed


def _window(p: Machine, _: Verdict) -> Iterator[Change]:
    for share in (0.95, 0.9, 0.8):
        v = p.v_bad * share
        yield f"let the input go only at {show(v, 'V', 3)}, with more hysteresis", p._replace(v_bad=v)


def _cable(p: Machine, _: Verdict) -> Iterator[Change]:
    for share in (0.7, 0.5, 0.25):
        yield f"source and cable of {show(p.r_line * share, 'ohm', 2)} at most", p._replace(r_line=p.r_line * share)


def _lock(p: Machine, _: Verdict) -> Iterator[Change]:
    if not p.locks:
        yield "after a reset on the pack alone, stay off until a source or another pack comes", p._replace(locks=True)


def _apart(p: Machine, _: Verdict) -> Iterator[Change]:
    for share in (1.1, 1.2, 1.3, 1.5):
        v = p.v_on * share
        yield f"start only above {show(v, 'V', 3)} of bus", p._replace(v_on=v)


def _bus(p: Machine, _: Verdict) -> Iterator[Change]:
    for more in _MORE:
        yield f"{show(p.c_bus * more, 'F', 2)} on the bus", p._replace(c_bus=p.c_bus * more)


def _switch(p: Machine, _: Verdict) -> Iterator[Change]:
    for less in (2.0, 5.0, 20.0):
        t = p.t_close / less
        yield f"close the battery switch within {show(t, 's', 2)}", p._replace(t_close=t)


def _headroom(p: Machine, _: Verdict) -> Iterator[Change]:
    for share in (0.02, 0.05, 0.1):
        if share > p.headroom:
            text = f"end supplement only with {show(share, '1', 2)} of the source's limit free, after errors of sensing"
            yield text, p._replace(headroom=share)


def _below(p: Machine, _: Verdict) -> Iterator[Change]:
    for more in (2.0, 4.0):
        v = p.v_below * more
        yield f"close the battery switch only {show(v, 'V', 2)} below the pack", p._replace(v_below=v)
