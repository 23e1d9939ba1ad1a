"""Switching: what a half bridge loses each time it changes over, and what its gates and dead times cost."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Amps, Coulombs, Farads, Hertz, Ohms, Seconds, Volts, Watts


@relation
def turn_on_time(q_sw: Coulombs, r_drive: Ohms, v_drive: Volts, v_plateau: Volts) -> Seconds:
    """Return the time in which voltage and current overlap while a switch turns on.

    The driver charges the gate through `r_drive` while the gate stands at its plateau:

        t = q_sw·r_drive/(v_drive − v_plateau)

    q_sw      : switching charge, gate-drain plus the part of gate-source between threshold and plateau [C]
    r_drive   : driver's pull-up plus gate resistance [Ω]
    v_drive   : voltage of the driver [V]
    v_plateau : gate voltage of the plateau at the current that is switched [V]
    returns the overlap time [s]; all arguments broadcast.

    Holds while the gate limits the slope, with `v_drive` above `v_plateau`; with a large common-source inductance the
    real time is longer.

    Source: N. Mohan, T. M. Undeland, W. P. Robbins, Power Electronics, 3rd ed., Wiley 2003, ch. 22 (switching of
    power MOSFETs with constant plateau voltage; from memory).
    """
    return q_sw * r_drive / (v_drive - v_plateau)


@relation
def turn_off_time(q_sw: Coulombs, r_drive: Ohms, v_plateau: Volts) -> Seconds:
    """Return the time in which voltage and current overlap while a switch turns off.

    The driver pulls the gate to its source through `r_drive` while the gate stands at its plateau:

        t = q_sw·r_drive/v_plateau

    q_sw      : switching charge, gate-drain plus the part of gate-source between threshold and plateau [C]
    r_drive   : driver's pull-down plus gate resistance [Ω]
    v_plateau : gate voltage of the plateau at the current that is switched [V]
    returns the overlap time [s]; all arguments broadcast.

    Holds while the gate limits the slope and the driver pulls to zero, not below.

    Source: N. Mohan, T. M. Undeland, W. P. Robbins, Power Electronics, 3rd ed., Wiley 2003, ch. 22 (switching of
    power MOSFETs with constant plateau voltage; from memory).
    """
    return q_sw * r_drive / v_plateau


@relation
def overlap_loss(v_sw: Volts, i_turn_on: Amps, t_on: Seconds, i_turn_off: Amps, t_off: Seconds, f_sw: Hertz) -> Watts:
    """Return the loss from voltage and current that overlap at both changes of a switch.

    Current ramps at full voltage, then voltage ramps at full current, so that each change costs a triangle:

        p = v_sw·(|i_turn_on|·t_on + |i_turn_off|·t_off)·f_sw/2

    v_sw       : voltage that is switched [V]
    i_turn_on  : current at the hard turn-on [A]; 0 where turn-on is soft
    t_on       : overlap time at turn-on [s]
    i_turn_off : current at the hard turn-off [A]; 0 where turn-off is soft
    t_off      : overlap time at turn-off [s]
    f_sw       : switching frequency [Hz]
    returns the mean loss [W]; all arguments broadcast.

    Holds for clamped inductive switching; output capacitance and diode recovery are separate relations.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 4.3 (from
    memory).
    """
    return v_sw * (np.abs(i_turn_on) * t_on + np.abs(i_turn_off) * t_off) * f_sw / 2.0


@relation
def output_capacitance_loss(c_energy: Farads, v_sw: Volts, f_sw: Hertz) -> Watts:
    """Return the loss of discharging a switch node's capacitance in the channel once per period.

        p = c_energy·v_sw²·f_sw/2

    c_energy : energy-related output capacitance at `v_sw` of all switches at the node [F]
    v_sw     : voltage that is switched [V]
    f_sw     : switching frequency [Hz]
    returns the mean loss [W]; all arguments broadcast.

    Holds for hard turn-on; zero where the inductor current swings the node.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 4.3 (from
    memory).
    """
    return c_energy * v_sw**2 * f_sw / 2.0


@relation
def recovery_loss(q_rr: Coulombs, i_turn_on: Amps, t_rr: Seconds, v_sw: Volts, f_sw: Hertz) -> Watts:
    """Return the loss that a diode's reverse recovery causes in the switch that turns on against it.

    The switch stays at full voltage for `t_rr` and carries load current and recovered charge meanwhile:

        p = v_sw·(q_rr + |i_turn_on|·t_rr)·f_sw

    q_rr      : recovered charge [C]
    i_turn_on : load current at turn-on [A]; 0 where turn-on is soft
    t_rr      : recovery time [s]
    v_sw      : voltage that is switched [V]
    f_sw      : switching frequency [Hz]
    returns the mean loss [W]; all arguments broadcast.

    Holds for a snappy diode; a soft one takes part of the loss itself. The charge is the one at the current, slope and
    temperature of interest.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 4.3 (from
    memory).
    """
    return v_sw * (q_rr + np.abs(i_turn_on) * t_rr) * f_sw


@relation
def dead_time_loss(v_f: Volts, i_first: Amps, i_second: Amps, t_dead: Seconds, f_sw: Hertz) -> Watts:
    """Return the loss of the diode that conducts while both switches of a half bridge are off.

        p = v_f·(|i_first| + |i_second|)·t_dead·f_sw

    v_f      : forward voltage of the body diode [V]
    i_first  : inductor current in the first dead time of a period [A]
    i_second : inductor current in the second dead time of a period [A]
    t_dead   : length of each dead time [s]
    f_sw     : switching frequency [Hz]
    returns the mean loss [W]; all arguments broadcast.

    Holds while the diode conducts through the whole dead time; where a current swings the node first, it is too high.

    Source: derived here: a diode that drops `v_f` takes the energy v·i·t in each of the two dead times.
    """
    return v_f * (np.abs(i_first) + np.abs(i_second)) * t_dead * f_sw


@relation
def gate_drive_loss(q_gate: Coulombs, v_supply: Volts, f_sw: Hertz) -> Watts:
    """Return the power that driving a gate takes from the supply of the driver.

        p = q_gate·v_supply·f_sw

    q_gate   : total gate charge at the drive voltage, of all gates driven [C]
    v_supply : voltage that the charge is taken from [V]; ahead of a linear regulator, so its loss is in the result
    f_sw     : switching frequency [Hz]
    returns the mean power [W]; all arguments broadcast.

    Holds for any gate resistance; the drive's quiescent current comes on top.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 4.3 (from
    memory).
    """
    return q_gate * v_supply * f_sw
