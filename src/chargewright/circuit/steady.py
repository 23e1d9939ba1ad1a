"""The periodic state of a circuit: Newton on the map from the start of one period to the start of the next."""

import numpy as np

from chargewright.base.errors import NoSolution
from chargewright.circuit._assembly import Floats
from chargewright.circuit.circuit import Circuit
from chargewright.circuit.elements import Capacitor, Coil
from chargewright.circuit.run import Engine, Moment, Run, engine_of

WARM_UP = 20
MOST_STEPS = 40
NUDGE = 1e-6
FARTHEST = 1e6
"""Greatest step of Newton over the size of the state; a real one is of the order of one."""
CLOSED = 1e-9
"""How far the end of a period may be from its start, in A and V over 1 + their size."""


def steady_state(circuit: Circuit, *, warm_up: int = WARM_UP, compiled: bool | None = None) -> Run:
    """Return one period that ends where it began.

    A pack's own charge is held: its slow rise is no part of the period. The map is linear in pieces, so that Newton
    arrives as soon as it knows which events a period has. Raises NoSolution where no period closes: a limit cycle over
    several periods, or a state that runs away.
    """
    engine = engine_of(circuit, compiled=compiled)
    free = _free_states(engine)
    moment = _rewound(engine.advance(engine.beginning(), max(warm_up, 1)).end)
    best = np.inf
    for _ in range(MOST_STEPS):
        period = engine.advance(moment, 1)
        ends = period.end.x[free]
        gap = ends - moment.x[free]
        size = float(np.max(np.abs(gap) / (1.0 + np.abs(ends)))) if free else 0.0
        if size < CLOSED:
            return period
        best = min(best, size)
        moment = _rewound(_step(engine, moment, period, free, gap))
    raise NoSolution(
        f"no period of {circuit.title} closes after {MOST_STEPS} steps: the nearest misses by {best:.1e} of its size."
        " The circuit has a limit cycle over several periods, or a state that nothing holds."
    )


def _free_states(engine: Engine) -> list[int]:
    held = {e.name for e in engine.circuit.elements if isinstance(e, Capacitor) and e.cell}
    return [
        engine.layout.states[e.name]
        for e in engine.circuit.elements
        if isinstance(e, Coil | Capacitor) and e.name not in held
    ]


def _step(engine: Engine, moment: Moment, period: Run, free: list[int], gap: Floats) -> Moment:
    """Return the moment from which, if the map were linear, the period would close."""
    slope = np.empty((len(free), len(free)))
    for column, place in enumerate(free):
        nudge = NUDGE * (1.0 + abs(float(moment.x[place])))
        slope[:, column] = (_nudged(engine, moment, place, nudge) - period.end.x[free]) / nudge
    moves = slope - np.eye(len(free))
    step, *_ = np.linalg.lstsq(moves, -gap, rcond=1e-9)
    left = float(np.max(np.abs(moves @ step + gap)))
    # A map that moves by what rounding leaves of its slope has none.
    far = np.max(np.abs(step)) > FARTHEST * (1.0 + np.max(np.abs(moment.x)))
    if far or left > 0.5 * float(np.max(np.abs(gap))):
        raise NoSolution(
            f"no period of {engine.circuit.title} closes: a current or voltage gains {np.max(np.abs(gap)):.2e} A or V"
            " in every period and nothing holds it. Look for a coil across a source, or a capacitor that only charges."
        )
    x = moment.x.copy()
    x[free] += step
    if not np.all(np.isfinite(x)):
        raise NoSolution("the steady state runs away: look for a loop or a load that is unstable")
    # The gates and the pulse are taken as the last period left them.
    return Moment(x=x, ints=period.end.ints.copy(), floats=period.end.floats.copy())


def _nudged(engine: Engine, moment: Moment, place: int, nudge: float) -> Floats:
    x = moment.x.copy()
    x[place] += nudge
    ends = engine.advance(Moment(x=x, ints=moment.ints, floats=moment.floats), 1).end.x
    return np.asarray(ends[_free_states(engine)])


def _rewound(moment: Moment) -> Moment:
    """Return the same moment, counted as the start of the first period."""
    ints = moment.ints.copy()
    ints[0] = 0
    return Moment(x=moment.x.copy(), ints=ints, floats=moment.floats.copy())
