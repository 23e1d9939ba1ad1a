"""Scripts of events: `plug, contract, boot, unplug@20 ms`.

Words are separated by commas. Each event waits until all is at rest, or goes round a limit cycle; one with a time comes
that long after the event before it.
"""

import math
from collections.abc import Sequence

from chargewright.base.errors import ChargewrightError
from chargewright.base.units import parse
from chargewright.sim.sequence import Passage, Standing, beginning, passage
from chargewright.sim.sequence_events import Event, after, event, possible
from chargewright.sim.sequence_rules import Machine
from chargewright.studies.sequences.record import Leg
from chargewright.studies.sequences.words import steps_of

_MOST = 60
"""Events of one script."""


def parse_script(text: str) -> tuple[str, ...]:
    """Return the events of a script. Raises ChargewrightError for an unknown word, a time that is none, or no event."""
    words = tuple(w.strip() for w in text.split(",") if w.strip())
    if not words:
        raise ChargewrightError("a script needs an event: for example 'plug, boot, unplug'")
    if len(words) > _MOST:
        raise ChargewrightError(f"a script has {_MOST} events at most, this one {len(words)}")
    for word in words:
        _taken(word)
    return words


def run_script(
    machine: Machine,
    words: Sequence[str],
    *,
    start: Standing | None = None,
    record: bool = False,
) -> tuple[Leg, ...]:
    """Return what each event of a script leads to. Raises ChargewrightError where one cannot happen.

    start : by default a product that is off and at rest, with a half full pack and no source
    """
    at = start or passage(machine, beginning(machine)).end
    found: list[Leg] = []
    now = 0.0
    taken = [_taken(word) for word in words]
    for k, (what, _) in enumerate(taken):
        if what not in possible(machine, at):
            before = f" after '{', '.join(words[:k])}'" if k else " at the beginning"
            able = ", ".join(e.word for e in possible(machine, at))
            raise ChargewrightError(f"'{what.word}' ({what.title}) cannot happen{before}; what can: {able}")
        until = taken[k + 1][1] if k + 1 < len(taken) else math.inf
        run = passage(machine, after(machine, at, what), until=until, record=record)
        steps = tuple((now + t, text) for t, text in steps_of(run))
        found.append(Leg(word=what.word, title=what.title, t=now, passage=run, changes=steps))
        now += run.end.x[0]
        at = run.end
    return tuple(found)


def _taken(word: str) -> tuple[Event, float]:
    """Return the event of a word, and how long after the one before it comes [s]; inf for when all is at rest."""
    name, at, text = word.partition("@")
    if not at:
        return event(name), math.inf
    t = parse(text.strip(), "s")
    if not 0.0 < t < math.inf:
        raise ChargewrightError(f"{word!r}: the time after the event before has to be above zero")
    return event(name), t


def last(machine: Machine, words: Sequence[str]) -> Passage:
    """Return the passage that the last event of a script begins."""
    return run_script(machine, words)[-1].passage


_USUAL = ("plug", "contract", "boot", "step", "peak", "unplug", "plug", "contract")


def usual_script(machine: Machine) -> tuple[str, ...]:
    """Return a usual order of events: into use on the source, the busiest load, the source pulled and plugged again."""
    at = passage(machine, beginning(machine)).end
    found = []
    for word in _USUAL:
        what = event(word)
        if what in possible(machine, at):
            at = passage(machine, after(machine, at, what)).end
            found.append(word)
    return tuple(found)
