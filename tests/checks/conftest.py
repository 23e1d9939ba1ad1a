"""One small product, and reviews of it under changes, without a study each time."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from chargewright.checks.review import Review, review_of
from chargewright.parts.catalogue import load_parts
from chargewright.paths import shelf
from chargewright.sizing.build import hardware_of
from chargewright.sizing.records import Sizing
from chargewright.sizing.size import size
from chargewright.spec.design import Design
from chargewright.spec.load import load_design
from chargewright.studies.charge import charge_case
from chargewright.studies.day import day
from chargewright.studies.feasible import judge
from chargewright.studies.ladder import ladders
from chargewright.studies.needs import demand, plan
from chargewright.studies.settings import settings
from chargewright.studies.situation import situation
from chargewright.studies.study import PathStudy, Study
from chargewright.studies.verdict import Ranking
from chargewright.studies.window import bus_window

PRODUCT = """\
name: Bench sample
sources:
  - {name: adapter, kind: fixed, voltage: 20 V ±5 %, current: 3.25 A, efficiency: 89 %}
pack: {cell: nmc-energy, series: 2, capacity: 5 Ah, i_discharge_max: 1 C}
system:
  load: 12 W
  peak: {power: 20 W, duration: 10 ms}
  boot: 6 W
"""


class Look:
    """Reviews of the product: parts are chosen once, everything else follows the changed design."""

    def __init__(self, folder: Path) -> None:
        file = folder / "sample.design"
        file.write_text(PRODUCT, encoding="utf-8")
        self.design: Design = load_design(file)
        self.folder = folder
        self.sizing = cache(self._sizing)

    def _sizing(self) -> Sizing:
        case = situation(self.design, self.folder)
        return size(demand(case, plan(case, shelf.get("narrow-buck"))), load_parts(self.design.parts, self.folder))

    def __call__(
        self,
        design: Design | None = None,
        *,
        path: str = "narrow-buck",
        sizing: Callable[[Sizing], Sizing] = lambda s: s,
        charge: tuple[float, float] | None = None,
        with_day: bool = False,
        with_window: bool = False,
        **study: Any,
    ) -> Review:
        """Return a review; `charge` is (system load [W], ambient [K]) of the one charge in it."""
        design = design or self.design
        case = situation(design, self.folder)
        chosen = plan(case, shelf.get(path))
        found = sizing(self.sizing())
        if chosen.path.stage.legs == "four-switch":
            build = replace(found.build, legs="four-switch", b_low=found.build.a_low, b_high=found.build.a_high)
            found = replace(found, build=build)
        hardware = hardware_of(found.build, chosen.rails, design.rules, design.ambient.board)
        result = PathStudy(
            path=chosen.path,
            plan=chosen,
            sizing=found,
            why_not="",
            hardware=hardware,
            requirements=judge(case, chosen, hardware),
            feasible=True,
            window=bus_window(case, chosen, hardware) if with_window else None,
            day=day(case, chosen, hardware, design.ambient.typical) if with_day else None,
        )
        facts: dict[str, Any] = {
            "ranking": Ranking(order=(), tipping=(), tie=False),
            "map": None,
            "reach": None,
        } | study
        whole = Study(case=case, design_file="sample.design", paths=(result,), **facts)
        coded = settings(case, chosen, found.build)
        charges = ()
        if charge is not None:
            p_load, temp = charge
            charges = (
                charge_case(case, chosen, hardware, "adapter", title="as tried", p_load=p_load, temp=temp, edge="low"),
            )
        review = review_of(whole, coded, ladders(case, chosen, found.build, coded), charges)
        assert review is not None
        return review


@pytest.fixture(scope="session")
def look(tmp_path_factory: pytest.TempPathFactory) -> Look:
    """Return what makes reviews."""
    return Look(tmp_path_factory.mktemp("product"))
