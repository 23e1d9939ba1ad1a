"""Every order of events: the graph of what a product can come to rest in, searched breadth first.

From each settled state every event that can happen there is tried, and what follows is run until it settles or a limit
cycle is proven. Equal settled states are one node, so a finished graph holds every order of any length whose events
come when all is at rest. Events that come earlier are tried at the instants at which something changes on the way.
"""

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from chargewright.base.units import show
from chargewright.sim.sequence import INF, Ending, Passage, Standing, Sums, beginning, passage
from chargewright.sim.sequence_events import Event, after, event, possible
from chargewright.sim.sequence_rules import Machine

_SAME_V = 0.02
"""How near voltages have to be, over the source's, for two settled states to be one [1]."""
_SAME_I = 0.05
"""The same for pack currents, over the charge current [1]."""
_ORDERS_UP_TO = 6
_JUST_AFTER = 1e-6
"""How long after a change on the way a further event comes [s]."""


def timed(word: str, t: float) -> str:
    """Return an event that comes a time after the one before, as a script writes it."""
    return f"{word}@{show(t, 's', 6)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """A settled state, or a limit cycle at the instant at which it came back."""

    at: Standing
    ending: Ending
    script: tuple[str, ...]
    """The shortest order that leads there; an event with a time comes that long after the one before, not at rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """One event at one node."""

    start: int
    words: tuple[str, ...]
    """The event; two of them where the second broke into what the first began."""
    t: float
    """When the second came after the first [s]; inf where there is one."""
    end: int
    passage: Passage


@dataclass(frozen=True, slots=True, kw_only=True)
class Graph:
    """What a product can come to rest in, and what leads from one to the next."""

    nodes: tuple[Node, ...]
    edges: tuple[Edge, ...]
    starts: tuple[int, ...]
    whole: bool
    """Whether every event of every node was tried; False where the search was cut off."""
    orders: int
    """Orders of up to `length` events that the graph covers."""
    length: int
    steps: int

    def script_of(self, edge: Edge) -> tuple[str, ...]:
        """Return the shortest order that ends with an edge."""
        last = (edge.words[0], timed(edge.words[1], edge.t)) if len(edge.words) > 1 else edge.words
        return (*self.nodes[edge.start].script, *last)


def explore(
    machine: Machine,
    *,
    starts: Sequence[Standing] = (),
    only: Sequence[str] = (),
    most: int = 400,
    midway: int = 0,
    progress: Callable[[float], None] | None = None,
) -> Graph:
    """Return the graph of a machine.

    starts : settled or not; by default off with a half full pack, from which scripts begin too
    only   : words of the events to try; all if empty
    most   : nodes after which the search is cut off, and said to be
    midway : instants of each passage at which further events are tried
    """
    search = _Search(machine=machine, only=frozenset(only))
    given = starts or (beginning(machine),)
    first = [search.settle(start) for start in given]
    tried = search.spread_all(0, most, progress, 0.0 if midway else 1.0)
    search.break_into_all(midway)
    tried = search.spread_all(tried, most, progress, 1.0)
    return Graph(
        nodes=tuple(search.nodes),
        edges=tuple(search.edges),
        starts=tuple(dict.fromkeys(first)),
        whole=not search.queue,
        orders=_orders(search.edges, len(search.nodes), first),
        length=_ORDERS_UP_TO,
        steps=search.steps,
    )


