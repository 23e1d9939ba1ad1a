"""The search finds what a plain loop over all sets of a small catalogue finds.

The loop shares no code with the search but the stage itself (`network.stage`, tested in its own room): one set, one
point, one part at a time, no reference switches, no sums, no sieve.
"""

import itertools
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from chargewright.base.compiled import compiled, numba_module
from chargewright.network.hardware import ABSENT, switch_at_25
from chargewright.network.stage import StageLosses, StageWaveform, stage_point
from chargewright.parts.capacitor import Capacitor
from chargewright.parts.catalogue import Parts
from chargewright.parts.inductor import Inductor
from chargewright.parts.switch import Switch
from chargewright.physics.capacitor import biased_capacitance
from chargewright.physics.conduction import resistance_at
from chargewright.sizing.build import R_DRIVER, Build, coil_at_25, setting_of
from chargewright.sizing.candidates import through_at
from chargewright.sizing.demand import Demand
from chargewright.sizing.pulse_charge import pulse_charge
from chargewright.sizing.size import size
from chargewright.sizing.tables import tables
from chargewright.sizing.task import task

COPPER = 0.00393
one_point = compiled(stage_point) if numba_module() else stage_point


@dataclass
class Set:
    switches: tuple[Switch, ...]
    coil: Inductor
    f_sw: float
    temp: dict[str, float]
    esr: tuple[float, float] = (0.0, 0.0)

    def at(
        self, demand: Demand, point: tuple[float, float, float, bool], *, worst: bool = False
    ) -> tuple[StageLosses, StageWaveform, float]:
        """Evaluate one point; the output's share of the coil current is found by repetition."""
        v_in, v_out, i_out, back = point
        four = demand.stage.legs == "four-switch"
        placed = dict(zip(("a_high", "a_low", "b_low", "b_high"), self.switches, strict=False))
        at = dict.fromkeys(("a_high", "a_low", "b_low", "b_high"), ABSENT)
        for place, part in placed.items():
            plain = switch_at_25(part, R_DRIVER, demand.rules.v_drive)
            at[place] = plain._replace(r_on=resistance_at(plain.r_on, part.r_on_temp_co, self.temp[place]))
        coil = coil_at_25(self.coil)
        coil = coil._replace(r_dc=resistance_at(coil.r_dc, COPPER, self.temp["coil"]))
        if worst:
            hot = 0.8 if self.coil.sat_exponent >= 5.0 else 1.0
            coil = coil._replace(l_0=coil.l_0 * (1.0 - self.coil.tol_l), i_sat=coil.i_sat * hot)
        esr_in, esr_out = self.esr[::-1] if back else self.esr
        setting = setting_of(demand.rules, self.f_sw, esr_in, esr_out)
        setting = setting._replace(legs=0.0 if four else (-1.0 if back else 1.0))
        order = ("b_high", "b_low", "a_low", "a_high") if back else ("a_high", "a_low", "b_low", "b_high")
        i_l = i_out
        floats = [type(x)(*map(float, x)) for x in (*(at[k] for k in order), coil, setting)]
        for _ in range(20):
            losses, wave = one_point(v_in, v_out, i_l, *floats)
            if wave.d_out <= 0.0:
                break
            i_l = i_out / (1.0 - min(float(wave.d_out), 0.98))
        return losses, wave, i_l


def heats(losses: StageLosses, back: bool) -> dict[str, float]:
    role = {
        "in_high": losses.in_high_conduction + losses.in_overlap + losses.in_capacitance + losses.in_recovery,
        "in_low": losses.in_low_conduction + losses.in_dead_time,
        "out_low": losses.out_low_conduction + losses.out_overlap + losses.out_capacitance + losses.out_recovery,
        "out_high": losses.out_high_conduction + losses.out_dead_time,
    }
    places = ("in_high", "in_low", "out_low", "out_high")
    found = dict(zip(("a_high", "a_low", "b_low", "b_high"), reversed(places) if back else places, strict=True))
    return {place: float(role[r]) for place, r in found.items()} | {
        "coil": float(losses.coil_winding + losses.coil_ac + losses.coil_core)
    }


def table(points: Any) -> list[tuple[float, float, float, bool]]:
    return list(
        zip(points.v_in.tolist(), points.v_out.tolist(), points.i_out.tolist(), points.reverse.tolist(), strict=True)
    )


