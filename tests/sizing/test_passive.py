"""Capacitor banks: ripple against the book, the count that holds it, what bias takes."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from printed_formulas import evaluated

from chargewright.network.stage import StageLosses, StageWaveform
from chargewright.parts.catalogue import Parts, load_parts
from chargewright.sizing.demand import Demand, Points
from chargewright.sizing.passive import BankDuty, bank_duties, choose_bank, effective_capacitance, ripple
from chargewright.sizing.pulse_charge import pulse_charge
from chargewright.sizing.size import size
from chargewright.sizing.tables import Run

PARTS = load_parts()


def run_of(v_in: float, v_out: float, i_l: float, f_sw: float, **wave: float) -> Run:
    """A run of one set at one point whose waveform is given."""
    one = np.ones((1, 1))
    points = Points(
        v_in=np.array([v_in]),
        v_out=np.array([v_out]),
        i_out=np.array([i_l]),
        reverse=np.array([False]),
        lasting=np.array([True]),
    )
    fields = dict.fromkeys(StageWaveform._fields, 0.0) | {"active": 1.0, "rate": f_sw} | wave
    return Run(
        points=points,
        i_l=i_l * one,
        losses=StageLosses(*([0.0 * one] * len(StageLosses._fields))),
        wave=StageWaveform(**{k: v * one for k, v in fields.items()}),
        total=0.0 * one,
    )


def test_output_ripple_of_a_buck_is_the_book_s(demands: dict[str, Demand]):
    # Check value CV14 (recomputed): 20 V to 8.4 V, 4.7 uH, 600 kHz, 22 uF effective, no resistance: 16.3604 mV.
    # Erickson & Maksimovic, 2nd ed., ch. 2.5. Tolerance as stated there.
    found = run_of(20.0, 8.4, 5.0, 6e5, d_in=0.42, di_pp=1.72766, i_peak=5.86)
    _, pack = bank_duties(found, demands["buck"])
    assert ripple(pack, np.array(22e-6), np.array(0.0)) * 8.4 == pytest.approx(16.3604e-3, rel=1e-4)


def test_input_ripple_of_a_buck_is_that_of_charge_balance(demands: dict[str, Demand]):
    # Check value CV15 (recomputed, charge balance): 5 A, D 0.42, 10 uF effective, 600 kHz, ripple ignored: 203.0 mV.
    found = run_of(20.0, 8.4, 5.0, 6e5, d_in=0.42, di_pp=0.0, i_peak=5.0)
    source, _ = bank_duties(found, demands["buck"])
    assert ripple(source, np.array(10e-6), np.array(0.0)) * 20.0 == pytest.approx(203.0e-3, rel=1e-4)


def sampled_charge(current: np.ndarray, f: float) -> float:
    """Return the charge between the extremes of a capacitor that takes what a leg's current leaves of its mean."""
    return float(np.ptp(np.cumsum(current - current.mean()) / len(current) / f))


@given(i=st.floats(0.0, 10.0), di=st.floats(0.01, 10.0), duty=st.floats(0.02, 1.0), shape=st.sampled_from("/\\^"))
def test_the_charge_of_a_pulse_is_that_of_its_samples(i: float, di: float, duty: float, shape: str):
    # Second road: integrate the capacitor's current over one period. 20 000 samples: each is 5e-5 of the period, and
    # an edge may be off by one of them, so 1e-3 of the greatest charge that such a pulse could have.
    i = max(i, di / 2.0)
    n, f = 20000, 4e5
    x = (np.arange(n) + 0.5) / n / duty
    ramp = {"/": x, "\\": 1.0 - x, "^": np.where(x < 0.3, x / 0.3, (1.0 - x) / 0.7)}[shape]
    current = np.where(x < 1.0, i + di * (ramp - 0.5), 0.0)
    assert pulse_charge(i, di, duty, f) == pytest.approx(sampled_charge(current, f), abs=1e-3 * (i + di) / f)


def test_the_printed_formula_of_the_pulse_charge_is_the_code():
    rng = np.random.default_rng(5)
    inputs = {
        "i_mid": rng.uniform(-5, 5, 100),
        "di_pp": rng.uniform(0, 8, 100),
        "duty": rng.uniform(0, 1, 100),
        "f": rng.uniform(1e5, 1e6, 100),
    }
    assert pulse_charge(**inputs) == pytest.approx(evaluated(pulse_charge.formula, inputs), rel=1e-12)
    assert pulse_charge.unit == "C"
    assert "charge balance" in pulse_charge.source


