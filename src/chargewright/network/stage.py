"""The switched converter stage in steady state: one period as four intervals, every loss term, any region.

A stage has an input leg (high and low switch on the input side), an inductor and an output leg (low and high switch
on the output side). A two-switch buck has no output leg, a two-switch boost no input leg; a four-switch stage has
both. Power flows from input to output; a stage that runs backwards is the same stage with its sides exchanged.

One period, in shares of it, with duty d_in of the input high switch and d_out of the output low switch:

    lead   input high + output high on     v_l = v_in - v_out      share  phase * (d_in - d_out)
    rise   input high + output low  on     v_l = v_in              share  d_out
    carry  input high + output high on     v_l = v_in - v_out      share  (1 - phase) * (d_in - d_out)
    fall   input low  + output high on     v_l = -v_out            share  1 - d_in

Buck is d_out = 0, boost is d_in = 1, and the band around unity gain switches both legs every period. With diode
emulation the current stops at zero: all intervals and the ripple shrink by one factor, and below the skip level the
repetition rate falls instead. So CCM, DCM and pulse skipping in all three regions are one set of lines, without a
branch, and the same lines run on arrays (numpy) and compiled (numba, `base.compiled`).

Source of the interval method: derived here from volt-second and charge balance (R. W. Erickson, D. Maksimovic,
Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 2, 3 and 5); the losses carry their own sources.
"""

from typing import Any, NamedTuple

import numpy as np

from chargewright.physics.conduction import resistive_loss, switch_conduction_loss
from chargewright.physics.core import igse_interval_loss
from chargewright.physics.magnetics import saturating_inductance, skin_limited_resistance, winding_ac_loss
from chargewright.physics.switching import (
    dead_time_loss,
    gate_drive_loss,
    output_capacitance_loss,
    overlap_loss,
    recovery_loss,
    turn_off_time,
    turn_on_time,
)


class SwitchAt(NamedTuple):
    """One switch position at its temperature (SI floats or arrays). An absent leg has all zeros."""

    r_on: Any
    q_gate: Any
    q_sw: Any
    v_plateau: Any
    r_drive: Any
    c_oss: Any
    q_rr: Any
    t_rr: Any
    v_f: Any


class CoilAt(NamedTuple):
    """The inductor at its temperature."""

    l_0: Any
    i_sat: Any
    sat_exponent: Any
    r_dc: Any
    ac_ratio: Any
    f_ref: Any
    k_i: Any
    alpha: Any
    beta: Any
    volume: Any
    turns_area: Any


class Setting(NamedTuple):
    """How the stage is built and driven. `legs`: 1 input leg only (buck), -1 output leg only (boost), 0 both."""

    legs: Any
    f_sw: Any
    t_dead: Any
    v_drive: Any
    i_quiescent: Any
    duty_turn: Any
    """Duty of the one leg beyond which a four-switch stage switches both legs."""
    phase: Any
    """Where the output pulse stands in the input pulse: 0 at its start, 0.5 centred."""
    emulate: Any
    """1 with diode emulation at light load, 0 with forced continuous conduction."""
    skip: Any
    """Least share of the full period that a pulse shrinks to; below it pulses are left out."""
    esr_in: Any
    esr_out: Any


class StageLosses(NamedTuple):
    """Every loss of the stage in W."""

    in_high_conduction: Any
    in_low_conduction: Any
    out_low_conduction: Any
    out_high_conduction: Any
    in_overlap: Any
    out_overlap: Any
    in_capacitance: Any
    out_capacitance: Any
    in_recovery: Any
    out_recovery: Any
    in_dead_time: Any
    out_dead_time: Any
    gate_drive: Any
    quiescent: Any
    coil_winding: Any
    coil_ac: Any
    coil_core: Any
    in_capacitor: Any
    out_capacitor: Any


