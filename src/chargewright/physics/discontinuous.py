# ruff: noqa: E741 - l is inductance, as the trade has it
"""Discontinuous conduction: where it begins and the voltage ratios inside it."""

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Duty, Henries, Hertz, Ohms, Ratio


@relation
def conduction_parameter(l: Henries, r_load: Ohms, f_sw: Hertz) -> Ratio:
    """Return the number that decides between continuous and discontinuous conduction.

        k = 2·l·f_sw/r_load

    l      : inductance [H]
    r_load : load as a resistance [Ω]
    f_sw   : switching frequency [Hz]
    returns the number; below the critical one of the topology conduction is discontinuous [1]; all arguments broadcast.

    Holds for one-switch converters with a diode, or with a low side that turns off at zero current.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 5.1 (from
    memory).
    """
    return 2.0 * l * f_sw / r_load


@relation
def buck_critical_parameter(duty: Duty) -> Ratio:
    """Return the conduction parameter at which a buck changes its mode.

        k = 1 − duty

    duty : high-side switch's share of the period [1], 0 … 1
    returns the critical conduction parameter [1].

    Holds with a resistive load. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 5.1 (from
    memory).
    """
    return 1.0 - duty


@relation
def boost_critical_parameter(duty: Duty) -> Ratio:
    """Return the conduction parameter at which a boost changes its mode.

        k = duty·(1 − duty)²

    duty : low-side switch's share of the period [1], 0 … 1
    returns the critical conduction parameter [1].

    Holds with a resistive load. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 5.3 (from
    memory).
    """
    return duty * (1.0 - duty) ** 2


@relation
def buck_boost_critical_parameter(duty: Duty) -> Ratio:
    """Return the conduction parameter at which an inverting buck-boost changes its mode.

        k = (1 − duty)²

    duty : switch's share of the period [1], 0 … 1
    returns the critical conduction parameter [1].

    Holds with a resistive load. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 5, summary
    table (from memory).
    """
    return (1.0 - duty) ** 2


@relation
def buck_dcm_gain(duty: Duty, k: Ratio) -> Ratio:
    """Return output over input voltage of a buck in discontinuous conduction.

        m = 2/(1 + √(1 + 4·k/duty²))

    duty : high-side switch's share of the period [1], 0 … 1
    k    : conduction parameter [1], below `buck_critical_parameter`
    returns the voltage ratio [1]; all arguments broadcast.

    Holds without losses, with a resistive load. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 5.2 (from
    memory).
    """
    return 2.0 / (1.0 + np.sqrt(1.0 + 4.0 * k / duty**2))


@relation
def boost_dcm_gain(duty: Duty, k: Ratio) -> Ratio:
    """Return output over input voltage of a boost in discontinuous conduction.

        m = (1 + √(1 + 4·duty²/k))/2

    duty : low-side switch's share of the period [1], 0 … 1
    k    : conduction parameter [1], below `boost_critical_parameter`
    returns the voltage ratio [1]; all arguments broadcast.

    Holds without losses, with a resistive load. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 5.3 (from
    memory).
    """
    return (1.0 + np.sqrt(1.0 + 4.0 * duty**2 / k)) / 2.0


@relation
def buck_boost_dcm_gain(duty: Duty, k: Ratio) -> Ratio:
    """Return output over input voltage, without sign, of an inverting buck-boost in discontinuous conduction.

        m = duty/√(k)

    duty : switch's share of the period [1], 0 … 1
    k    : conduction parameter [1], below `buck_boost_critical_parameter`
    returns the size of the voltage ratio [1]; all arguments broadcast.

    Holds without losses, with a resistive load. Raises OutOfRange if `duty` leaves 0 … 1.

    Source: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 2nd ed., Kluwer 2001, ch. 5, summary
    table (from memory).
    """
    return duty / np.sqrt(k)
