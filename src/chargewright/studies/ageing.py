"""The design at the end of the pack's life: the same charge and the same use with an aged pack."""

from dataclasses import dataclass, replace

import numpy as np

from chargewright.base.units import show
from chargewright.network.hardware import Hardware
from chargewright.parts.pack import aged
from chargewright.studies.charge import ChargePlan, charge_case, charge_plan
from chargewright.studies.day import run_time
from chargewright.studies.needs import Plan
from chargewright.studies.situation import Situation


@dataclass(frozen=True, slots=True, kw_only=True)
class Ageing:
    """New and aged pack side by side."""

    capacity: float
    """Of the aged pack over that of the new one [1]."""
    resistance: float
    charge_new: ChargePlan
    charge_aged: ChargePlan
    run_time_new: float
    """In the middle mode of use, from full [s]."""
    run_time_aged: float


def aged_situation(case: Situation) -> Situation | None:
    """Return the situation with the aged pack of the design file; None if it names none."""
    ageing = case.design.pack.ageing
    if ageing is None:
        return None
    return replace(case, pack=aged(case.pack, capacity=ageing.capacity, resistance=ageing.resistance))


def aged_charge(case: Situation, chosen: Plan, hardware: Hardware) -> ChargePlan | None:
    """Return the usual charge of the aged pack; None if the design file names none."""
    old = aged_situation(case)
    if old is None or case.design.pack.ageing is None:
        return None
    usual = charge_plan(case, chosen, hardware)
    ageing = case.design.pack.ageing
    left = f"{show(ageing.capacity, '1')} of its capacity, {show(ageing.resistance, '1')} of its resistance"
    return charge_case(
        old,
        chosen,
        hardware,
        usual.source,
        title=f"from {usual.source}, aged pack ({left})",
        p_load=usual.p_load,
        temp=usual.temp_ambient,
    )


def ageing(case: Situation, chosen: Plan, hardware: Hardware) -> Ageing | None:
    """Return what ageing does to charge and run time; None if the design file names no aged pack."""
    old, spec = aged_situation(case), case.design.pack.ageing
    charge = aged_charge(case, chosen, hardware)
    if old is None or spec is None or charge is None:
        return None
    usual, ambient = float(np.median(list(case.modes.values()))), case.design.ambient.typical
    return Ageing(
        capacity=spec.capacity,
        resistance=spec.resistance,
        charge_new=charge_plan(case, chosen, hardware),
        charge_aged=charge,
        run_time_new=run_time(case, chosen.path, hardware, usual, ambient),
        run_time_aged=run_time(old, chosen.path, hardware, usual, ambient),
    )
