"""What happens in time to the shipped examples, as far as a study runs it."""

import numpy as np
import pytest

from chargewright.dossier.record import Dossier
from chargewright.report.chapters.transients import chapter
from chargewright.studies.transients.run import ORDER, in_study, product_of


def test_every_example_keeps_its_limits_when_plug_and_load_change(dossier: Dossier):
    found, winner = dossier.transients, dossier.study.winner
    assert found is not None
    assert winner is not None
    assert dossier.stability is not None
    product = product_of(dossier.study.case, winner, dossier.stability)
    assert {r.key for r in found.reports} <= set(in_study(product))
    assert {r.key for r in (*found.reports, *found.left_out)} == set(ORDER)
    for r in found.reports:
        assert r.passes, r.cause
        # The bus after a pulled plug or a start is the pack's: below its full voltage, above what the rails need.
        if r.key in ("unplug", "pack-start"):
            end = float(r.waves.mean["v_bus"][-1])
            assert dossier.study.case.bus_min < end < dossier.study.case.v_full


def test_the_chapter_answers_its_question(dossier: Dossier):
    made = chapter(dossier)
    assert made is not None
    assert "every limit is kept" in str(made.blocks[0])


def test_the_steady_wave_carries_the_coil_and_its_capacitors_no_charge(dossier: Dossier):
    wave = dossier.stage_wave
    assert wave is not None
    charge = float(np.trapezoid(np.abs(wave.i_coil), wave.t))
    for current in (wave.i_input_capacitor, wave.i_output_capacitor):
        # Steady state: what a capacitor takes up in a period it gives back; 1e-5 covers rounding and straight lines.
        assert abs(np.trapezoid(current, wave.t)) < 1e-5 * charge
    # The coil has no mean voltage, so its current closes over the period, and the second period repeats the first.
    half = len(wave.t) // 2
    assert wave.i_coil[half] == pytest.approx(wave.i_coil[0], abs=1e-12)
    assert wave.i_coil[half - 1] == pytest.approx(wave.i_coil[0], abs=1e-6 * np.max(np.abs(wave.i_coil)))
    assert "tran" in wave.deck
