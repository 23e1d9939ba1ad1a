"""The hottest part at the hottest ambient, against the temperature that the rules allow it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.checks.review import HOT_SOC, Check, Review
from chargewright.network.graph import StateKey
from chargewright.network.hardware import Hardware
from chargewright.network.solve import solve
from chargewright.parts.supply import Supply
from chargewright.studies.operate import conditions

THIN = 10.0
"""Distance to the limit below which it is told [K]."""
COOLER = (0.8, 0.6)
"""Board resistances tried as a cure, over the design's own."""
_NAMES = {
    "blocking-pair": "blocking pair",
    "battery-switch": "battery switch",
    "sense-source": "source sense resistor",
    "sense-charge": "charge sense resistor",
    "a_high": "source-side high switch",
    "a_low": "source-side low switch",
    "b_low": "pack-side low switch",
    "b_high": "pack-side high switch",
    "coil": "inductor",
}
_SWITCHES = frozenset(("blocking-pair", "battery-switch", "a_high", "a_low", "b_low", "b_high"))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hot:
    """The part that comes closest to its limit, or passes it by most."""

    part: str
    state: StateKey
    temp: float
    limit: float


def judge(review: Review) -> Iterator[Finding]:
    """Yield the part that is closest to its limit, on the source that heats it most."""
    found = [hot for name in review.hot if (hot := _hottest(review, name, review.hardware)) is not None]
    if not found:
        return
    name, hot = min(zip(review.hot, found, strict=False), key=lambda pair: pair[1].limit - pair[1].temp)
    if hot.temp <= hot.limit - THIN:
        return
    over = hot.temp > hot.limit
    yield CHECK.finding(
        "serious" if over else "caution",
        review.at(_NAMES[hot.part]),
        f"At {show(review.case.design.ambient.hot, 'K')} and the busiest load on {name} the {_NAMES[hot.part]} reaches "
        f"{show(hot.temp, 'K')}; {show(hot.limit, 'K')} are allowed.",
        value=hot.temp,
        limit=hot.limit,
        unit="K",
        cure=_cooler(review, name),
    )


def _hottest(review: Review, name: str, hardware: Hardware) -> _Hot | None:
    """Solve again the state that was hottest, to learn which part it is."""
    operation = review.hot[name]
    if not operation.solved.any():
        return None
    k = int(np.nanargmax(np.where(operation.solved, operation.hottest, np.nan)))
    return _in_state(review, hardware, review.plan.contracts[name], str(operation.state[k]), HOT_SOC[k])


def _in_state(review: Review, hardware: Hardware, supply: Supply, key: str, soc: float) -> _Hot | None:
    case = review.case
    state = next(s for s in review.path.states if s.key == key)
    c = conditions(
        case, review.path, state.key, supply, soc=soc, p_load=case.p_busy, temp=case.design.ambient.hot, edge="low"
    )
    s = solve(review.path, state, hardware, c)
    if not s.ok[0]:
        return None
    rules = case.design.rules
    limits = {part: rules.temp_j_max if part in _SWITCHES else rules.temp_part_max for part in _NAMES if part in s.temp}
    part = min(limits, key=lambda p: limits[p] - float(s.temp[p][0]))
    return _Hot(part=part, state=state.key, temp=float(s.temp[part][0]), limit=limits[part])


def _cooler(review: Review, name: str) -> Cure | None:
    for factor in COOLER:
        cooled = replace(review.hardware, r_board=factor * review.hardware.r_board)
        hot = _hottest(review, name, cooled)
        if hot is not None and hot.temp <= hot.limit - THIN:
            board = show(cooled.r_board, "K/W")
            return Cure(change=f"lead the board's heat away with {board} instead", value=hot.temp, clears=True)
    return None


CHECK = Check(
    key="hottest-part",
    title="every part keeps below the temperature that the rules allow",
    why="Parts that run at their limit age early, and the model of the board is a single resistance.",
    source="temperature limits of the design's rules; 10 K to spare is common practice",
    judge=judge,
)
