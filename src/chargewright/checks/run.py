"""Run every check over a study."""

from chargewright.base.findings import Finding, worst_first
from chargewright.checks import shelf
from chargewright.checks.review import Review
from chargewright.studies.feasible import Requirement
from chargewright.studies.study import Study


def findings_of(study: Study, review: Review | None) -> tuple[Finding, ...]:
    """Return everything that is wrong or thin, worst first.

    review : of the study's subject; None if no path has parts, so that there is nothing to judge but the pack
    """
    found = list(_no_path(study))
    if review is None:
        found += study.case.pack.findings
    else:
        for _, check in shelf.all():
            found += check.judge(review)
    return tuple(worst_first(found))


def _no_path(study: Study) -> list[Finding]:
    if study.ranking.order:
        return []
    causes = "; ".join(f"{p.path.key}: {p.why_not or _first_unmet(p.requirements)}" for p in study.paths)
    return [
        Finding(
            severity="stop",
            check="no-path",
            where="all paths",
            what=f"No power path can do the job. {causes}",
            value=0.0,
            limit=1.0,
            unit="1",
            why="Something of what is asked has to change: source, pack, load or rules.",
            source="requirements of the design file, judged at their worst case",
        )
    ]


def _first_unmet(requirements: tuple[Requirement, ...]) -> str:
    return next((r.reason for r in requirements if not r.met and r.weight == "must"), "every requirement is met")
