"""From a study to its dossier: set-points, ladders, charges, findings, test plan and what goes with every result."""

from collections.abc import Callable

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.bench.plan import test_plan
from chargewright.checks.review import review_of, subject_of
from chargewright.checks.run import findings_of
from chargewright.dossier.record import Dossier
from chargewright.dossier.texts import CAUTIONS, STANDARDS
from chargewright.sizing.build import Build
from chargewright.studies.ageing import aged_charge
from chargewright.studies.charge import charge_cases
from chargewright.studies.ladder import ladders
from chargewright.studies.needs import Plan
from chargewright.studies.outlook import outlook
from chargewright.studies.sequences.run import sequences
from chargewright.studies.settings import Settings, settings
from chargewright.studies.situation import Situation
from chargewright.studies.stability import loops_if_any
from chargewright.studies.study import Study
from chargewright.studies.transients.product import Product
from chargewright.studies.transients.run import product_of, study_transients
from chargewright.studies.transients.steady_wave import SteadyWave, steady_wave

Progress = Callable[[str, float], None]
OPEN_CHARGER = "smart-battery-charger"
"""Shipped description of a charger by the open Smart Battery Charger Specification 1.1."""
ORDERS_BUDGET = 8_000
"""Steps of the search through orders of events after which a study leaves further sources to the command line."""


def make_dossier(study: Study, progress: Progress | None = None) -> Dossier:
    """Return the dossier of a study. Raises PartsError for a controller description that cannot be used.

    progress : told each step that starts, and the share of this work that is done [1]

    Where no path is feasible, the nearest one is reviewed for its findings, and nothing is handed on for building it.
    """
    tell = progress or (lambda _step, _share: None)
    subject, case = subject_of(study), study.case
    assumptions, not_modelled = case.assumptions, study.not_modelled
    if subject is None or subject.sizing is None or subject.hardware is None:
        return Dossier(
            study=study,
            settings=None,
            open_settings=None,
            ladders=(),
            charges=(),
            outlook=None,
            stability=None,
            orders=None,
            findings=findings_of(study, None),
            test_plan=None,
            cautions=CAUTIONS,
            standards=STANDARDS,
            assumptions=assumptions,
            not_modelled=not_modelled,
        )
    build, won = subject.sizing.build, study.winner is not None
    tell("set-points and protections", 0.0)
    coded = settings(case, subject.plan, build)
    rungs = ladders(case, subject.plan, build, coded)
    tell("loops over the whole envelope", 0.1)
    loops = loops_if_any(case, subject.plan, subject.hardware, build) if won else None
    tell("charges from every source, cold and hot", 0.2)
    charges = charge_cases(case, subject.plan, subject.hardware)
    old = aged_charge(case, subject.plan, subject.hardware)
    charges += () if old is None else (old,)
    tell("events in every order", 0.5)
    orders = sequences(case, subject.plan, subject.hardware, build, coded=coded, loops=loops, budget=ORDERS_BUDGET)
    tell("use over a week, a month and a year", 0.5)
    use = outlook(case, subject.plan, subject.hardware) if won else None
    tell("plug, load and start in time", 0.55)
    product = None if loops is None else product_of(case, subject, loops)
    in_time = None if product is None else study_transients(product)
    tell("checks, and cures for what they find", 0.6)
    review = review_of(study, coded, rungs, charges, loops, orders, in_time)
    found = findings_of(study, review)
    tell("test plan", 0.9)
    return Dossier(
        study=study,
        settings=coded if won else None,
        open_settings=_on_open_charger(case, subject.plan, build) if won else None,
        ladders=rungs if won else (),
        charges=charges if won else (),
        outlook=use,
        stability=loops,
        orders=orders if won else None,
        transients=in_time,
        stage_wave=None if product is None else _steady_wave(product),
        findings=found,
        test_plan=test_plan(study, coded, rungs) if won else None,
        cautions=CAUTIONS,
        standards=STANDARDS,
        assumptions=assumptions,
        not_modelled=not_modelled,
    )


def _steady_wave(product: Product) -> SteadyWave | None:
    """Return the stage's steady periods; None where none closes."""
    try:
        return steady_wave(product)
    except (NoSolution, OutOfRange):
        return None


def _on_open_charger(case: Situation, chosen: Plan, build: Build) -> Settings | None:
    """Return the set-points on the open standard's charger, so that what a controller costs in accuracy can be seen."""
    return None if case.design.controller == OPEN_CHARGER else settings(case, chosen, build, OPEN_CHARGER)
