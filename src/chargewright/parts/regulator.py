"""The regulators behind the bus: what each rail costs against bus voltage, load and the width of the bus.

A wide bus costs twice: every regulator switches at the higher voltage, and its switches need the higher rating, which
means more resistance or more charge for the same silicon. Both are in the model, so the price of a bus window is
computed, not assumed. The generic regulators are invented; their scaling is stated at `generic_regulator`.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

import numpy as np

from chargewright.base.units import Volts, Watts
from chargewright.physics.conduction import resistive_loss
from chargewright.physics.switching import gate_drive_loss, output_capacitance_loss, overlap_loss
from chargewright.spec.system import RailSpec

V_CLASSES = (6.0, 12.0, 20.0, 30.0, 40.0, 60.0, 80.0, 100.0)
"""Voltage ratings of power switches that are commonly to be had [V] (common practice)."""

V_DRIVE = 5.0
"""Gate drive of a generic regulator [V] (common practice)."""
SKIP_BELOW = 0.10
"""Share of full load below which a regulator skips pulses [1] (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Regulator:
    """One rail's regulator, SI."""

    name: str
    kind: str
    v_out: float
    p_max: float
    v_rating: float
    bus_min: float
    bus_max: float
    r_switch: float
    r_coil: float
    t_edge: float
    c_oss: float
    q_gate: float
    f_sw: float
    c_in: float | None
    """Effective capacitance at its input, at the bus's voltage [F]; None if nothing is known (see `rail_inputs`)."""
    i_quiescent: float
    p_core: float
    """Core loss at a duty of one half [W]."""
    cost: float
    area: float


def rating_for(v_bus_max: float, derating: float) -> float:
    """Return the lowest rating class [V] that stands `v_bus_max` under a derating [1]."""
    needed = v_bus_max / derating
    return next((c for c in V_CLASSES if c >= needed), needed)


def generic_regulator(rail: RailSpec, v_bus_max: float, derating: float, headroom: float) -> Regulator:
    """Return an invented generic regulator for a rail on a bus of up to `v_bus_max` [V].

    Scaling, per ampere of full current and with the rating v in V, anchored at 20 V (all invented, typical magnitudes,
    common practice): switch drop 50 mV · (v/20)^0.8 at a gate charge of 2.5 nC · (v/20)^0.4 per ampere, so that
    resistance times charge grows as v^1.2; edges of 3.5 ns · (v/20)^0.5; output capacitance 90 pF per ampere; winding
    drop 30 mV; core loss 0.5 % of the rail's power at half duty; 60 µA of quiescent current. Cost and area grow with
    rating as (v/20)^0.5.
    """
    rating = rating_for(v_bus_max, derating)
    step = rating / 20.0
    through = rail.power / rail.voltage
    if rail.regulator in ("boost", "buck-boost"):
        through = through * max(1.0, rail.voltage / (rail.bus_min or rail.voltage / 2.0))
    amps = max(through, 0.1)
    legs = 2.0 if rail.regulator == "buck-boost" else 1.0
    active = rail.regulator != "direct"
    return Regulator(
        name=rail.name,
        kind=rail.regulator,
        v_out=rail.voltage,
        p_max=rail.power,
        v_rating=rating,
        bus_min=rail.bus_min if rail.bus_min is not None else _least_bus(rail, headroom),
        bus_max=rail.bus_max if rail.bus_max is not None else V_CLASSES[-1] * derating,
        r_switch=legs * 0.050 * step**0.8 / amps,
        r_coil=0.030 / amps,
        t_edge=3.5e-9 * step**0.5,
        c_oss=legs * 90e-12 * amps,
        q_gate=legs * 2.5e-9 * step**0.4 * amps,
        f_sw=rail.f_sw,
        c_in=rail.input_capacitance,
        i_quiescent=60e-6 if active else 0.0,
        p_core=0.005 * rail.power,
        cost=(0.6 + 0.12 * amps) * legs * step**0.5 if active else 0.0,
        area=(18e-6 + 4e-6 * amps) * legs * step**0.5 if active else 0.0,
    )


def _least_bus(rail: RailSpec, headroom: float) -> float:
    if rail.regulator in ("buck", "linear"):
        return rail.voltage + headroom
    return rail.voltage / 2.5


class _Bank(NamedTuple):
    """Rails as columns of shape (rails, 1), so that one evaluation serves all of them."""

    buck: Any
    linear: Any
    direct: Any
    v_out: Any
    p_max: Any
    r: Any
    t_edge: Any
    c_oss: Any
    q_gate: Any
    f_sw: Any
    i_quiescent: Any
    p_core: Any


@cache
def _bank(rails: tuple[Regulator, ...]) -> _Bank:
    rows = [
        (
            r.kind == "buck",
            r.kind == "linear",
            r.kind == "direct",
            r.v_out,
            r.p_max,
            r.r_switch + r.r_coil,
            r.t_edge,
            r.c_oss,
            r.q_gate,
            r.f_sw,
            r.i_quiescent,
            r.p_core,
        )
        for r in rails
    ]
    return _Bank(*(column[:, None] for column in np.array(rows, dtype=float).T))


def regulator_loss(reg: Regulator, v_bus: Volts, p_out: Watts) -> Watts:
    """Return the loss [W] of a rail's regulator at a bus voltage and output power; arguments broadcast.

    Buck: conduction of switches and winding, overlap, output capacitance, gate drive, core, quiescent. Boost and
    buck-boost: the same with the current of the low side and the higher of both voltages. Linear: the whole drop.
    Direct: none. Terms as in `physics.switching` and `physics.conduction`.
    """
    v, p = np.broadcast_arrays(np.asarray(v_bus, dtype=float), np.asarray(p_out, dtype=float))
    return _losses(_bank((reg,)), np.ravel(v), np.ravel(p))[0].reshape(v.shape)


def rails_loss(rails: tuple[Regulator, ...], v_bus: Volts, p_out_total: Watts) -> Any:
    """Return the loss [W] of all rails together when they deliver `p_out_total`, shared in proportion to their size."""
    v, p = np.broadcast_arrays(np.asarray(v_bus, dtype=float), np.asarray(p_out_total, dtype=float))
    full = sum(r.p_max for r in rails)
    if full <= 0.0:
        return np.zeros(v.shape)
    bank = _bank(rails)
    return np.sum(_losses(bank, np.ravel(v), np.ravel(p) * (bank.p_max / full)), axis=0).reshape(v.shape)


def _losses(b: _Bank, v_bus: Any, p: Any) -> Any:
    """Return the loss [W] of each rail, shape (rails, n); `v_bus` (n,), `p` (rails, n) or (n,)."""
    v = np.maximum(v_bus, 1e-3)
    i_out = p / b.v_out
    duty = np.minimum(b.v_out / v, v / b.v_out)
    v_switched = np.where(b.buck > 0.0, v, np.maximum(v, b.v_out))
    i_coil = np.where(b.buck > 0.0, i_out, np.maximum(i_out, p / v))
    # Below the skip level pulses are left out, and with them everything that a pulse costs whatever it carries.
    pulses = np.clip(p / (SKIP_BELOW * np.maximum(b.p_max, 1e-12)), 0.0, 1.0)
    each_pulse = (
        output_capacitance_loss(b.c_oss, v_switched, b.f_sw)
        + gate_drive_loss(b.q_gate, V_DRIVE, b.f_sw)
        + b.p_core * ((1.0 - duty) / 0.5) ** 2.3
    )
    switched = (
        resistive_loss(i_coil, b.r)
        + overlap_loss(v_switched, i_coil, b.t_edge, i_coil, b.t_edge, b.f_sw)
        + each_pulse * pulses
        + v * b.i_quiescent
    )
    dropped = np.maximum(v - b.v_out, 0.0) * i_out + v * b.i_quiescent
    return np.where(b.direct > 0.0, 0.0, np.where(b.linear > 0.0, dropped, switched))
