"""Loop gains and margins of the averaged charger and the reverse stage against independent runs.

Outside source: tests/data/reference_loops (ngspice `.ac` on averaged switches; checked there with python-control).
Tolerances are those that came with the runs; see the README there.
"""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from chargewright.loops.compensator import Transconductance
from chargewright.loops.current_mode import VoltageMode
from chargewright.loops.impedance import Branch, Port
from chargewright.loops.loop import Loop, LoopGain, Plant, responses
from chargewright.loops.margins import frequencies, margins
from chargewright.loops.stage import BOOST, BUCK, StagePoints

DATA = Path(__file__).parents[1] / "data" / "reference_loops"


def run(folder: str, name: str) -> tuple[dict, dict[str, np.ndarray]]:
    rows = list(csv.reader((DATA / folder / f"{name}.csv").read_text().splitlines()))
    table = np.array(rows[1:], dtype=float)
    return json.loads((DATA / folder / "result.json").read_text()), dict(zip(rows[0], table.T, strict=True))


def number(text: str) -> float:
    """Return a number with a suffix of the deck's language."""
    suffix = text.lstrip("0123456789.")
    scale = {"": 1.0, "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "meg": 1e6}[suffix]
    return float(text[: len(text) - len(suffix)]) * scale


def at(x: float) -> np.ndarray:
    return np.array([[x]])


def charger(result: dict, name: str) -> tuple[Plant, Loop]:
    p = {name: number(text) for name, text in result["parameters"].items()}
    op = result["results"][name]["operating_point"]
    stage = StagePoints(
        topology=BUCK,
        v_in=at(op["vin_V"]),
        v_out=at(op["vo_V"]),
        i_coil=at(op["iL_A"]),
        inductance=p["LV"],
        period=1.25e-6,
        r_coil=p["DCR"],
        r_in_high=p["RH"],
        r_in_low=p["RLS"],
        averaged=True,
    )
    source = Port(c=p["CI"], esr=p["ESRI"], branch=Branch(r=p["RS"], l=p["LSRC"]), c_damp=p["CDMP"], r_damp=p["RDMP"])
    pack = Branch(r=p["RSNS"] + p["R0"], r_1=p["RC1"], c_1=p["C1"])
    output = Port(c=p["CO"], esr=p["ESRO"], branch=pack, r_sense=p["RSNS"])
    current = name == "cc"
    amplifier = Transconductance(
        gm=p["GM"],
        r_z=p["RZI"] if current else p["RZV"],
        c_z=p["CZI"] if current else p["CZV"],
        c_p=p["CPI"] if current else p["CPV"],
        r_out=p["ROUT"],
    )
    loop = Loop(
        sensed="output-current" if current else "output-voltage",
        scale=p["HI"] if current else p["HV"],
        amplifier=amplifier,
    )
    return Plant(points=stage, input=source, output=output, modulator=VoltageMode()), loop


def boost(result: dict) -> tuple[Plant, Loop]:
    op = result["results"]["boost"]["operating_point"]
    stage = StagePoints(
        topology=BOOST,
        v_in=at(op["vpack_V"]),
        v_out=at(op["vbus_V"]),
        i_coil=at(op["iL_A"]),
        inductance=2.7e-6,
        period=1.0 / 7e5,
        r_coil=14e-3,
        r_out_low=9e-3,
        r_out_high=12e-3,
        averaged=True,
    )
    pack = Port(c=22e-6, esr=2e-3, branch=Branch(r=0.055, r_1=0.020, c_1=0.010))
    bus = Port(c=60e-6, esr=3e-3, g_load=0.1)
    amplifier = Transconductance(gm=1e-4, r_z=3e3, c_z=22e-9, c_p=3.3e-9, r_out=1e8)
    return Plant(points=stage, input=pack, output=bus, modulator=VoltageMode()), Loop(
        sensed="stage-voltage", scale=0.1, amplifier=amplifier
    )


def plant_of(name: str) -> tuple[dict, dict[str, np.ndarray], Plant, Loop]:
    folder = "o10_ac_boost" if name == "boost" else "o09_ac_loops"
    result, table = run(folder, name)
    return result["results"][name], table, *(boost(result) if name == "boost" else charger(result, name))


@pytest.mark.parametrize("name", ["cc", "cv", "boost"])
def test_the_loop_gain_is_that_of_the_run(name: str):
    _, table, plant, loop = plant_of(name)
    t = LoopGain(plant, loop)(table["f_Hz"])[0]
    told = 10.0 ** (table["loop_gain_dB"] / 20.0) * np.exp(1j * np.radians(table["loop_gain_deg"]))
    assert np.max(np.abs(20.0 * np.log10(np.abs(t / told)))) < 0.1
    assert np.max(np.abs(np.degrees(np.angle(t / told)))) < 0.5


@pytest.mark.parametrize("name", ["cc", "cv", "boost"])
def test_crossover_and_margins_are_those_of_the_run(name: str):
    expected, _, plant, loop = plant_of(name)
    m = margins(LoopGain(plant, loop), 1, frequencies(100.0, 4e5))
    assert m.f_cross[0] == pytest.approx(expected["crossover_Hz"], rel=5e-3)
    assert np.degrees(m.phase[0]) == pytest.approx(expected["phase_margin_deg"], abs=0.5)
    assert m.f_gain[0] == pytest.approx(expected["phase_cross_Hz"], rel=5e-3)
    assert 20.0 * np.log10(m.gain[0]) == pytest.approx(expected["gain_margin_dB"], abs=0.2)
    assert m.stable[0]


@pytest.mark.parametrize("name", ["cc", "cv", "boost"])
def test_the_duty_is_that_of_the_run(name: str):
    expected, _, plant, loop = plant_of(name)
    op = expected["operating_point"]
    # The run's rounded voltages and currents (six digits) are what is put in.
    assert LoopGain(plant, loop).duty[0, 0] == pytest.approx(op.get("duty", op.get("duty_low_side")), rel=2e-5)


@pytest.mark.parametrize(
    ("name", "column"),
    [
        ("cc", "ibat_per_duty"),
        ("cc", "vb_per_duty"),
        ("cc", "source_current_per_duty"),
        ("boost", "vbus_per_duty"),
        ("boost", "iL_per_duty"),
    ],
)
def test_the_plant_answers_as_that_of_the_run(name: str, column: str):
    _, table, plant, _ = plant_of(name)
    f = table["f_Hz"]
    r, s = responses(plant, f), 2j * np.pi * f
    of_column = {
        "ibat_per_duty": lambda: r.v_out / plant.output.branch.impedance(s),
        "vb_per_duty": lambda: r.v_out * (1.0 - 0.005 / plant.output.branch.impedance(s)),
        "source_current_per_duty": lambda: -r.v_in / plant.input.branch.impedance(s),
        "vbus_per_duty": lambda: r.v_out,
        "iL_per_duty": lambda: r.i_coil,
    }
    found = np.ravel(of_column[column]())
    told = 10.0 ** (table[f"{column}_dB"] / 20.0) * np.exp(1j * np.radians(table[f"{column}_deg"]))
    assert np.max(np.abs(20.0 * np.log10(np.abs(found / told)))) < 0.1
    assert np.max(np.abs(np.degrees(np.angle(found / told)))) < 0.5


def test_the_averaged_loop_is_that_of_the_switched_circuit():
    # Measured by injection on a switched solution (in the run's result.json); up to a sixth of the switching frequency
    # 0.2 dB and 1 degree.
    result, _ = run("o09_ac_loops", "cc")
    plant, loop = charger(result, "cc")
    rows = result["switched_circuit_cc_loop"]["rows"]
    t = LoopGain(plant, loop)(np.array([r["f_Hz"] for r in rows]))[0]
    told = np.array([10.0 ** (r["loop_gain_dB"] / 20.0) * np.exp(1j * np.radians(r["loop_phase_deg"])) for r in rows])
    assert np.max(np.abs(20.0 * np.log10(np.abs(t / told)))) < 0.2
    assert np.max(np.abs(np.degrees(np.angle(t / told)))) < 1.0
