"""How close a two-switch stage comes to dropout at the end of the charge."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from chargewright.base.findings import Finding
from chargewright.base.units import show
from chargewright.checks._trial import first_cure, shorter_cable, trial, with_source
from chargewright.checks.review import Check, Review
from chargewright.spec.design import Design
from chargewright.studies.feasible import judge_one

THIN = 0.02
"""Input voltage to spare at the worst end of the charge, over what is needed, below which it is told [1]."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield the sources whose lowest voltage hardly finishes the charge."""
    for r in review.result.requirements:
        if r.key != "finishes-charge" or not r.met or r.limit <= 0.0 or r.value >= r.limit * (1.0 + THIN):
            continue
        yield CHECK.finding(
            "caution",
            review.at(r.source),
            f"At the end of the charge {r.source} leaves {show(r.value, 'V')} in its worst case; the stage drops out "
            f"below {show(r.limit, 'V')}.",
            value=r.value,
            limit=r.limit,
            unit="V",
            cure=first_cure(
                (text, partial(_again, review, changed, r.source))
                for text, changed in _changes(review.case.design, r.source)
            ),
        )


def _again(review: Review, changed: Design, source: str) -> tuple[float, bool]:
    tried = trial(review, changed)
    found = judge_one(tried.case, tried.plan, tried.hardware, "finishes-charge", source)
    return found.value, found.met and found.value >= found.limit * (1.0 + THIN)


def _changes(design: Design, source: str) -> Iterator[tuple[str, Design]]:
    yield f"halve the cable of {source}", with_source(design, source, shorter_cable(0.5))
    if design.rules.duty_max < 0.99:
        more = replace(design.rules, duty_max=0.99)
        yield "let the duty of the stage go up to 99 %", replace(design, rules=more)


CHECK = Check(
    key="duty-margin",
    title="the stage has duty to spare at the end of the charge",
    why="In dropout the pack stays short of full, and only on weak sources and worn cables, so that no lab sees it.",
    source="greatest duty of the design's rules; 2 % to spare is common practice",
    judge=judge,
)
