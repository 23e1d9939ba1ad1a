"""The verdict in words: which path, by how much, why, and what would change it."""

from chargewright.base.units import show
from chargewright.studies.study import PathStudy, Study
from chargewright.studies.verdict import MEASURES, SMALL_IS_GOOD, Ranked

GREATEST_WEIGHT = 100.0
"""Weight that the design file allows at most; a change beyond is none."""
_NOTHING = 1e-6
_SAME = 0.01
"""Measures that differ by less than this are called equal [1]."""


def verdict_sentence(study: Study) -> str:
    """Return the verdict in one sentence."""
    order = study.ranking.order
    if not order:
        return (
            f"No path can do the job for {study.case.design.name}: each one fails at least one requirement; "
            "the reasons are listed."
        )
    best = study.paths[0].path.title
    if len(order) == 1:
        return f"{best} is the only path that can do the job for {study.case.design.name}."
    lead = order[0].total - order[1].total
    second = study.path(order[1].key).path.title
    if study.ranking.tie:
        differ = [n for n in SMALL_IS_GOOD if abs(order[0].scores[n] - order[1].scores[n]) > 1e-3]
        if differ and all(order[0].scores[n] > order[1].scores[n] for n in differ):
            named = " and ".join(n.replace("_", " ") for n in differ)
            return (
                f"{best} is best for {study.case.design.name} by {100 * lead:.1f} points of 100: {second.lower()} "
                f"equals it in all but {named}."
            )
        return (
            f"{best} and {second.lower()} are too close to call for {study.case.design.name}: "
            f"their scores differ by {100 * lead:.1f} points of 100."
        )
    return (
        f"{best} is best for {study.case.design.name}: {100 * order[0].total:.0f} points of 100, "
        f"{100 * lead:.0f} ahead of {second.lower()}; it wins under {show(order[0].wins, '1', 2)} "
        "of all weightings tried."
    )


def because(study: Study) -> tuple[str, ...]:
    """Return in which measures the winner beats the next path, and in which it loses, with numbers; may be empty."""
    order = study.ranking.order
    if len(order) < 2:
        return ()
    first, second = study.path(order[0].key), study.path(order[1].key)
    return tuple(_compared(name, first, second) for name in SMALL_IS_GOOD if _differs(name, first, second))


def why_out(candidate: PathStudy) -> tuple[str, ...]:
    """Return the reasons for which a path is out, with numbers; empty for a feasible path."""
    if candidate.why_not:
        return (candidate.why_not,)
    return tuple(f"{r.title}: no. {r.reason}" for r in candidate.requirements if r.weight == "must" and not r.met)


def tipping_words(study: Study) -> tuple[str, ...]:
    """Return what would change the ranking, weight by weight, and which weights never would."""
    words, never = [], []
    for t in study.ranking.tipping:
        if not t.then or t.at > GREATEST_WEIGHT:
            never.append(t.weight)
            continue
        name, then = t.weight.replace("_", " "), study.path(t.then).path.title.lower()
        if t.at < _NOTHING:
            words.append(f"If {name} counted for nothing, {then} would be level.")
        else:
            words.append(f"With the weight of {name} at {t.at:.2g} instead of {t.now:g}, {then} would win.")
    if never:
        words.append(f"No weight of {', '.join(n.replace('_', ' ') for n in never)} would change the winner.")
    return tuple(words)


def score_line(ranked: Ranked, study: Study) -> str:
    """Return one line of the ranking: title, score, measures."""
    p = study.path(ranked.key)
    m = p.measures or {}
    numbers = ", ".join(f"{MEASURES[n][0]} {show(m[n], MEASURES[n][1], 3)}" for n in SMALL_IS_GOOD if n in m)
    return f"{p.path.title}: {100 * ranked.total:.0f} points ({numbers})"


def _differs(name: str, first: PathStudy, second: PathStudy) -> bool:
    a, b = (first.measures or {})[name], (second.measures or {})[name]
    return abs(a - b) > _SAME * max(abs(a), abs(b)) if a != b else False


def _compared(name: str, first: PathStudy, second: PathStudy) -> str:
    title, unit = MEASURES[name]
    a, b = (first.measures or {})[name], (second.measures or {})[name]
    better = (a < b) == SMALL_IS_GOOD[name]
    word = "better" if better else "worse"
    return f"{title[0].upper()}{title[1:]}: {show(a, unit, 3)} against {show(b, unit, 3)} ({word})."
