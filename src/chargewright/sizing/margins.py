"""Every rule at its tightest place, for the chosen build, and what its capacitors do."""

from dataclasses import replace
from math import inf, isnan

import numpy as np

from chargewright.base.units import show
from chargewright.parts.capacitor import Capacitor
from chargewright.physics.capacitor import esr_ripple, life_at
from chargewright.sizing.candidates import Through
from chargewright.sizing.demand import Points
from chargewright.sizing.judge import Judged
from chargewright.sizing.pairs import Pairs
from chargewright.sizing.pass_elements import Passing, rating_needed
from chargewright.sizing.passive import SIDES, BankDuty, bank_duties, effective_capacitance, ripple
from chargewright.sizing.records import BankWork, Margin, Side
from chargewright.sizing.ruling import Ruling, most_over, rating
from chargewright.sizing.sense import current_rating
from chargewright.sizing.tables import rows_of, run
from chargewright.sizing.task import Task


def margins_of(job: Task, best: Judged, through: Through) -> tuple[Margin, ...]:
    """Return the margins of the one set in `best`: stage, capacitors, pass elements, sense resistors."""
    corners, rules = job.demand.stage.corners, job.demand.rules
    rulings = list(best.rulings)
    for element in through.passing:
        rulings += _of_passing(job, element)
    for role, sensing in (("source", through.source), ("charge", through.charge)):
        limit = float(current_rating(sensing.part.p_max, sensing.part.r, rules.i_derating))
        where = f"{role} sense resistor"
        rulings.append(_most("resistor current", where, "A", sensing.i, limit))
        rulings.append(_cool(job, "resistor temperature", where, sensing.temp, rules.temp_part_max))
    return tuple(_margin(r, corners) for r in rulings)


def bank_works(job: Task, pairs: Pairs, best: Judged) -> tuple[tuple[BankWork, Margin], ...]:
    """Return what the capacitors of both sides do in the one set in `best`, and the margin that bias leaves them."""
    rows = rows_of(job.t, best.choice, job.temp_rank, job.temp_rank, worst_coil=True)
    duties = bank_duties(run(rows, job.demand.stage.corners), job.demand)
    pair, board = int(best.sums.pair[0]), float(best.temp_board[0])
    found = []
    for side, duty, bank in zip(SIDES, duties, pairs.banks, strict=True):
        part, count = job.parts.capacitors.record(int(bank.part[pair])), int(bank.count[pair])
        found.append(_bank(job, side, duty, part, int(bank.part[pair]), count, board))
    return tuple(found)


def _bank(
    job: Task, side: Side, duty: BankDuty, part: Capacitor, row: int, count: int, temp_board: float
) -> tuple[BankWork, Margin]:
    """Return a bank's work, and the margin of its capacitance: what is left under bias against what ripple needs."""
    esr = part.esr / count
    left = effective_capacitance(job.parts.capacitors, np.array([row]), duty.v)[0] * count
    at = ripple(duty, left, np.array(esr))[0]
    # What series resistance leaves of the ripple allowed has to hold the charge of the pulses.
    needed = duty.charge[0] / (job.demand.rules.bus_ripple * duty.v - esr_ripple(duty.i_pp[0], esr))
    k = int(np.argmax(needed / left))
    work = BankWork(
        side=side,
        name=part.name,
        count=count,
        c_nominal=count * part.c_0,
        c_effective=float(left.min()),
        ripple=float(at.max()),
        i_rms_each=float(duty.i_rms[0][duty.lasting].max()) / count,
        life=inf if isnan(part.life_rated) else float(life_at(part.life_rated, part.temp_max, temp_board)),
    )
    bias = f"{count} × {show(part.c_0, 'F')} leave {show(float(left[k]), 'F')} at {show(float(duty.v[k]), 'V')}"
    ageing = "" if work.life == inf else f"; life of {show(work.life, 's')} at the hottest board"
    margin = Margin(
        rule="capacitance under bias",
        where=f"{side}-side capacitors",
        value=float(left[k]),
        limit=float(needed[k]),
        unit="F",
        margin=float(left[k] / needed[k] - 1.0),
        note=f"{bias} and −{show(part.tol_c, '1')}{ageing}",
    )
    return work, margin


def _of_passing(job: Task, element: Passing) -> list[Ruling]:
    rules, part, where = job.demand.rules, element.part, element.place
    limit = min(rules.temp_j_max, part.temp_j_max)
    rows = [
        rating("switch voltage", where, "V", np.array([part.v_max]), rating_needed(element.v, rules.v_derating)),
        _most("switch current", where, "A", element.i, rules.i_derating * part.i_max),
        _cool(job, "junction temperature", where, element.temp, limit),
    ]
    if element.temp_linear is not None:
        rows.append(_cool(job, "junction temperature in linear use", where, element.temp_linear, limit))
    return rows


def _most(rule: str, where: str, unit: str, value: float, limit: float, base: float = 0.0) -> Ruling:
    """Return a rule that does not depend on a corner."""
    return replace(most_over(rule, where, unit, np.array([[value]]), limit, base=base), corner=np.array([-1]))


def _cool(job: Task, rule: str, where: str, temp: float, limit: float) -> Ruling:
    return _most(rule, where, "K", temp, limit, job.demand.stage.temp_ambient)


def _margin(r: Ruling, corners: Points) -> Margin:
    k = int(r.corner[0])
    return Margin(
        rule=r.rule,
        where=r.where,
        value=float(r.value[0]),
        limit=float(r.limit[0]),
        unit=r.unit,
        margin=float(r.margin[0]),
        note="" if k < 0 else _said(corners, k),
    )


def _said(corners: Points, k: int) -> str:
    """Return a corner in words."""
    way = "backwards, " if corners.reverse[k] else ""
    brief = "" if corners.lasting[k] else ", briefly"
    v_in, v_out, i_out = (float(x[k]) for x in (corners.v_in, corners.v_out, corners.i_out))
    return f"{way}{show(v_in, 'V')} to {show(v_out, 'V')}, {show(i_out, 'A')}{brief}"
