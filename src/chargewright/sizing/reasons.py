"""Why the chosen set won, in words."""

from chargewright.base.units import show
from chargewright.sizing.exchange import Exchange
from chargewright.sizing.records import Candidate, Margin


def chosen_because(front: tuple[Candidate, ...], margins: tuple[Margin, ...], considered: int, price: Exchange) -> str:
    """Return the reasons: the score and what it is made of, what the ends of the front would change, what binds.

    front : by score, the chosen one first
    """
    best = front[0]
    sets = f"{considered:,}".replace(",", " ")
    text = [
        f"Of {sets} sets of parts, {len(front)} keep every rule and are not beaten in loss, cost and area at once. "
        f"This one has the least sum: {show(best.p_loss, 'W')} of mean loss, a cost index of {best.cost:.3g} worth "
        f"{show(price.per_cost * best.cost, 'W')}, and {show(best.area, 'm2')} worth "
        f"{show(price.per_area * best.area, 'W')}."
    ]
    for title, other in (
        ("The set of least loss", min(front, key=lambda c: (c.p_loss, c.score))),
        ("The cheapest set", min(front, key=lambda c: (c.cost, c.score))),
        ("The smallest set", min(front, key=lambda c: (c.area, c.score))),
    ):
        if other is not best:
            text.append(f"{title} {_against(other, best)}.")
    tightest = min(margins, key=lambda m: m.margin)
    text.append(
        f"Its tightest rule is the {tightest.rule} ({tightest.where}), {show(tightest.margin, '1', 2)} from the limit."
    )
    return " ".join(text)


def _against(other: Candidate, best: Candidate) -> str:
    return ", ".join(
        (
            _change("loses", show(abs(other.p_loss - best.p_loss), "W", 3), other.p_loss - best.p_loss),
            _change("costs", f"{abs(other.cost - best.cost):.2g}", other.cost - best.cost),
            _change("takes", show(abs(other.area - best.area), "m2", 3), other.area - best.area),
        )
    )


def _change(verb: str, size: str, change: float) -> str:
    if change == 0.0:
        return f"{verb} the same"
    return f"{verb} {size} {'more' if change > 0.0 else 'less'}"
