"""Every stage in both modes, every transfer function, against the closed forms of the textbook.

Outside source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001: table 8.2
(continuous conduction), ch. 8.3 (output impedance), ch. 10.3 (input impedance), tables 11.2 and 11.3 (discontinuous
conduction); from memory. Signs as here: outputs count positive. The stage near unity gain, whose output leg keeps a
least pulse, is derived from the same canonical model: shares u of the period joined to input, w to output.

The derivatives themselves are checked against numerical differentiation of waveforms in `test_models` and
`test_near_unity`, and against matrices of state equations there.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from chargewright.loops.current_mode import VoltageMode
from chargewright.loops.impedance import Branch, Port
from chargewright.loops.loop import Plant, responses
from chargewright.loops.response import input_impedance, output_impedance
from chargewright.loops.stage import BOOST, BUCK, BUCK_BOOST, StagePoints, Topology, linear, operating

L, C, R, T = 4.7e-6, 2e-4, 4.0, 2e-6
STIFF = Port(c=0.0, esr=0.0, branch=Branch(r=1e-9))
K = 0.08


@dataclass(frozen=True)
class Row:
    """One stage: voltages, and the coefficients of table 8.2 as functions of the duty and its complement."""

    topology: Topology
    v_in: float
    v_out: float
    u: Callable[[float], float]
    w: Callable[[float], float]
    control_gain: Callable[[float, float, float], float]
    """By duty, v_in, v_out."""
    zero: Callable[[float], float] | None
    """Right-half-plane zero in rad/s by the duty."""


ROWS = {
    "buck": Row(BUCK, 20.0, 8.0, lambda d: d, lambda _d: 1.0, lambda d, _vg, v: v / d, None),
    "boost": Row(
        BOOST, 8.0, 20.0, lambda _d: 1.0, lambda d: 1.0 - d, lambda d, _vg, v: v / (1.0 - d),
        lambda d: (1.0 - d) ** 2 * R / L,
    ),
    "buck-boost": Row(
        BUCK_BOOST, 12.0, 15.0, lambda d: d, lambda d: 1.0 - d, lambda d, _vg, v: v / (d * (1.0 - d)),
        lambda d: (1.0 - d) ** 2 * R / (d * L),
    ),
    "near unity": Row(
        Topology(0.0, 1.0, 1.0 - K, 0.0), 12.0, 12.1, lambda d: d, lambda _d: 1.0 - K, lambda _d, g, _v: g / (1.0 - K),
        None,
    ),
}  # fmt: skip
EACH = pytest.mark.parametrize("name", ROWS)
F = np.array([1.0, 300.0, 3e3, 1e4, 5e4])


def at(x: float) -> np.ndarray:
    return np.array([[x]])


def continuous(row: Row) -> tuple[Plant, float]:
    """Return the stage on a stiff source with load R and capacitor C, forced to continuous conduction, and its duty."""
    duty = {
        "buck": row.v_out / row.v_in,
        "boost": 1.0 - row.v_in / row.v_out,
        "buck-boost": row.v_out / (row.v_in + row.v_out),
        "near unity": (1.0 - K) * row.v_out / row.v_in,
    }[next(k for k, r in ROWS.items() if r is row)]
    points = StagePoints(
        topology=row.topology, v_in=at(row.v_in), v_out=at(row.v_out), i_coil=at(row.v_out / R / row.w(duty)),
        inductance=L, period=T, emulate=False, averaged=True,
    )  # fmt: skip
    return Plant(points=points, input=STIFF, output=Port(c=C, esr=0.0, g_load=1.0 / R), modulator=VoltageMode()), duty


def poles(row: Row, duty: float) -> np.ndarray:
    """Return 1 + s/(Q·w0) + (s/w0)² with w0 = w/√(L·C), Q = w·R·√(C/L)."""
    s, w = 2j * np.pi * F, row.w(duty)
    w_0, q = w / np.sqrt(L * C), w * R * np.sqrt(C / L)
    return 1.0 + s / (q * w_0) + (s / w_0) ** 2


# rel 1e-6 below: the source's nano-ohm.
@EACH
def test_continuous_control_to_output(name: str):
    row = ROWS[name]
    plant, duty = continuous(row)
    assert float(operating(plant.points).duty[0, 0]) == pytest.approx(duty, rel=1e-12)
    zero = 1.0 if row.zero is None else 1.0 - 2j * np.pi * F / row.zero(duty)
    expected = row.control_gain(duty, row.v_in, row.v_out) * zero / poles(row, duty)
    np.testing.assert_allclose(responses(plant, F).v_out[0], expected, rtol=1e-6)


@EACH
def test_continuous_source_to_output(name: str):
    row = ROWS[name]
    plant, duty = continuous(row)
    expected = row.u(duty) / row.w(duty) / poles(row, duty)
    np.testing.assert_allclose(responses(plant, F, "source").v_out[0], expected, rtol=1e-6)


@EACH
def test_continuous_output_impedance(name: str):
    row = ROWS[name]
    plant, duty = continuous(row)
    s = 2j * np.pi * F
    expected = 1.0 / (1.0 / R + s * C + row.w(duty) ** 2 / (s * L))
    found = output_impedance(linear(plant.points), s, STIFF.impedance(s), plant.output.impedance(s))
    np.testing.assert_allclose(found[0], expected, rtol=1e-4)  # at 1 Hz the coil is 30 µΩ, the source 1 nΩ/w²


@EACH
def test_continuous_input_impedance(name: str):
    row = ROWS[name]
    plant, duty = continuous(row)
    s = 2j * np.pi * F
    z = 1.0 / (1.0 / R + s * C)
    expected = (s * L + row.w(duty) ** 2 * z) / row.u(duty) ** 2
    found = input_impedance(linear(plant.points), s, plant.output.impedance(s))
    np.testing.assert_allclose(found[0], expected, rtol=1e-9)


@EACH
def test_continuous_control_to_coil_current(name: str):
    # EM ch. 12.2 (from memory): the output's response through 1/(w·Z), and what the duty takes from the coil's share.
    row = ROWS[name]
    plant, duty = continuous(row)
    r = responses(plant, F)
    z = 1.0 / (1.0 / R + 2j * np.pi * F * C)
    share_by_duty = row.topology.w_d
    i = row.v_out / R / row.w(duty)
    np.testing.assert_allclose(r.i_coil[0], (r.v_out[0] / z - share_by_duty * i) / row.w(duty), rtol=1e-6)


LEAN = {
    "buck": (lambda m: (1.0 - m) * R_LEAN, lambda v, d, m: 2.0 * v / d * (1.0 - m) / (2.0 - m)),
    "boost": (lambda m: (m - 1.0) / m * R_LEAN, lambda v, d, m: 2.0 * v / d * (m - 1.0) / (2.0 * m - 1.0)),
    "buck-boost": (lambda _m: R_LEAN, lambda v, d, _m: v / d),
}
"""Output resistance of the stage itself (table 11.2), and control-to-output at low frequency (table 11.3)."""
R_LEAN = 60.0
LEAN_EACH = pytest.mark.parametrize("name", LEAN)


def discontinuous(name: str) -> tuple[Plant, float, float]:
    """Return the stage on a light load, its duty and its conversion ratio. The coil current is what the load needs."""
    row = ROWS[name]
    i_out = row.v_out / R_LEAN
    v_on = row.v_in - row.v_out if name == "buck" else row.v_in
    v_off = row.v_out - row.v_in if name == "boost" else row.v_out
    # All of the coil's current reaches the output of a buck; elsewhere only that of its fall.
    i = i_out if name == "buck" else i_out * (v_on + v_off) / v_on
    points = StagePoints(
        topology=row.topology,
        v_in=at(row.v_in),
        v_out=at(row.v_out),
        i_coil=at(i),
        inductance=L,
        period=T,
        averaged=True,
    )
    op = operating(points)
    assert op.discontinuous[0, 0]
    out = Port(c=C, esr=0.0, g_load=1.0 / R_LEAN)
    plant = Plant(points=points, input=STIFF, output=out, modulator=VoltageMode())
    return plant, float(op.duty[0, 0]), row.v_out / row.v_in


@LEAN_EACH
def test_discontinuous_control_to_output(name: str):
    # One pole, w_p = 1/(C·(r_2 ∥ R)); the coil's own is far above it: 0.1 % at low frequency and at the pole.
    plant, duty, m = discontinuous(name)
    r_2, gain = LEAN[name][0](m), LEAN[name][1](ROWS[name].v_out, duty, m)
    f_p = (1.0 / r_2 + 1.0 / R_LEAN) / C / (2.0 * np.pi)
    found = responses(plant, np.array([1e-2 * f_p, f_p])).v_out[0]
    assert abs(found[0]) == pytest.approx(gain, rel=1e-3)
    assert found[1] / found[0] == pytest.approx(1.0 / (1.0 + 1.0j), rel=1e-2)


@LEAN_EACH
def test_discontinuous_source_to_output(name: str):
    # The conversion ratio depends on duty and load resistance alone: a volt at the source is M at the output.
    plant, _, m = discontinuous(name)
    assert responses(plant, np.array([1e-2]), "source").v_out[0, 0].real == pytest.approx(m, rel=1e-5)


@LEAN_EACH
def test_discontinuous_output_impedance(name: str):
    plant, _, m = discontinuous(name)
    s = 2j * np.pi * np.array([1e-2, 30.0])
    found = output_impedance(linear(plant.points), s, STIFF.impedance(s), plant.output.impedance(s))
    expected = 1.0 / (1.0 / LEAN[name][0](m) + 1.0 / R_LEAN + s * C)
    np.testing.assert_allclose(found[0], expected, rtol=1e-3)


@LEAN_EACH
def test_discontinuous_input_impedance(name: str):
    # As for source to output: the stage is a resistance to its source, R/M² by power.
    plant, _, m = discontinuous(name)
    s = 2j * np.pi * np.array([1e-2])
    found = input_impedance(linear(plant.points), s, plant.output.impedance(s))
    assert found[0, 0].real == pytest.approx(R_LEAN / m**2, rel=1e-5)
