"""Relations between what a code says and what flows, and from the pack's voltage to its highest cell."""

from typing import Annotated, Any

from chargewright.base.relation import relation
from chargewright.base.units import Amps, Ratio, Volts

_Sense = Annotated[Any, "ohm", (1e-6, 10.0)]
_Series = Annotated[Any, "1", (1.0, 64.0)]


@relation
def flowing_current(i_coded: Amps, r_configured: _Sense, r_fitted: _Sense) -> Amps:
    """Return the current that flows when another sense resistor is fitted than the code expects.

    The controller regulates the voltage at the resistor, so the current goes as its inverse:

        i = i_coded·r_configured/r_fitted

    i_coded      : what the code means with the configured resistor [A]
    r_configured : resistor for which the controller's step is given [Ω]
    r_fitted     : resistor on the board [Ω]
    returns the current that flows [A].

    Holds for an ideal amplifier; errors are in `sensed_current`.

    Source: Ohm's law at one sense voltage; derived here.
    """
    return i_coded * r_configured / r_fitted


@relation
def sensed_current(i_coded: Amps, i_scale_error: Amps, r_configured: _Sense, v_offset: Volts, r_fitted: _Sense) -> Amps:
    """Return the current that flows when amplifier and resistor have errors.

    The loop holds r_fitted·i − v_offset at the voltage that the code, with its scale error, stands for:

        i = ((i_coded + i_scale_error)·r_configured + v_offset)/r_fitted

    i_coded       : what the code means with the configured resistor [A]
    i_scale_error : gain error times the value or the full scale that it is stated for [A]
    r_configured  : resistor for which the controller's step is given [Ω]
    v_offset      : offset of the amplifier, positive where it lets more current flow [V]
    r_fitted      : resistor on the board as it really is [Ω]
    returns the current that flows [A].

    Holds while the loop regulates and the errors are constant.

    Source: Ohm's law at the sense resistor; derived here.
    """
    return ((i_coded + i_scale_error) * r_configured + v_offset) / r_fitted


@relation
def step_share(bits: Ratio) -> Ratio:
    """Return the least step of a setting that is resolved to a number of bits, as a share of its full scale.

        q = 1/2^bits

    bits : bits of resolution [1]
    returns step over full scale [1].

    Holds for equal steps from zero to full scale.

    Source: Smart Battery Charger Specification, revision 1.1, SBS Implementers Forum 1998, section 5, p. 9.
    """
    return 1.0 / 2.0**bits


@relation
def highest_cell_voltage(v_set: Volts, v_lead: Volts, series: _Series, v_spread: Volts) -> Volts:
    """Return the voltage of the highest cell of a series string.

        v = (v_set − v_lead)/series + v_spread

    v_set    : voltage that the charger holds where it senses [V]
    v_lead   : drop between there and the cells, zero when sensed at the cells [V]
    series   : cells in series [1]
    v_spread : how far the highest cell lies above the mean of all [V]
    returns the voltage of the highest cell [V].

    Holds for cells in series without balancing currents that move the spread.

    Source: Kirchhoff's voltage law; derived here.
    """
    return (v_set - v_lead) / series + v_spread
