"""One product on a bench for all studies: a design in plain text, and a stage of round, invented parts made by hand.

The parts are not the sizing's choice, so that what the studies say here does not move when the sizing learns better.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from math import nan
from pathlib import Path

import pytest

from chargewright.network.graph import PowerPath
from chargewright.network.hardware import Hardware
from chargewright.parts.capacitor import Capacitor
from chargewright.parts.inductor import Inductor
from chargewright.parts.sense_resistor import SenseResistor
from chargewright.parts.switch import Switch
from chargewright.paths import shelf
from chargewright.sizing.build import Bank, Build, hardware_of
from chargewright.spec.load import parse_design
from chargewright.studies.needs import Plan, plan
from chargewright.studies.situation import Situation, situation

TWELVE = """\
name: Twelve lines
sources:
  - name: adapter
    kind: fixed
    voltage: 20 V ±5 %
    current: 3.25 A
pack:
  cell: nmc-energy
  series: 2
  capacity: 5 Ah
system:
  load: 12 W
"""

SWITCH = Switch(
    name="switch",
    v_max=40.0,
    i_max=40.0,
    r_on_25=6e-3,
    r_on_temp_co=4e-3,
    q_gate=8e-9,
    q_sw=2e-9,
    v_plateau=2.4,
    r_gate=1.0,
    c_oss_energy=400e-12,
    q_rr=8e-9,
    t_rr=4e-9,
    v_f=0.75,
    rth_jb=5.0,
    area=11e-6,
    cost=1.0,
    temp_j_max=423.15,
)
COIL = Inductor(
    name="coil",
    l_0=4.7e-6,
    tol_l=0.2,
    dcr_25=18e-3,
    i_sat=12.0,
    sat_exponent=2.75,
    i_rms=8.0,
    k_core=46.0,
    alpha=1.3,
    beta=2.3,
    volume=80e-9,
    turns_area=90e-6,
    ac_ratio=3.8,
    f_ref=500e3,
    rth=30.0,
    temp_max=398.15,
    area=49e-6,
    height=3e-3,
    cost=1.0,
)
CERAMIC = Capacitor(
    name="ceramic",
    kind="ceramic",
    c_0=10e-6,
    tol_c=0.1,
    v_max=35.0,
    esr=3e-3,
    esl=0.8e-9,
    v_half=20.0,
    bias_exponent=1.5,
    i_rms_max=4.0,
    temp_max=398.15,
    life_rated=nan,
    area=8e-6,
    cost=0.1,
)
SENSE = SenseResistor(name="sense", r=10e-3, tol=0.01, temp_co=100e-6, p_max=1.0, rth=60.0, area=5e-6, cost=0.3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A case, one path for it and parts that fill the path."""

    case: Situation
    plan: Plan
    build: Build
    hardware: Hardware

    @property
    def path(self) -> PowerPath:
        return self.plan.path


MakeBench = Callable[..., Bench]
MakeCase = Callable[[str], Situation]


@cache
def _case(text: str) -> Situation:
    return situation(parse_design(text, "bench.yaml"), Path("."))


@cache
def _bench(text: str, key: str) -> Bench:
    case = _case(text)
    chosen = plan(case, shelf.get(key))
    one_leg = chosen.path.stage.legs == "buck"
    build = Build(
        legs=chosen.path.stage.legs,
        a_high=SWITCH,
        a_low=SWITCH,
        b_low=None if one_leg else SWITCH,
        b_high=None if one_leg else SWITCH,
        coil=COIL,
        f_sw=600e3,
        bank_a=Bank(part=CERAMIC, count=3),
        bank_b=Bank(part=CERAMIC, count=3),
        sense_source=SENSE,
        sense_charge=SENSE,
        blocking=SWITCH,
        battery=SWITCH if chosen.path.wire("battery-switch") is not None else None,
    )
    hardware = hardware_of(build, chosen.rails, case.design.rules, case.design.ambient.board)
    return Bench(case=case, plan=chosen, build=build, hardware=hardware)


@pytest.fixture(scope="session")
def twelve() -> str:
    """Return the twelve lines that are enough for a study: 20 V and 65 W, two cells, 12 W."""
    return TWELVE


@pytest.fixture(scope="session")
def case_of() -> MakeCase:
    """Return a function that makes a situation of a design's text."""
    return _case


@pytest.fixture(scope="session")
def bench() -> MakeBench:
    """Return a function that puts the hand-made parts on a path: `bench("direct")`, `bench("direct", text)`."""

    def make(key: str, text: str = TWELVE) -> Bench:
        return _bench(text, key)

    return make


def _bare(hardware: Hardware) -> Hardware:
    stage = hardware.stage

    def lossless(part):
        return None if part is None else part._replace(r_on=0.0, q_gate=0.0, q_sw=0.0, c_oss=0.0, q_rr=0.0, v_f=0.0)

    return replace(
        hardware,
        wires={key: replace(wire, r_25=0.0, temp_co=0.0, rth=0.0) for key, wire in hardware.wires.items()},
        stage=replace(
            stage,
            a_high=lossless(stage.a_high),
            a_low=lossless(stage.a_low),
            b_low=lossless(stage.b_low),
            b_high=lossless(stage.b_high),
            coil=stage.coil._replace(r_dc=0.0, k_i=0.0),
            setting=stage.setting._replace(t_dead=0.0, i_quiescent=0.0, esr_in=0.0, esr_out=0.0),
        ),
        rails=(),
        r_board=0.0,
    )


@pytest.fixture(scope="session")
def bare() -> Callable[[Hardware], Hardware]:
    """Return a function that takes every loss out of a hardware: what is left is the circuit of the textbook."""
    return _bare
