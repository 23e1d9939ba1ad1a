# ruff: noqa: E741 - l is inductance, as the trade has it
"""Transients: hot plug onto a capacitor, inrush, stored energy, unplugging, hold-up."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Amps, Farads, Henries, Joules, Ohms, Seconds, Volts, VoltsPerSecond, Watts


@relation
def hot_plug_peak(v_source: Volts, v_start: Volts, r: Ohms, l: Henries, c: Farads) -> Volts:
    """Return the peak voltage of a capacitor that is plugged onto a source through a cable.

        zeta = r/2·√(c/l)
        v = v_source + (v_source − v_start)·exp(−π·zeta/√(max(1 − zeta², 1e-12)))

    v_source : voltage of the stiff source [V]
    v_start  : voltage that the capacitor has before [V]
    r        : resistance of cable, contacts and capacitor [Ω]
    l        : inductance of the cable [H]
    c        : capacitance [F]
    returns the peak voltage [V]; `v_source` where the circuit does not ring; all arguments broadcast.

    Holds for a capacitance that does not change; a ceramic loses capacitance as it charges and peaks higher. No load,
    no clamp, contacts that close once.

    Source: derived here: first maximum of the step response of the series circuit. See R. W. Erickson, D. Maksimovic,
    Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 8.1.
    """
    zeta = r / 2.0 * np.sqrt(c / l)
    return v_source + (v_source - v_start) * np.exp(-np.pi * zeta / np.sqrt(np.maximum(1.0 - zeta**2, 1e-12)))


@relation
def hot_plug_peak_time(r: Ohms, l: Henries, c: Farads) -> Seconds:
    """Return the time from the contact to the peak voltage of a hot plug.

        zeta = r/2·√(c/l)
        t = π·√(l·c)/√(1 − zeta²)

    r : resistance of cable, contacts and capacitor [Ω]
    l : inductance of the cable [H]
    c : capacitance [F]
    returns the time, nan where the circuit does not ring [s]; all arguments broadcast.

    Holds as `hot_plug_peak` does.

    Source: derived here: half a period of the ringing.
    """
    zeta = r / 2.0 * np.sqrt(c / l)
    return np.pi * np.sqrt(l * c) / np.sqrt(np.where(zeta < 1.0, 1.0 - zeta**2, np.nan))


@relation
def hot_plug_peak_current(v_source: Volts, v_start: Volts, r: Ohms, l: Henries, c: Farads) -> Amps:
    """Return the peak current of a capacitor that is plugged onto a source through a cable.

        zeta = r/2·√(c/l)
        i = (v_source − v_start)·√(c/l)·exp(−zeta·arccos(zeta)/√(1 − zeta²))

    v_source : voltage of the stiff source [V]
    v_start  : voltage that the capacitor has before [V]
    r        : resistance of cable, contacts and capacitor [Ω]
    l        : inductance of the cable [H]
    c        : capacitance [F]
    returns the peak current, nan where the circuit does not ring [A]; all arguments broadcast.

    Holds as `hot_plug_peak` does, for a damping ratio below 1.

    Source: derived here: first maximum of the current of the series circuit, at the phase arccos(zeta).
    """
    zeta = r / 2.0 * np.sqrt(c / l)
    ringing = np.where(zeta < 1.0, zeta, np.nan)
    return (v_source - v_start) * np.sqrt(c / l) * np.exp(-zeta * np.arccos(ringing) / np.sqrt(1.0 - ringing**2))


@relation
def inrush_current(c: Farads, slew: VoltsPerSecond) -> Amps:
    """Return the current that charges a capacitor along a ramp.

        i = c·slew

    c    : capacitance [F]
    slew : slope of the voltage [V/s]
    returns the current [A]; all arguments broadcast.

    Holds while the ramp lasts; a load that runs meanwhile comes on top.

    Source: definition of capacitance (IEC 60050-131).
    """
    return c * slew


@relation
def rc_voltage(v_start: Volts, v_end: Volts, t: Seconds, tau: Seconds) -> Volts:
    """Return the voltage of a capacitor on its way to a new one through a resistance.

        v = v_end + (v_start − v_end)·exp(−t/tau)

    v_start : voltage at the beginning [V]
    v_end   : voltage at the other end of the resistance [V]
    t       : time since the beginning [s]
    tau     : resistance times capacitance [s]
    returns the voltage [V]; all arguments broadcast.

    Holds for a capacitance that does not change and no load beside it.

    Source: derived here: solution of tau·dv/dt = v_end − v.
    """
    return v_end + (v_start - v_end) * np.exp(-t / tau)


@relation
def charging_energy(c: Farads, v: Volts) -> Joules:
    """Return the energy of a charged capacitor, which is also what the switch that charged it turns into heat.

        e = c·v²/2

    c : capacitance [F]
    v : voltage charged to, from zero, out of a stiff source of that voltage [V]
    returns the energy [J]; all arguments broadcast.

    Holds for any ramp and any resistance, as long as no load runs meanwhile.

    Source: derived here: the source gives c·v² and the capacitor keeps half.
    """
    return c * v**2 / 2.0


@relation
def inductor_energy(l: Henries, i: Amps) -> Joules:
    """Return the energy of an inductance that carries a current.

        e = l·i²/2

    l : inductance [H]
    i : current [A]
    returns the energy [J]; all arguments broadcast.

    Holds for an inductance that does not change with current.

    Source: definition of inductance (IEC 60050-131), integrated.
    """
    return l * i**2 / 2.0


@relation
def unplug_voltage(v_start: Volts, l: Henries, i: Amps, c: Farads) -> Volts:
    """Return the voltage to which a cable's current lifts the capacitor it flows into.

        v = √(v_start² + l·i²/c)

    v_start : voltage of the capacitor before [V]
    l       : inductance [H]
    i       : current when the other path opens [A]
    c       : capacitance [F]
    returns the peak voltage [V]; all arguments broadcast.

    Holds without loss and without another path, and if the source's end stays closed through a diode: the worst case.

    Source: derived here: the energy l·i²/2 moves into the capacitor.
    """
    return np.sqrt(v_start**2 + l * i**2 / c)


@relation
def hold_up_time(c: Farads, v_start: Volts, v_end: Volts, p: Watts) -> Seconds:
    """Return how long a capacitor alone carries a load of constant power.

        t = c·(v_start² − v_end²)/(2·p)

    c       : capacitance at these voltages [F]
    v_start : voltage when the source goes [V]
    v_end   : least voltage at which the load still runs [V]
    p       : power of the load [W]
    returns the time [s]; all arguments broadcast.

    Holds for a capacitance that does not change, losses and series resistance ignored.

    Source: derived here: the difference of the energies c·v²/2 over the power.
    """
    return c * (v_start**2 - v_end**2) / (2.0 * p)