def asked_of(demand: Demand, one: Set, side: int) -> list[tuple[float, float, float, float]]:
    """Return voltage, charge, peak-to-peak and lasting rms current of one side's capacitors at each corner."""
    corners, asked = demand.stage.corners, []
    for p, lasting in zip(table(corners), corners.lasting.tolist(), strict=True):
        _, wave, i_l = one.at(demand, p, worst=True)
        out = (side == 1) != p[3]
        share = 1.0 - float(wave.d_out) if out else float(wave.d_in)
        s, rate = share * float(wave.active), float(wave.rate)
        charge = float(pulse_charge(i_l / float(wave.active), float(wave.di_pp), s, rate))
        swing = float(wave.i_peak) if share < 1.0 else float(wave.di_pp)
        rms = float(wave.rms_out_capacitor if out else wave.rms_in_capacitor) if lasting else 0.0
        asked.append((p[1] if out else p[0], charge, swing, rms))
    return asked


def bank_for(demand: Demand, parts: Parts, one: Set, side: int) -> tuple[float, float, float] | None:
    """Return esr, cost and area of the bank that is worth least, by trying every part."""
    rules, best = demand.rules, None
    usual = []
    for p, w in zip(table(demand.stage.usual), demand.stage.weights.tolist(), strict=True):
        _, wave, _ = one.at(demand, p)
        usual.append(w * float(wave.rms_out_capacitor if (side == 1) != p[3] else wave.rms_in_capacitor) ** 2)
    asked = asked_of(demand, one, side)
    v_max = demand.stage.v_b_max if side else demand.stage.v_a_max
    for part in parts.capacitors:
        if part.v_max * rules.v_derating < v_max * (1.0 - 1e-9):
            continue
        need = 0.0
        for v, charge, swing, rms in asked:
            need = max(need, (charge / left_of(part, v) + swing * part.esr) / (rules.bus_ripple * v))
            need = max(need, rms / (rules.i_derating * part.i_rms_max))
        count = max(math.ceil(1.02 * need), 1)
        worth = demand.exchange.score(sum(usual) * part.esr / count, count * part.cost, count * part.area)
        if count <= 24 and (best is None or worth < best[0]):
            best = (worth, part.esr / count, count * part.cost, count * part.area)
    return best[1:] if best else None


def left_of(part: Capacitor, v: float) -> float:
    return float(biased_capacitance(part.c_0 * (1.0 - part.tol_c), v, part.v_half, part.bias_exponent))


def keeps(demand: Demand, one: Set, p_pass: float) -> bool:
    """Judge one set by every rule of the stage."""
    rules, stage = demand.rules, demand.stage
    corners, lasting = table(stage.corners), stage.corners.lasting.tolist()
    found = [one.at(demand, p, worst=True) for p in corners]
    full = max(i_l for (_, _, i_l), last in zip(found, lasting, strict=True) if last)
    hot = 0.8 if one.coil.sat_exponent >= 5.0 else 1.0
    for p, last, (_, w, _) in zip(corners, lasting, found, strict=True):
        if w.di_pp > rules.ripple_max * full:
            return False
        if w.i_peak > (1.0 - rules.saturation_margin) * hot * one.coil.i_sat:
            return False
        if last and w.rms_coil > rules.i_derating * one.coil.i_rms:
            return False
        both = stage.legs == "four-switch" and w.d_out > 0.0 and w.d_in < 1.0
        duty = float(w.d_out) if p[3] or w.d_in == 1.0 else float(w.d_in)
        if not both and not rules.duty_min <= duty <= rules.duty_max:
            return False
        if (float(w.d_out) if both else duty) / one.f_sw < 50e-9:
            return False
        rms = (w.rms_in_high, w.rms_in_low, w.rms_out_low, w.rms_out_high)
        for part, i in zip(one.switches, rms[::-1] if p[3] else rms, strict=False):
            if last and i > rules.i_derating * part.i_max:
                return False
    places = ("a_high", "a_low", "b_low", "b_high")
    for p, last in zip(corners, lasting, strict=True):
        if not last:
            continue
        settled = replace(one, temp=dict(one.temp))
        for _ in range(8):
            losses = settled.at(demand, p)[0]
            board = stage.temp_ambient + stage.r_board * (stage.p_elsewhere + p_pass + float(sum(losses)))
            own = heats(losses, p[3])
            settled.temp["coil"] = board + one.coil.rth * own["coil"]
            for place, part in zip(places, one.switches, strict=False):
                settled.temp[place] = board + part.rth_jb * own[place]
        limits = [min(rules.temp_j_max, part.temp_j_max) for part in one.switches]
        if any(settled.temp[k] > limit for k, limit in zip(places, limits, strict=False)):
            return False
        if settled.temp["coil"] > min(rules.temp_part_max, one.coil.temp_max):
            return False
    return True


