"""The averaged models by second roads: numerical derivatives, matrices, limits, continuity, current modes."""

import numpy as np
import pytest

from chargewright.base.errors import OutOfRange
from chargewright.loops.current_mode import AverageCurrent, PeakCurrent, VoltageMode
from chargewright.loops.impedance import Branch, Port
from chargewright.loops.loop import Loop, LoopGain, Plant, responses
from chargewright.loops.open_loop import unstable_poles
from chargewright.loops.response import input_impedance
from chargewright.loops.stage import BOOST, BUCK, BUCK_BOOST, StagePoints, linear, operating
from chargewright.physics.discontinuous import boost_dcm_gain, buck_boost_dcm_gain, buck_dcm_gain, conduction_parameter

L, T = 4.7e-6, 2e-6
STIFF = Port(c=0.0, esr=0.0, branch=Branch(r=1e-9))
NAMES = {"buck": BUCK, "boost": BOOST, "buck-boost": BUCK_BOOST}
VOLTAGES = {"buck": (20.0, 8.0), "boost": (8.0, 20.0), "buck-boost": (12.0, 15.0)}


def at(x: float) -> np.ndarray:
    return np.array([[x]])


def points(name: str, i: float, emulate: bool = True) -> StagePoints:
    v_in, v_out = VOLTAGES[name]
    return StagePoints(
        topology=NAMES[name],
        v_in=at(v_in),
        v_out=at(v_out),
        i_coil=at(i),
        inductance=L,
        period=T,
        emulate=emulate,
        averaged=True,
    )


def pulses(name: str, duty: float, i: float, v_in: float, v_out: float) -> tuple[float, float, float]:
    """Return mean coil voltage, input and output current of one triangle of current: areas of its two slopes.

    Second road to the discontinuous mode, from the waveform and not from the averaged formula: the peak follows from
    the pulse, the length of the fall from the mean current, as in J. Sun et al., IEEE Trans. PE 16(4), 2001.
    """
    v_on = {"buck": v_in - v_out, "boost": v_in, "buck-boost": v_in}[name]
    v_off = {"buck": v_out, "boost": v_out - v_in, "buck-boost": v_out}[name]
    peak = v_on * duty * T / L
    fall = 2.0 * i / peak - duty
    rising, falling = 0.5 * peak * duty, 0.5 * peak * fall
    taken = rising + (falling if name == "boost" else 0.0)
    given = falling + (rising if name == "buck" else 0.0)
    return duty * v_on - fall * v_off, taken, given


