"""Margins of the regulation loops over the envelope, and the source side against the stage."""

from collections.abc import Iterator

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.studies.loop_words import Thinnest, thinnest_of
from chargewright.studies.stability import DISTANCE, FilterReport, LoopReport


def judge(review: Review) -> Iterator[Finding]:
    """Yield the loops that fall below the rule at some corner, and a source side that comes near the stage."""
    found = review.stability
    if found is None:
        return
    for report in found.loops:
        thin = thinnest_of(report)
        if thin.share < 1.0:
            yield CHECK.finding(
                "caution" if thin.stable or report.stiffened is not None else "serious",
                review.at(f"loop of the {report.title}"),
                _what(thin, report.corners[thin.corner]),
                value=thin.value,
                limit=thin.limit,
                unit=thin.unit,
                cure=_stiffer(report, thin.unit),
            )
    for title in found.not_designed:
        yield CHECK.finding(
            "serious",
            review.at(f"loop of the {title}"),
            "No amplifier was found that gives this loop its margin.",
            value=float("nan"),
            limit=float("nan"),
            unit="",
            why=f"{found.not_designed[title].rstrip('.')}.",
        )
    if not found.filter.passes:
        yield _source_side(review, found.filter)


def _stiffer(report: LoopReport, unit: str) -> Cure | None:
    """Return the damper that gives a bus held by the stage alone its margins, where one was found."""
    with_it = report.stiffened
    if with_it is None:
        return None
    value = with_it.phase_margin if unit == "rad" else with_it.gain_margin
    c, r = show(with_it.damper.c, "F", 3), show(with_it.damper.r, "ohm", 3)
    return Cure(change=f"put {c} with {r} in series on the bus", value=value, clears=True)


def _what(thin: Thinnest, corner: str) -> str:
    if not thin.stable:
        return f"The loop is not stable with {corner}."
    return f"The {thin.name} comes down to {thin.words} with {corner}."


def _source_side(review: Review, found: FilterReport) -> Finding:
    value = float(found.distance[found.worst])
    cure = None
    if found.damper is not None and found.distance_damped >= DISTANCE:
        change = f"put {show(found.damper.c, 'F', 3)} with {show(found.damper.r, 'ohm', 3)} in series beside the input"
        cure = Cure(change=change, value=found.distance_damped, clears=True)
    return CHECK.finding(
        "note",
        review.at("source side"),
        f"The ratio of source side to stage comes within {value:.2g} of −1, with {found.worst_corner}.",
        value=value,
        limit=DISTANCE,
        unit="1",
        why="The loops are judged with this cable and bank; with another supply, cable or bank the input may ring.",
        source="impedance criterion for input filters (R. D. Middlebrook, 1976, from memory); 6 dB: common practice",
        cure=cure,
    )


CHECK = Check(
    key="loop-margins",
    title="every loop keeps 45 degrees and 6 dB at every corner, and the source side its distance",
    why="A loop with a thin margin rings at each step of the load, and parts and temperature use up what is left.",
    source="45° and 6 dB are common practice; averaged small-signal model with an assumed controller",
    judge=judge,
)