def plain_winners(demand: Demand, parts: Parts, within: float) -> list[Set]:
    """Return the sets whose score is within a share of the best that keeps every rule."""
    through = through_at(demand, parts, demand.stage.temp_ambient + demand.stage.r_board * demand.stage.p_elsewhere)
    temp = task(demand, parts, tables(demand, parts), through.p_loss).temp_rank
    four = demand.stage.legs == "four-switch"
    ratings = [v / demand.rules.v_derating * (1 - 1e-9) for v in (demand.stage.v_a_max, demand.stage.v_b_max)]
    lists = [[s for s in parts.switches if s.v_max >= ratings[k // 2]] for k in range(4 if four else 2)]
    scored = []
    for coil, f_sw in itertools.product(parts.inductors, demand.f_sw):
        for switches in itertools.product(*lists):
            one = Set(switches, coil, f_sw, dict.fromkeys(("a_high", "a_low", "b_low", "b_high", "coil"), temp))
            scored.append([math.inf, one])
    for row in scored:
        row[0] = score_of(demand, row[1], 0.0, 0.0)
    # Banks and rules cost time: only where the score without a bank still could win.
    best, winners = math.inf, []
    for score, one in sorted(scored, key=lambda row: row[0]):
        if score > best * (1.0 + within):
            break
        banks = [bank_for(demand, parts, one, side) for side in (0, 1)]
        if None in banks or not keeps(demand, one, through.p_loss):
            continue
        one.esr = (banks[0][0], banks[1][0])
        full = score_of(demand, one, banks[0][1] + banks[1][1], banks[0][2] + banks[1][2])
        best = min(best, full)
        winners.append((full, one))
    return [one for score, one in winners if score <= best * (1.0 + within)]


def score_of(demand: Demand, one: Set, bank_cost: float, bank_area: float) -> float:
    losses = [float(sum(one.at(demand, p)[0])) for p in table(demand.stage.usual)]
    cost = one.coil.cost + sum(s.cost for s in one.switches) + bank_cost
    area = one.coil.area + sum(s.area for s in one.switches) + bank_area
    return float(demand.exchange.score(float(demand.stage.weights @ np.array(losses)), cost, area))


def names(build: Build) -> tuple[Any, ...]:
    switches = [s.name for s in (build.a_high, build.a_low, build.b_low, build.b_high) if s is not None]
    return (*switches, build.coil.name, build.f_sw)


@pytest.mark.parametrize("which", ["buck", "both ways", "four switches"])
def test_the_winner_is_the_one_that_a_plain_loop_finds(which: str, demands: Any, few_parts: Parts, some_parts: Any):
    demand, parts = demands[which], few_parts
    if which == "four switches":  # 3^4 sets of switches are enough for a loop
        chosen = ("SW 20V 6.6mohm B", "SW 30V 7.7mohm B", "SW 30V 12mohm A")
        coils = ("IND 4.7uH 6mm composite", "IND 6.8uH 8mm composite", "IND 2.2uH 6mm ferrite")
        parts = replace(
            parts, switches=some_parts(parts.switches, chosen), inductors=some_parts(parts.inductors, coils)
        )
    # Within 0.2 %: what banks counted on another waveform, and three passes for the coil current, may change.
    winners = [(*(s.name for s in one.switches), one.coil.name, one.f_sw) for one in plain_winners(demand, parts, 2e-3)]
    assert names(size(demand, parts).build) in winners


def test_heat_decides_where_it_binds_and_the_plain_loop_agrees(demands: Any, few_parts: Parts):
    demand = replace(demands["buck"], rules=replace(demands["buck"].rules, temp_j_max=336.15))
    winners = [
        (*(s.name for s in one.switches), one.coil.name, one.f_sw) for one in plain_winners(demand, few_parts, 2e-3)
    ]
    found = names(size(demand, few_parts).build)
    assert found in winners
    # 63 °C instead of 110 °C: the larger inductor at the lower frequency, which costs more, stays below it.
    assert found[-2:] == ("IND 22uH 12mm ferrite", 400e3)
    assert names(size(demands["buck"], few_parts).build)[-2:] == ("IND 10uH 8mm ferrite", 800e3)


@pytest.mark.parametrize("which", ["buck", "both ways", "four switches"])
def test_the_margins_are_the_plain_loop_s_numbers(which: str, demands: Any, sized: Any, every_part: Parts):
    # Second road: each corner on its own, temperatures settled by 12 repetitions instead of 4, currents by position.
    demand, found = demands[which], sized(which)
    build, stage = found.build, demand.stage
    switches = tuple(s for s in (build.a_high, build.a_low, build.b_low, build.b_high) if s is not None)
    through = through_at(demand, every_part, next(m.value for m in found.margins if m.rule == "capacitor temperature"))
    start = dict.fromkeys(("a_high", "a_low", "b_low", "b_high", "coil"), 340.0)
    one = Set(switches, build.coil, build.f_sw, start)
    one.esr = (build.bank_a.part.esr / build.bank_a.count, build.bank_b.part.esr / build.bank_b.count)
    places = {"a_high": "source-side high switch", "a_low": "source-side low switch"}
    places |= {"b_low": "pack-side low switch", "b_high": "pack-side high switch"} if len(switches) == 4 else {}
    hottest = dict.fromkeys((*places, "coil"), 0.0)
    greatest: dict[str, float] = dict.fromkeys(places, 0.0)
    banks = [0.0, 0.0]
    for p, last in zip(table(stage.corners), stage.corners.lasting.tolist(), strict=True):
        if not last:
            continue
        one.temp = dict(start)
        for _ in range(12):
            losses, w, _i = one.at(demand, p)
            heat = float(sum(losses)) + through.p_loss + stage.p_elsewhere
            own, board = heats(losses, p[3]), stage.temp_ambient + stage.r_board * heat
            for place, part in zip(places, switches, strict=True):
                one.temp[place] = board + part.rth_jb * own[place]
            one.temp["coil"] = board + build.coil.rth * own["coil"]
        for k in hottest:
            hottest[k] = max(hottest[k], one.temp[k])
        _, w, _i = one.at(demand, p, worst=True)
        rms = (w.rms_in_high, w.rms_in_low, w.rms_out_low, w.rms_out_high)
        for place, i in zip(places, rms[::-1] if p[3] else rms, strict=False):
            greatest[place] = max(greatest[place], float(i))
        caps = (float(w.rms_in_capacitor), float(w.rms_out_capacitor))
        banks = [max(b, i) for b, i in zip(banks, caps[::-1] if p[3] else caps, strict=True)]
    margins = {(m.rule, m.where): m.value for m in found.margins}
    # 0.02 K: what four passes leave. 1 %: the currents are judged at the ranking temperature, here at the settled one.
    assert margins["inductor temperature", "inductor"] == pytest.approx(hottest["coil"], abs=0.02)
    for place, name in places.items():
        assert margins["junction temperature", name] == pytest.approx(hottest[place], abs=0.02)
        assert margins["switch current", name] == pytest.approx(greatest[place], rel=0.01)
    for side, count, i in zip(("source", "pack"), (build.bank_a.count, build.bank_b.count), banks, strict=True):
        assert margins["capacitor current", f"{side}-side capacitors"] == pytest.approx(i / count, rel=0.01)


@pytest.mark.parametrize(("kind", "ripple"), [("ceramic", 0.002), ("electrolytic", 0.005)])
def test_the_margins_of_banks_of_several_parts_are_the_plain_loop_s_numbers(
    kind: str, ripple: float, demands: Any, every_part: Parts
):
    demand = replace(demands["buck"], rules=replace(demands["buck"].rules, bus_ripple=ripple))
    parts = replace(every_part, capacitors=every_part.capacitors.where(every_part.capacitors.column("kind") == kind))
    found = size(demand, parts)
    build, margins = found.build, {(m.rule, m.where): m for m in found.margins}
    assert max(build.bank_a.count, build.bank_b.count) > 1
    temp = task(demand, parts, tables(demand, parts), 0.4).temp_rank
    one = Set((build.a_high, build.a_low), build.coil, build.f_sw, dict.fromkeys(("a_high", "a_low", "coil"), temp))
    one.temp |= {"b_low": temp, "b_high": temp}
    for side, bank in enumerate((build.bank_a, build.bank_b)):
        esr, where = bank.part.esr / bank.count, f"{('source', 'pack')[side]}-side capacitors"
        rows = [(v, q, i, rms, bank.count * left_of(bank.part, v)) for v, q, i, rms in asked_of(demand, one, side)]
        # 1e-3: the waveform is that of a ranking temperature a few kelvin off, through the drops in the duty.
        assert margins["voltage ripple", where].value == pytest.approx(
            max((q / c + i * esr) / v for v, q, i, _, c in rows), rel=1e-3
        )
        each = max(rms for *_, rms, _ in rows) / bank.count
        assert margins["capacitor current", where].value == pytest.approx(each, rel=1e-3)
        tightest = min((c / (q / (ripple * v - i * esr)), q / (ripple * v - i * esr)) for v, q, i, _, c in rows)
        assert margins["capacitance under bias", where].limit == pytest.approx(tightest[1], rel=2e-3)
        assert margins["capacitance under bias", where].margin == pytest.approx(tightest[0] - 1.0, rel=2e-3, abs=2e-3)