@pytest.mark.parametrize("name", NAMES)
def test_discontinuous_coefficients_are_the_derivatives_of_the_waveform(name: str):
    p = points(name, 0.2)
    op = operating(p)
    assert op.discontinuous[0, 0]
    x = [float(op.duty[0, 0]), 0.2, *VOLTAGES[name]]
    assert pulses(name, *x)[0] == pytest.approx(0.0, abs=1e-9)  # the duty found is the balance of volt-seconds
    m = linear(p, op)
    rows = {
        "d": (m.a_d, m.b_d, m.c_d),
        "i": (m.a_i, m.b_i, m.c_i),
        "g": (m.a_g, m.b_g, m.c_g),
        "o": (m.a_o, m.b_o, m.c_o),
    }
    for k, key in enumerate("digo"):
        step = 1e-6 * x[k]
        up, down = list(x), list(x)
        up[k] += step
        down[k] -= step
        slope = (np.array(pulses(name, *up)) - np.array(pulses(name, *down))) / (2.0 * step)
        # Central differences with 1e-6 steps: rounding leaves 1e-7 or so of the largest coefficient.
        assert [float(np.ravel(v)[0]) for v in rows[key]] == pytest.approx(list(slope), rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_the_discontinuous_operating_point_is_the_books(name: str):
    # Outside source: EM ch. 5, conversion ratios in discontinuous conduction (physics.discontinuous; from memory).
    v_in, v_out = VOLTAGES[name]
    p = points(name, 0.2)
    duty, m = float(operating(p).duty[0, 0]), linear(p)
    taken, given = (float(np.ravel(k)[0]) for k in pulses(name, duty, 0.2, v_in, v_out)[1:])
    assert taken * v_in == pytest.approx(given * v_out, rel=1e-9)
    k = conduction_parameter(L, v_out / given, 1.0 / T)
    gain = {"buck": buck_dcm_gain, "boost": boost_dcm_gain, "buck-boost": buck_boost_dcm_gain}[name]
    assert gain(duty, k) == pytest.approx(v_out / v_in, rel=1e-9)
    assert m.a_d[0, 0] > 0.0


@pytest.mark.parametrize("name", NAMES)
def test_low_frequency_gain_in_discontinuous_conduction_is_the_slope_of_the_conversion_ratio(name: str):
    # EM ch. 11.2: at low frequency control-to-output is the slope of the static output over duty, with the load's R.
    v_in, v_out = VOLTAGES[name]
    p = points(name, 0.2)
    duty = float(operating(p).duty[0, 0])
    given = pulses(name, duty, 0.2, v_in, v_out)[2]
    r = v_out / given
    gain = {"buck": buck_dcm_gain, "boost": boost_dcm_gain, "buck-boost": buck_boost_dcm_gain}[name]
    k, h = conduction_parameter(L, r, 1.0 / T), 1e-6
    slope = v_in * (gain(duty + h, k) - gain(duty - h, k)) / (2.0 * h)
    plant = Plant(points=p, input=STIFF, output=Port(c=1e-5, esr=0.0, g_load=1.0 / r), modulator=VoltageMode())
    assert responses(plant, np.array([1e-2])).v_out[0, 0].real == pytest.approx(slope, rel=1e-5)


@pytest.mark.parametrize("name", NAMES)
def test_duty_and_currents_pass_the_edge_of_conduction_without_a_step(name: str):
    v_in, v_out = VOLTAGES[name]
    v_on = {"buck": v_in - v_out, "boost": v_in, "buck-boost": v_in}[name]
    v_off = {"buck": v_out, "boost": v_out - v_in, "buck-boost": v_out}[name]
    edge = 0.5 * v_on * v_off / (v_on + v_off) * T / L
    below, above = operating(points(name, edge * (1 - 1e-9))), operating(points(name, edge * (1 + 1e-9)))
    assert below.discontinuous[0, 0]
    assert not above.discontinuous[0, 0]
    assert below.duty[0, 0] == pytest.approx(above.duty[0, 0], rel=1e-8)
    # Without diode emulation the current goes on below zero: no edge at all.
    assert not operating(points(name, 0.2 * edge, emulate=False)).discontinuous[0, 0]


@pytest.mark.parametrize("name", NAMES)
def test_voltage_mode_meets_a_matrix_of_state_equations(name: str):
    # Second road: state matrices of coil, two capacitors with series resistance and a source with inductance, solved as
    # a matrix at each frequency. rel 1e-9 is rounding.
    p = points(name, 5.0)
    m = linear(p)
    c_a, e_a, c_b, e_b, r_s, l_s, g = 2e-5, 4e-3, 4e-5, 3e-3, 0.06, 1e-6, 0.3
    plant = Plant(
        points=p,
        input=Port(c=c_a, esr=e_a, branch=Branch(r=r_s, l=l_s)),
        output=Port(c=c_b, esr=e_b, g_load=g),
        modulator=VoltageMode(),
    )
    f = np.array([30.0, 3e3, 3e4, 2e5])
    found = responses(plant, f)
    a = {k: float(np.ravel(getattr(m, k))[0]) for k in m._fields}
    for k, freq in enumerate(f):
        s = 2j * np.pi * freq
        # Unknowns: coil current, cable current, both capacitor voltages, both port voltages.
        lines = np.array(
            [
                [s * L - a["a_i"], 0, 0, 0, -a["a_g"], -a["a_o"]],
                [0, s * l_s + r_s, 0, 0, 1, 0],
                [0, 0, 1 + s * c_a * e_a, 0, -1, 0],
                [0, 0, 0, 1 + s * c_b * e_b, 0, -1],
                [a["b_i"], -1, s * c_a, 0, 0, 0],
                [-a["c_i"], 0, 0, s * c_b, 0, g],
            ]
        )
        i, _, _, _, u, v = np.linalg.solve(lines, np.array([a["a_d"], 0, 0, 0, -a["b_d"], a["c_d"]]))
        assert found.i_coil[0, k] == pytest.approx(i, rel=1e-9)
        assert found.v_in[0, k] == pytest.approx(u, rel=1e-9)
        assert found.v_out[0, k] == pytest.approx(v, rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("i", [5.0, 0.2])
def test_power_in_is_power_out_at_low_frequency(name: str, i: float):
    # Conservation: without losses v_in·i_in = v_out·i_out stays true when the duty is moved slowly, so
    # V_in·î_in = V_out·î_out + I_out·v̂_out for a stiff source (and the load's current is v̂·g + ...).
    v_in, v_out = VOLTAGES[name]
    p = points(name, i)
    m = linear(p)
    g = 0.1
    plant = Plant(points=p, input=STIFF, output=Port(c=1e-5, esr=0.0, g_load=g), modulator=VoltageMode())
    r = responses(plant, np.array([1e-3]))
    share = (
        float(np.ravel(m.c_i)[0]) if i == 5.0 else pulses(name, float(operating(p).duty[0, 0]), i, v_in, v_out)[2] / i
    )
    i_out = share * i
    assert (v_in * r.i_in[0, 0]).real == pytest.approx(((v_out * g + i_out) * r.v_out[0, 0]).real, rel=1e-6)


def test_average_current_mode_holds_the_coil_current_at_low_frequency():
    p = points("buck", 5.0)
    modulator = AverageCurrent(r_sense=0.05, gain=2.0, f_zero=3e3)
    out = Port(c=4e-5, esr=2e-3, branch=Branch(r=0.1))
    plant = Plant(points=p, input=STIFF, output=out, modulator=modulator)
    assert 0.05 * responses(plant, np.array([1.0])).i_coil[0, 0].real == pytest.approx(1.0, rel=1e-3)


def test_average_current_mode_is_a_loop_around_voltage_mode():
    # Second road: 1/(1 + T) by hand around the voltage-mode coil response.
    p, f = points("boost", 5.0), np.array([1e3, 2e4])
    out = Port(c=4e-5, esr=2e-3, g_load=0.2)
    inner = 2.0 * (1.0 + 3e3 / (1j * f)) / (1.0 + 1j * f / 1e5) / 1.5
    bare = responses(Plant(points=p, input=STIFF, output=out, modulator=VoltageMode()), f)
    modulator = AverageCurrent(r_sense=0.05, gain=2.0, f_zero=3e3, f_pole=1e5, v_ramp=1.5)
    closed = responses(Plant(points=p, input=STIFF, output=out, modulator=modulator), f)
    t = inner * 0.05 * bare.i_coil[0]
    np.testing.assert_allclose(closed.v_out[0], inner * bare.v_out[0] / (1.0 + t), rtol=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_peak_current_mode_obeys_its_static_law(name: str):
    # Second road, common to every text on it: control voltage = sensed peak + ramp, peak = mean + half the ripple. At
    # low frequency the model's slope is that of the law, inverted numerically. Continuous conduction, ports stiff.
    v_in, v_out = VOLTAGES[name]
    r_sense, ramp = 0.05, 3e4
    p = points(name, 5.0)
    out = Port(c=4e-5, esr=0.0, branch=Branch(r=0.5))
    plant = Plant(points=p, input=STIFF, output=out, modulator=PeakCurrent(r_sense=r_sense, ramp=ramp))
    found = responses(plant, np.array([1e-2]))
    top = NAMES[name]

    def law(i: float, v: float) -> float:
        u_d, w_d = top.u_d, top.w_d
        v_on, v_off = v_in - (1.0 + w_d) * v, v - (1.0 - u_d) * v_in
        duty = v_off / (v_on + v_off)
        return r_sense * (i + 0.5 * v_on * duty * T / L) + ramp * duty * T

    di, dv = float(found.i_coil[0, 0].real), float(found.v_out[0, 0].real)
    h = 1e-5
    slope = (law(5.0 + h * di, v_out + h * dv) - law(5.0 - h * di, v_out - h * dv)) / (2.0 * h)
    assert slope == pytest.approx(1.0, rel=1e-4)


def test_a_delay_only_turns_the_phase():
    p, f = points("buck", 5.0), np.array([1e3, 1e5])
    out = Port(c=4e-5, esr=2e-3, branch=Branch(r=0.1))
    loop = Loop(sensed="output-current", scale=0.1, amplifier=None)
    quick, late = (
        LoopGain(Plant(points=p, input=STIFF, output=out, modulator=VoltageMode(t_delay=t)), loop)(f)
        for t in (0.0, 1e-6)
    )
    np.testing.assert_allclose(late, quick * np.exp(-2j * np.pi * f * 1e-6), rtol=1e-12)


def test_a_ramp_that_follows_the_input_takes_the_source_out_of_the_output():
    # Ideal feed-forward: a buck's output does not answer to its source at all.
    p = points("buck", 5.0)
    out = Port(c=4e-5, esr=2e-3, g_load=0.2)
    plant = Plant(points=p, input=STIFF, output=out, modulator=VoltageMode(v_ramp=0.05, by_input=True))
    assert abs(responses(plant, np.array([1e3]), "source").v_out[0, 0]) < 1e-12


def test_unstable_poles_are_those_of_the_characteristic_polynomial():
    # Buck on a stiff source with R = 20 mohm, C with 1 mohm and a load of conductance g: by hand, with
    # y = s·c/(1 + s·c·e), (s·l + r)·(y + g) + 1 = 0.
    for g, expected in ((0.2, 0), (-0.05, 0), (-2.0, 2)):
        p = StagePoints(
            topology=BUCK,
            v_in=at(20.0),
            v_out=at(8.0),
            i_coil=at(5.0),
            inductance=L,
            period=T,
            r_coil=0.02,
            averaged=True,
        )
        c, e, r = 2e-5, 1e-3, 0.02
        polynomial = np.polyadd(np.polymul([L, r], [c * (1.0 + e * g), g]), [c * e, 1.0])
        assert np.sum(np.roots(polynomial).real > 0.0) == expected
        plant = Plant(points=p, input=STIFF, output=Port(c=c, esr=e, g_load=g), modulator=VoltageMode())
        assert unstable_poles(plant)[0] == expected


def test_voltages_that_do_not_fit_the_topology_are_refused():
    p = StagePoints(topology=BUCK, v_in=at(8.0), v_out=at(12.0), i_coil=at(1.0), inductance=L, period=T, averaged=True)
    with pytest.raises(OutOfRange, match="duty"):
        operating(p)


def test_input_impedance_does_not_depend_on_the_source():
    p, f = points("buck", 5.0), np.array([1e3])
    s = 2j * np.pi * f
    z_out = Port(c=4e-5, esr=2e-3, g_load=0.2).impedance(s)
    m = linear(p)
    duty = operating(p).duty[0, 0]
    assert input_impedance(m, s, z_out)[0, 0] == pytest.approx((s * L + z_out)[0] / duty**2, rel=1e-9)