class StageWaveform(NamedTuple):
    """What the period looks like. Currents in A, duties and shares as ratios, rate in Hz."""

    d_in: Any
    d_out: Any
    l: Any  # noqa: E741 - the trade's letter for inductance
    di_pp: Any
    i_peak: Any
    i_valley: Any
    active: Any
    """Share of the time in which current flows or the coil is driven: 1 in CCM."""
    rate: Any
    """Pulses per second: the switching frequency, or less while skipping."""
    rms_coil: Any
    rms_in_high: Any
    rms_in_low: Any
    rms_out_low: Any
    rms_out_high: Any
    rms_in_capacitor: Any
    rms_out_capacitor: Any


def duties(
    v_in: Any, v_out: Any, i_l: Any, ih: SwitchAt, il: SwitchAt, ol: SwitchAt, oh: SwitchAt, r_dc: Any, s: Setting
) -> tuple[Any, Any]:
    """Return duty of the input high and of the output low switch [1] from volt-second balance with all drops.

    Averages over the period the voltages of both switch nodes, with channel drops, the diode drop during dead time
    and the winding drop, and sets the mean coil voltage to zero (Erickson & Maksimovic, ch. 3; dead time derived here).
    All arguments broadcast; a duty above 1 says that the stage is in dropout.
    """
    dead = 2.0 * s.t_dead * s.f_sw
    fixed_out = v_out + i_l * (oh.r_on + r_dc)
    d_buck = (fixed_out + i_l * (1.0 - dead) * il.r_on + dead * il.v_f) / (v_in - i_l * (ih.r_on - il.r_on))
    through = v_in - i_l * (ih.r_on + r_dc)
    lifted = v_out + i_l * oh.r_on
    d_boost = (lifted - through + dead * (oh.v_f - i_l * oh.r_on)) / (lifted - i_l * ol.r_on)
    d_least = 1.0 - s.duty_turn
    use_buck = (s.legs > 0.5) | ((s.legs > -0.5) & (d_buck <= s.duty_turn))
    out_mean = (1.0 - d_least - dead) * (v_out + i_l * oh.r_on) + dead * (v_out + oh.v_f) + d_least * i_l * ol.r_on
    d_both = (out_mean + i_l * r_dc + i_l * (1.0 - dead) * il.r_on + dead * il.v_f) / (v_in - i_l * (ih.r_on - il.r_on))
    # With dead time, the input leg reaches a duty of 1 a little before the output leg alone can do it.
    use_boost = (s.legs < -0.5) | ((s.legs < 0.5) & ((d_boost >= d_least) | (d_both > 1.0)))
    d_in = np.where(use_buck, d_buck, np.where(use_boost, 1.0, d_both))
    d_out = np.where(use_buck, 0.0, np.where(use_boost, d_boost, d_least))
    return d_in, d_out


def drive_supply(v_in: Any, v_out: Any, v_drive: Any) -> Any:
    """Return the voltage [V] that the drive and controller current is drawn from.

    A linear drive supply takes the lower side if it is 0.3 V above the drive voltage, else the higher: common practice.
    """
    lower = np.minimum(v_in, v_out)
    return np.where(lower >= v_drive + 0.3, lower, np.maximum(v_in, v_out))


