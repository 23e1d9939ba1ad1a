"""Demands and small catalogues for the tests of sizing."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from chargewright.parts.catalogue import Parts, load_parts
from chargewright.parts.kind import Catalogue
from chargewright.sizing.demand import Demand, Points, StageDemand, WiresDemand
from chargewright.sizing.records import Sizing
from chargewright.sizing.size import size
from chargewright.spec.rules import RulesSpec

Row = tuple[float, float, float, bool, bool]
"""v_in, v_out, i_out, reverse, lasting."""


def points(rows: list[Row]) -> Points:
    table = np.array(rows, dtype=float)
    return Points(
        v_in=table[:, 0],
        v_out=table[:, 1],
        i_out=table[:, 2],
        reverse=table[:, 3] > 0.5,
        lasting=table[:, 4] > 0.5,
    )


def _demand(*, legs: Any, usual: list[Row], weights: list[float], corners: list[Row], v_a: float, v_b: float) -> Demand:
    i_charge = max(row[2] for row in usual)
    return Demand(
        path="test",
        stage=StageDemand(
            legs=legs,
            usual=points(usual),
            weights=np.array(weights),
            corners=points(corners),
            v_a_max=v_a,
            v_b_max=v_b,
            temp_ambient=313.15,
            r_board=10.0,
            p_elsewhere=1.0,
        ),
        wires=WiresDemand(
            i_source=3.0,
            v_source_max=v_a * 1.1,
            i_charge=i_charge,
            i_precharge=0.1 * i_charge,
            i_termination=0.05 * i_charge,
            i_discharge=4.0,
            v_bus_max=v_a,
            p_linear=0.1,
            sense_offset=1e-4,
        ),
        rules=RulesSpec(),
        f_sw=(4e5, 8e5),
        has_battery_switch=True,
    )


BUCK = _demand(
    legs="buck",
    usual=[(20.0, 7.5, 2.5, False, True), (20.0, 8.4, 1.0, False, True)],
    weights=[0.7, 0.3],
    corners=[(v, w, 2.5, False, True) for v in (18.6, 21.0) for w in (6.0, 8.4)],
    v_a=21.0,
    v_b=8.5,
)
BOTH_WAYS = _demand(
    legs="buck",
    usual=[(20.0, 11.0, 3.0, False, True), (20.0, 12.6, 0.5, False, True)],
    weights=[0.5, 0.5],
    corners=[
        *((v, w, 3.0, False, True) for v in (18.6, 21.0) for w in (9.0, 12.6)),
        (9.0, 20.0, 2.0, True, False),
        (9.0, 20.0, 1.0, True, True),
    ],
    v_a=21.0,
    v_b=12.7,
)
FOUR_SWITCH = _demand(
    legs="four-switch",
    usual=[(15.0, 11.0, 3.0, False, True), (9.0, 11.0, 2.0, False, True), (12.0, 12.0, 2.0, False, True)],
    weights=[0.5, 0.3, 0.2],
    corners=[(v, w, 2.5, False, True) for v in (8.5, 12.0, 15.8) for w in (9.0, 12.6)],
    v_a=15.8,
    v_b=12.7,
)
DEMANDS = {"buck": BUCK, "both ways": BOTH_WAYS, "four switches": FOUR_SWITCH}
each_demand = pytest.mark.parametrize("demand", DEMANDS.values(), ids=list(DEMANDS))


@pytest.fixture(scope="session")
def every_part() -> Parts:
    return load_parts()


@pytest.fixture(scope="session")
def few_parts(every_part: Parts) -> Parts:
    """A catalogue that a plain loop can search: five switches, seven inductors, all capacitors and resistors."""
    switches = ("SW 30V 12mohm A", "SW 30V 7.7mohm B", "SW 30V 4.8mohm A", "SW 40V 12mohm B", "SW 20V 6.6mohm B")
    coils = (
        "IND 4.7uH 6mm composite",
        "IND 6.8uH 8mm composite",
        "IND 10uH 8mm ferrite",
        "IND 10uH 10mm composite",
        "IND 15uH 10mm ferrite",
        "IND 22uH 12mm ferrite",
        "IND 2.2uH 6mm ferrite",
    )
    return replace(
        every_part, switches=named(every_part.switches, switches), inductors=named(every_part.inductors, coils)
    )


def named(parts: Catalogue[Any], names: tuple[str, ...]) -> Catalogue[Any]:
    return parts.where(np.isin(parts.column("name"), names))


@pytest.fixture(scope="session")
def sized(every_part: Parts) -> Callable[[str], Sizing]:
    """Return a function that gives the sizing of one of the demands by name, made once."""
    made: dict[str, Sizing] = {}

    def of(name: str) -> Sizing:
        if name not in made:
            made[name] = size(DEMANDS[name], every_part)
        return made[name]

    return of


@pytest.fixture(scope="session")
def demands() -> dict[str, Demand]:
    return DEMANDS


@pytest.fixture(scope="session")
def some_parts() -> Callable[..., Catalogue[Any]]:
    return named
