"""The reference circuits as circuits of this package, with parameters read from each run's own record."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chargewright.circuit.circuit import Circuit, Gate, Modulator
from chargewright.circuit.control import CONTROL, Clamp, Loop, control_of, names_of, rest_voltage
from chargewright.circuit.elements import Capacitor, Resistor, Wave, i_of, ramp_to, v_node
from chargewright.circuit.stages import (
    Bank,
    CoilSide,
    PackSide,
    SourceSide,
    SwitchSide,
    four_switch,
    load_current,
    load_resistor,
    pack_at,
    source_at,
    two_switch,
)

DATA = Path(__file__).parents[1] / "data" / "reference_circuits"
SCALE = {"": 1.0, "f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3}
KNEE = 0.05 * 0.0258649
"""Emission coefficient times thermal voltage of the decks' diodes [V]: their drop passes VF at INOM, less RD·INOM."""


def record(case: str) -> dict[str, Any]:
    """Return a reference run's record."""
    found: dict[str, Any] = json.loads((DATA / case / "result.json").read_text())
    return found


def parameters(case: str) -> dict[str, float]:
    """Return the parameters of a run's deck in SI units."""
    found = {}
    for name, text in record(case)["parameters"].items():
        match = re.fullmatch(r"([-+\d.eE]+?)([fpnumk]?)", text)
        assert match is not None, text
        found[name] = float(match[1]) * SCALE[match[2]]
    return found


def side(p: dict[str, float], r_on: str) -> SwitchSide:
    """Return a switch of a deck with its diode."""
    return SwitchSide(r_on=p[r_on], v_f=p["VF"], r_d=p["RD"])


def reference(case: str) -> Circuit:
    """Return one of the decks o01 … o06 as a circuit."""
    p = parameters(case)
    period = 1.0 / p["FSW"]
    coil = CoilSide(l=p["LV"], dcr=p["DCR"])
    feeds: tuple[Any, ...] = ()
    if "VIN" in p:
        feeds = source_at("in", SourceSide(v=p["VIN"], r=p["RS"], l=p["LSRC"]))
    if "OCV" in p:
        pack = PackSide(ocv=p["OCV"], r0=p["R0"], pairs=((p["RC1"], p["C1"]),), r_sense=p["RSNS"])
        ends = pack_at("out", pack)
        if "RL" in p:
            ends += load_resistor("in", p["RL"])
    else:
        ends = load_resistor("out", p["RL"])
    at_in = Bank(c=p["CI"], esr=p["ESRI"], start=p["VIN"] if "VIN" in p else p["VB0"])
    at_out = Bank(c=p["CO"], esr=p["ESRO"], start=p.get("OCV", 0.0))
    if "R1" in p:
        q1, q2, q3, q4 = (side(p, f"R{k}") for k in (1, 2, 3, 4))
        dead_a, dead_b, ph = p["TDA"] / period, p["TDB"] / period, p["PHB"]
        pulse_b = (Gate(switch="b_low", on=ph, off=ph + p["DB2"]),
                   Gate(switch="b_high", on=ph + p["DB2"] + dead_b, off=(ph - dead_b) % 1.0))  # fmt: skip
        if p["DA"] == 1.0:
            pulse_a: tuple[Gate, ...] = (Gate(switch="a_high", on=0.0, off=1.0),)
        else:
            pulse_a = (Gate(switch="a_high", on=0.0, off=p["DA"]),
                       Gate(switch="a_low", on=p["DA"] + dead_a, off=1.0 - dead_a))  # fmt: skip
        elements = four_switch((q1, q2, q3, q4), coil, at_in, at_out, feeds, ends)
        return Circuit(elements=elements, period=period, gates=pulse_a + pulse_b, title=case)
    elements = two_switch(side(p, "RH"), side(p, "RLS"), coil, at_in, at_out, feeds, ends)
    gates = [Gate(switch="q_high", on=0.0, off=p["DH"])]
    if p["LSEN"]:
        gates.append(Gate(switch="q_low", on=p["DH"] + p["TD1"] / period, off=1.0 - p["TD2"] / period))
    return Circuit(elements=elements, period=period, gates=tuple(gates), title=case)