def stage_point(
    v_in: Any, v_out: Any, i_l: Any, ih: SwitchAt, il: SwitchAt, ol: SwitchAt, oh: SwitchAt, coil: CoilAt, s: Setting
) -> tuple[StageLosses, StageWaveform]:
    """Return losses [W] and waveform of a stage that carries a mean coil current i_l ≥ 0 [A] from v_in to v_out [V].

    All arguments are floats or arrays that broadcast. Ripple in the source and load currents is taken to flow in the
    stage's own capacitors. Terms at light load (diode emulation, skipping): see the module text.
    """
    d_in, d_out = duties(v_in, v_out, i_l, ih, il, ol, oh, coil.r_dc, s)
    d_in_used = np.minimum(np.maximum(d_in, 0.0), 1.0)
    d_out_used = np.minimum(np.maximum(d_out, 0.0), 1.0)
    between = np.maximum(d_in_used - d_out_used, 0.0)
    s_lead, s_rise, s_carry, s_fall = s.phase * between, d_out_used, (1.0 - s.phase) * between, 1.0 - d_in_used

    # Coil voltage of each interval, from what is balanced: the drops are in the duties, so they are in the slopes.
    dead = 2.0 * s.t_dead * s.f_sw
    v_rest = dead * (il.v_f - i_l * il.r_on) / np.maximum(s_fall, dead + 1e-12)
    v_fall = -(v_out + i_l * (oh.r_on + il.r_on + coil.r_dc) + v_rest)
    v_rise = v_in - i_l * (ih.r_on + ol.r_on + coil.r_dc)
    held = np.where(between > 1e-12, -(v_rise * s_rise + v_fall * s_fall) / np.maximum(between, 1e-12), 0.0)
    inductance = saturating_inductance(coil.l_0, i_l, coil.i_sat, coil.sat_exponent)
    unit = 1.0 / (inductance * s.f_sw)
    e1 = held * s_lead * unit
    e2 = e1 + v_rise * s_rise * unit
    e3 = e2 + held * s_carry * unit

    # Full-period shape above its least point, then light load: shrink by `k`, and leave pulses out below `skip`.
    low = np.minimum(0.0, np.minimum(e1, np.minimum(e2, e3)))
    high = np.maximum(0.0, np.maximum(e1, np.maximum(e2, e3)))
    mean = 0.5 * (e1 * s_lead + (e1 + e2) * s_rise + (e2 + e3) * s_carry + e3 * s_fall)
    area = np.maximum(mean - low, 1e-12)
    k = np.where(s.emulate > 0.5, np.minimum(np.maximum(np.sqrt(np.maximum(i_l, 0.0) / area), s.skip), 1.0), 1.0)
    share = np.where(s.emulate > 0.5, np.minimum(np.maximum(i_l, 0.0) / (area * k * k), 1.0), 1.0)
    base = np.where(s.emulate > 0.5, np.maximum(i_l - area, 0.0), i_l - area)
    active = k * share
    rate = s.f_sw * share
    i0, i1, i2, i3 = base - k * low, base + k * (e1 - low), base + k * (e2 - low), base + k * (e3 - low)
    di_pp = k * (high - low)

    # Each interval is a ramp: its middle and its ripple give every mean square by one relation.
    m_lead = _mean_square(i0, i1) * s_lead
    m_rise = _mean_square(i1, i2) * s_rise
    m_carry = _mean_square(i2, i3) * s_carry
    m_fall = _mean_square(i3, i0) * s_fall
    ms_in_high = active * (m_lead + m_rise + m_carry)
    ms_out_high = active * (m_lead + m_carry + m_fall)
    q_in = active * 0.5 * ((i0 + i1) * s_lead + (i1 + i2) * s_rise + (i2 + i3) * s_carry)
    q_out = active * 0.5 * ((i0 + i1) * s_lead + (i2 + i3) * s_carry + (i3 + i0) * s_fall)

    # A leg that does not switch in this region has no switching loss; the sync switch rests during dead time.
    in_rate = np.where(np.abs(d_in - 1.0) > 1e-9, rate, 0.0)
    out_rate = np.where(d_out_used > 1e-9, rate, 0.0)
    dead_in = 2.0 * s.t_dead * in_rate
    dead_out = 2.0 * s.t_dead * out_rate
    ms_in_low = np.maximum(active * m_fall - 0.5 * dead_in * (i3 * i3 + i0 * i0), 0.0)
    ms_out_high_channel = np.maximum(ms_out_high - 0.5 * dead_out * (i1 * i1 + i2 * i2), 0.0)
    ms_out_low = active * m_rise
    ms_coil = active * (m_lead + m_rise + m_carry + m_fall)

    on_in, off_in = np.maximum(i0, 0.0), np.maximum(i3, 0.0)
    on_out, off_out = np.maximum(i1, 0.0), np.maximum(i2, 0.0)
    # The stated recovery charge is taken to hold at the mean coil current; what a diode stores goes with its current
    # (charge control), so that it fades towards discontinuous conduction instead of vanishing in one step.
    mean_current = np.maximum(i_l, 1e-9)
    in_stored = np.minimum(on_in / mean_current, 1.0)
    out_stored = np.minimum(on_out / mean_current, 1.0)
    supply = drive_supply(v_in, v_out, s.v_drive)
    rms_in_cap = np.sqrt(np.maximum(ms_in_high - q_in * q_in, 0.0))
    rms_out_cap = np.sqrt(np.maximum(ms_out_high - q_out * q_out, 0.0))
    ripple_sq = np.maximum(ms_coil - i_l * i_l, 0.0)
    r_ac = skin_limited_resistance(coil.r_dc, coil.ac_ratio, s.f_sw, coil.f_ref)
    swing = inductance * di_pp / coil.turns_area

    losses = StageLosses(
        switch_conduction_loss(np.sqrt(ms_in_high), 0.0, 1.0, ih.r_on),
        switch_conduction_loss(np.sqrt(ms_in_low), 0.0, 1.0, il.r_on),
        switch_conduction_loss(np.sqrt(ms_out_low), 0.0, 1.0, ol.r_on),
        switch_conduction_loss(np.sqrt(ms_out_high_channel), 0.0, 1.0, oh.r_on),
        overlap_loss(v_in, on_in, _on(ih, s), off_in, _off(ih), in_rate),
        overlap_loss(v_out, on_out, _on(ol, s), off_out, _off(ol), out_rate),
        output_capacitance_loss(ih.c_oss + il.c_oss, v_in, in_rate),
        output_capacitance_loss(ol.c_oss + oh.c_oss, v_out, out_rate),
        recovery_loss(il.q_rr * in_stored, on_in, il.t_rr, v_in, in_rate),
        recovery_loss(oh.q_rr * out_stored, on_out, oh.t_rr, v_out, out_rate),
        dead_time_loss(il.v_f, i3, i0, s.t_dead, in_rate),
        dead_time_loss(oh.v_f, i2, i1, s.t_dead, out_rate),
        gate_drive_loss(ih.q_gate + il.q_gate, supply, in_rate)
        + gate_drive_loss(ol.q_gate + oh.q_gate, supply, out_rate),
        s.i_quiescent * supply,
        resistive_loss(i_l, coil.r_dc),
        winding_ac_loss(np.sqrt(12.0 * ripple_sq), r_ac),
        igse_interval_loss(
            coil.k_i, coil.alpha, coil.beta, swing, held / coil.turns_area, active * between, coil.volume
        )
        + igse_interval_loss(
            coil.k_i, coil.alpha, coil.beta, swing, v_rise / coil.turns_area, active * s_rise, coil.volume
        )
        + igse_interval_loss(
            coil.k_i, coil.alpha, coil.beta, swing, v_fall / coil.turns_area, active * s_fall, coil.volume
        ),
        resistive_loss(rms_in_cap, s.esr_in),
        resistive_loss(rms_out_cap, s.esr_out),
    )
    waveform = StageWaveform(
        d_in,
        d_out,
        inductance,
        di_pp,
        base + k * (high - low),
        base,
        active,
        rate,
        np.sqrt(ms_coil),
        np.sqrt(ms_in_high),
        np.sqrt(ms_in_low),
        np.sqrt(ms_out_low),
        np.sqrt(ms_out_high_channel),
        rms_in_cap,
        rms_out_cap,
    )
    return losses, waveform


def _mean_square(i_start: Any, i_end: Any) -> Any:
    """Return the mean square [A²] of a straight ramp: (a² + a·b + b²)/3, an identity of the trapezoid."""
    return (i_start * i_start + i_start * i_end + i_end * i_end) / 3.0


def _on(switch: SwitchAt, s: Setting) -> Any:
    return turn_on_time(switch.q_sw, switch.r_drive, s.v_drive, switch.v_plateau)


def _off(switch: SwitchAt) -> Any:
    return turn_off_time(switch.q_sw, switch.r_drive, switch.v_plateau)
