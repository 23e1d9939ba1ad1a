"""The verdict on the paths: measures, scores under the user's weights, and how firmly the ranking stands.

Each measure is scored against the best feasible path: score = best / own for what should be small, own / best for what
should be large, so that 1 is the best and twice the energy scores one half. The total is the weighted mean.
"""

from dataclasses import dataclass, fields

import numpy as np

from chargewright.spec.rules import WeightsSpec

SMALL_IS_GOOD = {"energy": True, "run_time": False, "heat": True, "charge_time": True, "cost": True, "area": True}
"""For each weight of the design file: whether the measure should be small."""
MEASURES: dict[str, tuple[str, str]] = {
    "energy": ("wall energy a day", "J"),
    "run_time": ("run time on the pack", "s"),
    "heat": ("greatest heat in the product", "W"),
    "charge_time": ("charge time with the system running", "s"),
    "cost": ("cost index of path and rails", "1"),
    "area": ("board area of path and rails", "m2"),
}
"""Weight to (title, SI unit)."""
_TRIALS = 4000
_SEED = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """One feasible path in the ranking."""

    key: str
    total: float
    """Weighted score, 0 to 1."""
    scores: dict[str, float]
    wins: float
    """Share of random weightings, each weight between a third and three times the user's, that this path wins [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tipping:
    """What one weight would have to be for another path to win."""

    weight: str
    now: float
    at: float
    """Weight at which the lead changes; inf if it never does."""
    then: str
    """Path that wins beyond."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranking:
    """The feasible paths, best first; empty if none is feasible."""

    order: tuple[Ranked, ...]
    tipping: tuple[Tipping, ...]
    tie: bool
    """Whether the first two agree within half a percent of the score: too close to call."""


def rank(measures: dict[str, dict[str, float]], weights: WeightsSpec, *, firmness: bool = True) -> Ranking:
    """Return the ranking of paths.

    measures : path key to {weight name: measure in SI}; feasible paths only
    firmness : whether to try other weightings too; a map of thousands of rankings does without
    """
    if not measures:
        return Ranking(order=(), tipping=(), tie=False)
    keys = list(measures)
    names = list(SMALL_IS_GOOD)
    scores = np.array([[_score(measures, key, name) for name in names] for key in keys])
    given = {f.name: float(getattr(weights, f.name)) for f in fields(weights)}
    w = np.array([given[name] for name in names])
    total = scores @ w / w.sum()
    wins = _wins(scores, w) if firmness else np.full(len(keys), np.nan)
    order = sorted(range(len(keys)), key=lambda k: -total[k])
    ranked = tuple(
        Ranked(
            key=keys[k],
            total=float(total[k]),
            scores=dict(zip(names, (float(x) for x in scores[k]), strict=True)),
            wins=float(wins[k]),
        )
        for k in order
    )
    tipping = _tipping(keys, names, scores, w, order[0]) if firmness else ()
    close = len(order) > 1 and total[order[0]] - total[order[1]] < 0.005
    return Ranking(order=ranked, tipping=tipping, tie=bool(close))


def _score(measures: dict[str, dict[str, float]], key: str, name: str) -> float:
    column = [m[name] for m in measures.values() if np.isfinite(m[name]) and m[name] > 0.0]
    own = measures[key][name]
    if not column or not np.isfinite(own) or own <= 0.0:
        return 0.0
    return min(column) / own if SMALL_IS_GOOD[name] else own / max(column)


def _wins(scores: np.ndarray, w: np.ndarray) -> np.ndarray:
    rng = np.random.default_rng(_SEED)
    trial = w * np.exp(rng.uniform(-np.log(3.0), np.log(3.0), size=(_TRIALS, len(w))))
    best = np.argmax(trial @ scores.T, axis=1)
    return np.bincount(best, minlength=len(scores)) / _TRIALS


def _tipping(keys: list[str], names: list[str], scores: np.ndarray, w: np.ndarray, leader: int) -> tuple[Tipping, ...]:
    """Return for each weight the nearest value at which the leader is overtaken, all other weights held.

    The lead over a rival is linear in one weight, so the crossing has a closed form.
    """
    found = []
    for j, name in enumerate(names):
        crossing, rival = float("inf"), ""
        for k in range(len(keys)):
            if k == leader:
                continue
            lead = scores[leader] - scores[k]
            rest = float(np.delete(lead, j) @ np.delete(w, j))
            if lead[j] == 0.0:
                continue
            at = -rest / float(lead[j])
            # Equal at no weight at all counts only if the rival gains with the weight: nothing lies below.
            there = at > 0.0 or (at == 0.0 and lead[j] < 0.0)
            if there and abs(at - w[j]) < abs(crossing - w[j]):
                crossing, rival = at, keys[k]
        found.append(Tipping(weight=name, now=float(w[j]), at=crossing, then=rival))
    return tuple(found)