def charger(case: str, chords: int = 12) -> Circuit:
    """Return one of the closed-loop decks o07, o08 as a circuit; the pack's rest voltage is a parabola in `chords`."""
    p = parameters(case)
    soc = np.linspace(p["S0"] - 0.01, 0.95, chords + 1)
    rest = rest_voltage(soc, p["A0"] + p["A1"] * soc + p["A2"] * soc**2, p["QB"], p["S0"])
    pack = PackSide(ocv=rest.start, r0=p["R0"], pairs=((p["RC1"], p["C1"]),), r_sense=p["RSNS"], rest=rest)
    damping = (Resistor(name="r_damp", a="in", b="damp", r=p["RDMP"]),
               Capacitor(name="c_damp", a="damp", b="0", c=p["CDMP"], start=p["VIN"]))  # fmt: skip
    around: list[tuple[Any, ...]] = [source_at("in", SourceSide(v=p["VIN"], r=p["RS"], l=p["LSRC"])), damping]
    around.append(pack_at("out", pack))
    kept = {"gm": p["GM"], "start": p["C0V"]}
    loops = [
        Loop(name="cc", terms=((1.0, i_of("r_pack")),), reference=ramp_to(p["ISET"], p["TSS"]), gain=p["HI"],
             r_z=p["RZI"], c_z=p["CZI"], c_p=p["CPI"], **kept),
        Loop(name="cv", terms=((1.0, v_node("pack")),), reference=p["VSET"], gain=p["HV"],
             r_z=p["RZV"], c_z=p["CZV"], c_p=p["CPV"], **kept),
    ]  # fmt: skip
    if "INLIM" in p:
        loops.append(Loop(name="source", terms=((1.0, i_of("l_source")),), reference=p["INLIM"], gain=p["HN"],
                          r_z=p["RZN"], c_z=p["CZN"], c_p=p["CPN"], **kept))  # fmt: skip
        low, high, on, off = p["ILD0"], p["ILD1"], p["TLD"], p["TLDOFF"]
        step = ((0.0, low), (on, low), (on + 1e-6, high), (off, high), (off + 1e-6, low))
        around.append(load_current("out", Wave(points=step)))
    control = control_of(tuple(loops), Clamp(low=0.02, high=0.95, margin=0.1, r=1e3))
    at_out = Bank(c=p["CO"], esr=p["ESRO"], start=rest.start)
    at_in = Bank(c=p["CI"], esr=p["ESRI"], start=p["VIN"])
    stage = two_switch(side(p, "RH"), side(p, "RLS"), CoilSide(l=p["LV"], dcr=p["DCR"]), at_in, at_out, *around)
    period = 1.0 / p["FSW"]
    modulator = Modulator(main="q_high", sync="q_low", control=CONTROL, slope=1.0 / (period - 2e-9), dead=p["TD"])
    return Circuit(elements=stage + control, period=period, modulator=modulator, signals=names_of(control), title=case)


@pytest.fixture
def charger_like() -> Callable[[str], Circuit]:
    """Return the function that gives a closed-loop reference circuit by its folder."""
    return charger


@pytest.fixture
def circuit_like() -> Callable[[str], Circuit]:
    """Return the function that gives a reference circuit by its folder."""
    return reference


@pytest.fixture
def reference_record() -> Callable[[str], dict[str, Any]]:
    """Return the function that gives a reference run's record by its folder."""
    return record


@pytest.fixture
def reference_waveform() -> Callable[[str], dict[str, Any]]:
    """Return the function that reads two steady periods of a reference run: column name to array."""
    return lambda case: table(case, "steady_2cycles.csv")


@pytest.fixture
def reference_deck() -> Callable[[str], str]:
    """Return the function that reads a reference run's own deck."""
    return lambda case: (DATA / case / "deck.cir").read_text()


@pytest.fixture
def reference_means() -> Callable[[str], dict[str, Any]]:
    """Return the function that reads a closed-loop run's means over periods."""
    return lambda case: table(case, "waveform_cycle_means.csv")


@pytest.fixture
def reference_table() -> Callable[[str, str], dict[str, Any]]:
    """Return the function that reads any table of a reference run: column name to array."""
    return table


@pytest.fixture
def reference_parameters() -> Callable[[str], dict[str, float]]:
    """Return the function that gives a deck's parameters in SI units."""
    return parameters


def table(case: str, name: str) -> dict[str, Any]:
    """Return a reference run's table: column name to array."""
    path = DATA / case / name
    names = path.read_text().split("\n", 1)[0].split(",")
    found = np.loadtxt(path, delimiter=",", skiprows=1)
    return {column: found[:, k] for k, column in enumerate(names)}
