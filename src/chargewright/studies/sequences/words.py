"""States and changes of the automaton in words."""

from chargewright.base.units import show
from chargewright.sim import sequence_rules as code
from chargewright.sim.sequence import Passage, Standing

_WORDS: tuple[tuple[int, str, tuple[str, ...]], ...] = (
    (code.SRC, "source", code.SOURCE_WORDS),
    (code.IN, "input", code.INPUT_WORDS),
    (code.BAT, "battery switch", code.SWITCH_WORDS),
    (code.PACK, "pack", code.PACK_WORDS),
    (code.HELP, "supplement", code.HELP_WORDS),
    (code.LOAD, "load", code.LOAD_WORDS),
)
ON = (code.BOOTS, code.RUNS, code.PEAKS)


def state_words(at: Standing, talks: bool) -> str:
    """Return a settled state in words: source, pack, load, bus."""
    now = at.now
    source = code.SOURCE_WORDS[now[code.SRC]]
    if talks and now[code.SRC] in (code.GIVES, code.MOVES):
        source += " at its contract" if now[code.AT] else " at 5 V, no contract"
    if now[code.SRC] == code.GIVES and now[code.IN] != code.FED:
        source += ", not connected"
    pack = code.PACK_WORDS[now[code.PACK]]
    if now[code.PACK] != code.NONE:
        pack = f"{code.CHARGE_WORDS[now[code.SOC]]}, {_doing(at)}"
    load = code.LOAD_WORDS[now[code.LOAD]]
    if now[code.LOAD] == code.RUNS:
        load = "busiest mode" if now[code.STEP] else "lightest mode"
    return f"source {source}; pack {pack}; load {load}; bus {show(at.v_bus, 'V', 3)}"


def _doing(at: Standing) -> str:
    if at.now[code.PACK] == code.CUT:
        return "protection open"
    if abs(at.i_pack) < 1e-2:
        return "at rest"
    return f"{'charged' if at.i_pack > 0 else 'discharged'} at {show(abs(at.i_pack), 'A', 3)}"


def change_words(before: tuple[int, ...], now: tuple[int, ...]) -> str:
    """Return what changed from one discrete state to the next; empty for what happens inside."""
    found = [f"{name}: {words[now[k]]}" for k, name, words in _WORDS if before[k] != now[k]]
    if before[code.OVER] != now[code.OVER]:
        found.append("source above its trip current" if now[code.OVER] else "source below its trip current again")
    return ", ".join(found)


def steps_of(run: Passage) -> tuple[tuple[float, str], ...]:
    """Return the changes of a passage with their times since the event [s]."""
    found = []
    before = run.start.now
    for change in run.changes:
        words = change_words(before, change.now)
        if words:
            found.append((change.t, words))
        before = change.now
    return tuple(found)


def resets(run: Passage) -> tuple[int, ...]:
    """Return which changes of a passage reset a running load."""
    found = []
    before = run.start.now
    for k, change in enumerate(run.changes):
        if before[code.LOAD] in ON and change.now[code.LOAD] in (code.HELD, code.LOCKED):
            found.append(k)
        before = change.now
    return tuple(found)
