"""Reverse paths that one broken part opens, and those that only the order of the voltages keeps shut."""

from collections.abc import Iterator

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.network.graph import StateKey
from chargewright.network.reverse import Route, reverse_routes
from chargewright.parts.usb_pd.limits import SAFE_0_VOLTS_MAX


def judge(review: Review) -> Iterator[Finding]:
    """Yield one finding for each element whose failure alone feeds the inlet or over-charges the pack."""
    states = [s for s in review.path.states if s.key != "pass-through" or review.plan.through]
    routes = [route for state in states for route in reverse_routes(review.path, state)]
    unplugged = {s.key for s in states if not s.source}
    yield from _into_inlet(review, [r for r in routes if r.state in unplugged and r.threat == "pack-to-inlet"])
    yield from _while_plugged(review, [r for r in routes if r.state not in unplugged and r.threat == "pack-to-inlet"])
    yield from _into_pack(review, [r for r in routes if r.threat == "source-to-pack"])


def _alone(routes: list[Route]) -> dict[str, tuple[StateKey, ...]]:
    """Return, for each element that alone stops some route, the states in which it does."""
    found: dict[str, list[StateKey]] = {}
    for route in routes:
        if route.single_fault:
            states = found.setdefault(route.stopped_by[0].name, [])
            if route.state not in states:
                states.append(route.state)
    return {name: tuple(states) for name, states in found.items()}


def _into_inlet(review: Review, routes: list[Route]) -> Iterator[Finding]:
    v = review.case.v_full
    for name, states in _alone(routes).items():
        yield CHECK.finding(
            "caution",
            review.at(name),
            f"If the {name} fails short, the pack feeds the open inlet with up to {show(v, 'V')} in "
            f"{_listed(review, states)}; nothing else is in the way.",
            value=v,
            limit=SAFE_0_VOLTS_MAX,
            unit="V",
            why="Contacts that can be touched or bridged carry the pack's current; of a back-to-back pair one shorted "
            "switch is enough, since the other one's body diode points to the inlet.",
            source="search of the graph; USB Power Delivery, vSafe0V (an unplugged inlet counts as dead below it)",
        )


def _while_plugged(review: Review, routes: list[Route]) -> Iterator[Finding]:
    states = tuple(dict.fromkeys(r.state for r in routes if not r.stopped_by))
    if states:
        v = review.case.v_full
        yield CHECK.finding(
            "note",
            review.at("blocking pair"),
            f"In {_listed(review, states)} only a source above the pack ({show(v, 'V')}) keeps the pack from feeding "
            "it back; when the source goes, the blocking pair has to open.",
            value=v,
            limit=SAFE_0_VOLTS_MAX,
            unit="V",
            why="Otherwise the pack holds the inlet up, the unplugging is never noticed, and the pack empties into the "
            "cable.",
        )


def _into_pack(review: Review, routes: list[Route]) -> Iterator[Finding]:
    pack = review.case.pack
    limit = pack.series * pack.cell.limits.v_upper
    v = max(s.v_max_normal for s in review.plan.contracts.values())
    if v > limit:
        for name, states in _alone(routes).items():
            yield CHECK.finding(
                "caution",
                review.at(name),
                f"If the {name} fails short, up to {show(v, 'V')} reach the pack in {_listed(review, states)}, past "
                f"its upper limit of {show(limit, 'V')}; then only the pack's own protection is left.",
                value=v,
                limit=limit,
                unit="V",
                why="The charger is not the safety device: the pack needs an independent protection of its own.",
                source="search of the graph; IEC 62133-2 (upper limit charging voltage), single-fault thinking",
            )
    if any(r.state == "source-only" and all(p.how == "held by control" for p in r.stopped_by) for r in routes):
        yield CHECK.finding(
            "caution",
            review.at("pack"),
            f"No switch parts a full pack from the bus: the source holds it at {show(pack.v_full, 'V')}.",
            value=pack.v_full,
            limit=pack.v_full - pack.cell.limits.recharge_drop * pack.series,
            unit="V",
            why="Cells that are held full age faster than cells that rest.",
        )


def _listed(review: Review, states: tuple[StateKey, ...]) -> str:
    if set(states) == {s.key for s in review.path.states if s.source and s.pack}:
        return "every state with a source"
    names = [f"'{s}'" for s in states]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


CHECK = Check(
    key="reverse-paths",
    title="no single broken part turns the current around",
    why="Current the wrong way empties the pack, or makes contacts live that can be touched.",
    source="search of the graph, body diodes included; common practice",
    judge=judge,
)