class _Search:
    """The nodes found so far, by discrete state, and those whose events are still to be tried."""

    def __init__(self, *, machine: Machine, only: frozenset[str]) -> None:
        self.machine, self.only = machine, only
        self.nodes: list[Node] = []
        self.edges: list[Edge] = []
        self.queue: deque[int] = deque()
        self.steps = 0
        self._known: dict[tuple[object, ...], list[int]] = {}

    def settle(self, start: Standing) -> int:
        run = passage(self.machine, start)
        self.steps += run.sums.steps
        return self._node(run, ())

    def spread_all(self, tried: int, most: int, progress: Callable[[float], None] | None, share: float) -> int:
        """Try every event at every node that waits for it; return how many nodes have been tried by now."""
        while self.queue and tried < most:
            self._spread(self.queue.popleft())
            tried += 1
            if progress is not None:
                progress(max(share, 0.3) * tried / (tried + len(self.queue)))
        return tried

    def break_into_all(self, midway: int) -> None:
        """Let further events come at so many instants of every passage found so far."""
        for first in tuple(self.edges) if midway > 0 else ():
            what, at = event(first.words[0]), self.nodes[first.start].at
            run = passage(self.machine, after(self.machine, at, what), midway=True)
            self.steps += run.sums.steps
            for place in _instants(len(run.midway), midway):
                t = run.changes[place].t + _JUST_AFTER
                for second in self._events(run.midway[place]):
                    self._late(first, t, run.midway[place], second)

    def _spread(self, k: int) -> None:
        at = self.nodes[k].at
        for what in self._events(at):
            run = passage(self.machine, after(self.machine, at, what))
            self.steps += run.sums.steps
            end = self._node(run, (*self.nodes[k].script, what.word))
            self.edges.append(Edge(start=k, words=(what.word,), t=INF, end=end, passage=run))

    def _events(self, at: Standing) -> list[Event]:
        return [e for e in possible(self.machine, at) if not self.only or e.word in self.only]

    def _late(self, first: Edge, t: float, at: Standing, what: Event) -> None:
        run = passage(self.machine, after(self.machine, at, what))
        self.steps += run.sums.steps
        end = self._node(run, (*self.nodes[first.start].script, first.words[0], timed(what.word, t)))
        self.edges.append(Edge(start=first.start, words=(first.words[0], what.word), t=t, end=end, passage=run))

    def _node(self, run: Passage, script: tuple[str, ...]) -> int:
        """Return the node of what a passage ended in, a new one if there is none like it."""
        cycle = frozenset(c.now for c in run.cycle)
        key: tuple[object, ...] = (run.ending, cycle) if cycle else (run.ending, run.end.now)
        alike = self._known.setdefault(key, [])
        for k in alike:
            if cycle or self._same(self.nodes[k].at, run.end):
                return k
        self.nodes.append(Node(at=run.end, ending=run.ending, script=script))
        alike.append(len(self.nodes) - 1)
        self.queue.append(len(self.nodes) - 1)
        return len(self.nodes) - 1

    def _same(self, one: Standing, two: Standing) -> bool:
        near_v, near_i = _SAME_V * self.machine.e_1, _SAME_I * max(self.machine.i_charge_half, 1e-6)
        return abs(one.v_bus - two.v_bus) < near_v and abs(one.i_pack - two.i_pack) < near_i


def _instants(many: int, wanted: int) -> list[int]:
    """Return which changes of a passage to break into: the first, and others evenly spread."""
    inner = many - 1
    if wanted <= 0 or inner <= 0:
        return []
    return sorted({round(k * (inner - 1) / max(wanted - 1, 1)) for k in range(wanted)})


def _orders(edges: Sequence[Edge], n: int, starts: Sequence[int]) -> int:
    """Return how many orders of one to `_ORDERS_UP_TO` events begin at the starts."""
    ways = np.zeros((n, n))
    for edge in edges:
        if len(edge.words) == 1:
            ways[edge.start, edge.end] += 1.0
    here = np.zeros(n)
    here[list(dict.fromkeys(starts))] = 1.0
    total = 0.0
    for _ in range(_ORDERS_UP_TO):
        here = here @ ways
        total += float(here.sum())
    return round(total)


def worst(edges: Sequence[Edge]) -> Sums | None:
    """Return the sums of the passage that accounts worst for its energy; None without edges."""
    return max((e.passage.sums for e in edges), key=lambda s: s.unaccounted, default=None)