def test_discontinuous_current_counts_with_its_pause(demands: dict[str, Demand]):
    # A buck at light load: a triangle for half of the period, rest in the pause. Integrated by samples, as above.
    i_mean, active, f = 0.5, 0.5, 4e5
    peak = 2.0 * i_mean / active
    found = run_of(20.0, 8.4, i_mean, f, d_in=0.42, di_pp=peak, i_peak=peak, active=active)
    source, pack = bank_duties(found, demands["buck"])
    x = (np.arange(20000) + 0.5) / 20000 / active
    rise = np.where(x < 0.42, peak * x / 0.42, 0.0)
    both = np.where(x < 0.42, rise, np.where(x < 1.0, peak * (1.0 - x) / 0.58, 0.0))
    assert source.charge[0, 0] == pytest.approx(sampled_charge(rise, f), rel=2e-3)
    assert pack.charge[0, 0] == pytest.approx(sampled_charge(both, f), rel=2e-3)


@given(
    charge=st.floats(1e-7, 2e-5),
    swing=st.floats(0.1, 10.0),
    rms=st.floats(0.05, 5.0),
    v=st.floats(4.0, 25.0),
)
def test_the_bank_holds_ripple_and_current_and_one_part_fewer_would_not_hold_it_with_its_spare(
    charge: float, swing: float, rms: float, v: float, demands: dict[str, Demand]
):
    demand = demands["buck"]
    rules = demand.rules
    duty = BankDuty(
        charge=np.array([[charge]]),
        i_pp=np.array([[swing]]),
        i_rms=np.array([[rms]]),
        v=np.array([v]),
        lasting=np.array([0]),
        rating=v / rules.v_derating,
    )
    bank = choose_bank(duty, np.array([rms**2]), np.array([330.0]), PARTS.capacitors, demand)
    if bank.part[0] < 0:
        return
    part, count = PARTS.capacitors.record(int(bank.part[0])), int(bank.count[0])
    assert part.v_max >= v / rules.v_derating

    def strain(n: int) -> float:
        c = float(effective_capacitance(PARTS.capacitors, bank.part, duty.v)[0, 0]) * n
        at = float(ripple(duty, np.array(c), np.array(part.esr / n))[0, 0]) / rules.bus_ripple
        return max(at, rms / n / (rules.i_derating * part.i_rms_max))

    assert strain(count) <= 1.0
    assert count == 1 or strain(count - 1) > 1.0 / 1.03  # the spare of 2 %


def test_bias_and_tolerance_are_in_the_effective_capacitance():
    # needs: "ceramics lose most of their value". By hand: 10 uF, -20 %, half left at 24.5 V with exponent 1.8, at
    # 20 V: 8 / (1 + (20/24.5)^1.8) = 8 / 1.6939 = 4.723 uF.
    row = [str(n) for n in PARTS.capacitors.column("name")].index("CAP 10uF 25V ceramic 3.2mm")
    left = effective_capacitance(PARTS.capacitors, np.array([row]), np.array([20.0]))
    assert left[0, 0] == pytest.approx(4.723e-6, rel=1e-3)


def test_a_warm_board_rules_out_a_capacitor_of_low_temperature(demands: dict[str, Demand]):
    demand = demands["buck"]
    duty = BankDuty(
        charge=np.array([[3e-6]]),
        i_pp=np.array([[3.0]]),
        i_rms=np.array([[1.0]]),
        v=np.array([8.4]),
        lasting=np.array([0]),
        rating=10.5,
    )
    cool, warm = (
        PARTS.capacitors.record(int(choose_bank(duty, np.ones(1), np.array([t]), PARTS.capacitors, demand).part[0]))
        for t in (330.0, 380.0)
    )
    assert cool.temp_max == pytest.approx(378.15)
    assert warm.temp_max == pytest.approx(398.15)


@pytest.mark.parametrize("which", ["buck", "both ways", "four switches"])
def test_the_chosen_banks_show_what_bias_takes(which: str, sized: Any, every_part: Parts):
    found = sized(which)
    margins = [m for m in found.margins if m.rule == "capacitance under bias"]
    assert [m.where for m in margins] == ["source-side capacitors", "pack-side capacitors"]
    for work, margin in zip(found.banks, margins, strict=True):
        part = every_part.capacitors.named(work.name)
        assert work.c_nominal == pytest.approx(work.count * part.c_0)
        assert work.c_effective <= work.c_nominal * (1.0 - part.tol_c)
        assert margin.value >= margin.limit > 0.0
        assert "leave" in margin.note
        assert work.ripple <= 0.01


def test_an_electrolytic_says_how_long_it_lives(demands: dict[str, Demand], every_part: Parts):
    capacitors = every_part.capacitors.where(every_part.capacitors.column("kind") == "electrolytic")
    demand = demands["buck"]
    found = size(
        replace(demand, rules=replace(demand.rules, bus_ripple=0.03)), replace(every_part, capacitors=capacitors)
    )
    board = next(m for m in found.margins if m.rule == "capacitor temperature").value
    for work in found.banks:
        part = every_part.capacitors.named(work.name)
        # The 10 K rule (H. Wang, F. Blaabjerg 2014: common practice), written out.
        assert work.life == pytest.approx(part.life_rated * 2.0 ** ((part.temp_max - board) / 10.0))
    assert all("life of" in m.note for m in found.margins if m.rule == "capacitance under bias")
