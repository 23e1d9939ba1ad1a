"""The reference circuits as circuits of this package, with parameters read from each run's own record."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from chargewright.circuit.circuit import Circuit, Gate
from chargewright.circuit.stages import (
    Bank,
    CoilSide,
    PackSide,
    SourceSide,
    SwitchSide,
    four_switch,
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
    import numpy as np

    def read(case: str) -> dict[str, Any]:
        path = DATA / case / "steady_2cycles.csv"
        names = path.read_text().split("\n", 1)[0].split(",")
        table = np.loadtxt(path, delimiter=",", skiprows=1)
        return {name: table[:, k] for k, name in enumerate(names)}

    return read
