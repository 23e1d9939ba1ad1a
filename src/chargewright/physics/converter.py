"""Converters in steady state: conversion ratios, ideal and with series resistance."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Amps, Duty, Ohms, Ratio, Volts


@relation
def buck_duty(v_in: Volts, v_out: Volts) -> Ratio:
    """Return the duty of an ideal buck in continuous conduction.

        duty = v_out/v_in

    v_in  : input voltage [V]
    v_out : output voltage [V]
    returns the high-side switch's share of the period [1]; all arguments broadcast.

    Holds without losses and dead times. Above 1 the buck cannot reach the output.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 2.2 (from
    memory).
    """
    return v_out / v_in


@relation
def boost_duty(v_in: Volts, v_out: Volts) -> Ratio:
    """Return the duty of an ideal boost in continuous conduction.

        duty = 1 − v_in/v_out

    v_in  : input voltage [V]
    v_out : output voltage [V]
    returns the low-side switch's share of the period [1]; all arguments broadcast.

    Holds without losses and dead times. Below 0 the boost cannot hold the output down.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 2.3 (from
    memory).
    """
    return 1.0 - v_in / v_out


@relation
def buck_boost_voltage(v_in: Volts, duty: Duty) -> Volts:
    """Return the output voltage of an ideal inverting buck-boost in continuous conduction.

        v_out = −v_in·duty/(1 − duty)

    v_in : input voltage [V]
    duty : switch's share of the period [1], 0 … 1
    returns the output voltage, negative [V]; all arguments broadcast.

    Holds without losses. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 2, table of
    ideal conversion ratios; used in ch. 8.2.1 (from memory).
    """
    return -v_in * duty / (1.0 - duty)


@relation
def four_switch_ratio(duty_buck: Duty, duty_boost: Duty) -> Ratio:
    """Return output over input voltage of a four-switch stage with both legs switching.

        m = duty_buck/(1 − duty_boost)

    duty_buck  : share of the period with the input leg's high side on [1], 0 … 1
    duty_boost : share of the period with the output leg's low side on [1], 0 … 1
    returns the voltage ratio [1]; all arguments broadcast.

    Holds in continuous conduction without losses, whatever the phase between the legs. Raises OutOfRange if a duty
    leaves 0 … 1.

    Source: derived here: the inductor's mean voltage, duty_buck·Vin − (1 − duty_boost)·Vout, is zero.
    """
    return duty_buck / (1.0 - duty_boost)


@relation
def boost_gain_with_winding(duty: Duty, r_winding: Ohms, r_load: Ohms) -> Ratio:
    """Return output over input voltage of a boost whose inductor has resistance.

        m = (1/(1 − duty))/(1 + r_winding/((1 − duty)²·r_load))

    duty      : low-side switch's share of the period [1], 0 … 1
    r_winding : resistance in series with the inductor [Ω]
    r_load    : load as a resistance [Ω]
    returns the voltage ratio [1]; all arguments broadcast.

    Holds in continuous conduction, ripple ignored. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 3.3 (from
    memory).
    """
    return (1.0 / (1.0 - duty)) / (1.0 + r_winding / ((1.0 - duty) ** 2 * r_load))


@relation
def boost_efficiency_with_winding(duty: Duty, r_winding: Ohms, r_load: Ohms) -> Ratio:
    """Return the efficiency of a boost whose only loss is its inductor's resistance.

        eta = 1/(1 + r_winding/((1 − duty)²·r_load))

    duty      : low-side switch's share of the period [1], 0 … 1
    r_winding : resistance in series with the inductor [Ω]
    r_load    : load as a resistance [Ω]
    returns output over input power [1]; all arguments broadcast.

    Holds in continuous conduction, ripple ignored. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 3.3 (from
    memory).
    """
    return 1.0 / (1.0 + r_winding / ((1.0 - duty) ** 2 * r_load))


@relation
def greatest_boost_gain(r_winding: Ohms, r_load: Ohms) -> Ratio:
    """Return the greatest voltage ratio that a boost with a resistive inductor can reach.

        m = √(r_load/r_winding)/2

    r_winding : resistance in series with the inductor [Ω]
    r_load    : load as a resistance [Ω]
    returns the voltage ratio at the duty of `duty_of_greatest_boost_gain` [1]; all arguments broadcast.

    Holds in continuous conduction, ripple ignored; the efficiency there is one half.

    Source: derived here: maximum over duty of the gain in R. W. Erickson, D. Maksimovic, Fundamentals of Power
    Electronics, 2nd ed., Kluwer 2001, ch. 3.3.
    """
    return np.sqrt(r_load / r_winding) / 2.0


@relation
def duty_of_greatest_boost_gain(r_winding: Ohms, r_load: Ohms) -> Ratio:
    """Return the duty beyond which a boost with a resistive inductor gives less, not more.

        duty = 1 − √(r_winding/r_load)

    r_winding : resistance in series with the inductor [Ω]
    r_load    : load as a resistance [Ω]
    returns the duty [1]; all arguments broadcast.

    Holds in continuous conduction, ripple ignored.

    Source: derived here: maximum over duty of the gain in R. W. Erickson, D. Maksimovic, Fundamentals of Power
    Electronics, 2nd ed., Kluwer 2001, ch. 3.3.
    """
    return 1.0 - np.sqrt(r_winding / r_load)


@relation
def series_resistance_efficiency(r_load: Ohms, r_series: Ohms) -> Ratio:
    """Return the efficiency of a buck whose only loss is a resistance in series with its output.

        eta = r_load/(r_load + r_series)

    r_load   : load as a resistance [Ω]
    r_series : resistance of inductor and path [Ω]
    returns output over input power [1]; all arguments broadcast.

    Holds with the ripple ignored, at any duty.

    Source: derived here: both resistances carry the output current. See R. W. Erickson, D. Maksimovic, Fundamentals
    of Power Electronics, 2nd ed., Kluwer 2001, ch. 3.
    """
    return r_load / (r_load + r_series)


@relation
def least_buck_source(v_pack: Volts, i: Amps, r: Ohms, duty_max: Duty) -> Volts:
    """Return the least voltage at a buck's input with which it still charges a pack.

        v_in = (v_pack + i·r)/duty_max

    v_pack   : pack voltage to reach [V]
    i        : charge current at that voltage [A]
    r        : resistance from the converter's input to the pack, switches and inductor included [Ω]
    duty_max : greatest duty of the converter [1], 0 … 1
    returns the input voltage [V]; all arguments broadcast.

    Holds in continuous conduction. Raises OutOfRange if `duty_max` leaves 0 … 1.

    Source: derived here: the ideal conversion ratio of R. W. Erickson, D. Maksimovic, Fundamentals of Power
    Electronics, 2nd ed., Kluwer 2001, ch. 2.2 with the drops added to the output.
    """
    return (v_pack + i * r) / duty_max
