"""One small product, studied once on two kinds of path."""

from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from chargewright.bench import plan as bench
from chargewright.bench.records import TestPlan
from chargewright.spec.design import Design
from chargewright.spec.load import load_design
from chargewright.studies.ladder import ladders
from chargewright.studies.settings import settings
from chargewright.studies.study import Study, study_design

PRODUCT = """\
name: Bench sample
candidates: [narrow-buck]
sources:
  - {name: adapter, kind: fixed, voltage: 20 V ±5 %, current: 3.25 A, efficiency: 89 %}
pack: {cell: nmc-energy, series: 2, capacity: 5 Ah, i_discharge_max: 1 C}
system:
  load: 12 W
  peak: {power: 70 W, duration: 10 ms}
  boot: 6 W
usage:
  - {mode: work, source: none, duration: 1 h}
  - {mode: work, source: adapter, duration: 23 h}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """A study and its test plan."""

    study: Study
    plan: TestPlan


def sample(design: Design, file: Path) -> Sample:
    """Return the study of a design and its test plan."""
    study = study_design(design, file)
    best = study.winner
    assert best is not None
    assert best.sizing is not None
    coded = settings(study.case, best.plan, best.sizing.build)
    rungs = ladders(study.case, best.plan, best.sizing.build, coded)
    return Sample(study=study, plan=bench.test_plan(study, coded, rungs))


@pytest.fixture(scope="session")
def narrow(tmp_path_factory: pytest.TempPathFactory) -> Sample:
    """Return the product on a narrow bus."""
    file = tmp_path_factory.mktemp("product") / "sample.design"
    file.write_text(PRODUCT, encoding="utf-8")
    return sample(load_design(file), file)


@pytest.fixture(scope="session")
def direct(narrow: Sample, tmp_path_factory: pytest.TempPathFactory) -> Sample:
    """Return the product on a direct path whose peak the source carries."""
    file = tmp_path_factory.mktemp("product") / "sample.design"
    design = narrow.study.case.design
    assert design.system.peak is not None
    calm = replace(design.system, peak=replace(design.system.peak, power=20.0))
    return sample(replace(design, candidates=("direct",), system=calm), file)
