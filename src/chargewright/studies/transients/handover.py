"""Constant current gives way to constant voltage."""

import numpy as np

from chargewright.circuit.elements import Wave
from chargewright.parts.pack import pack_dc_resistance, pack_ocv
from chargewright.studies.transients.phases import Phase
from chargewright.studies.transients.product import CHARGE_LOOPS, Change, Product, put_into_time, standing, words_of
from chargewright.studies.transients.record import Script, Transient

_SOCS = np.linspace(0.3, 1.0, 141)
_BELOW, _ABOVE = 0.15, 0.25
"""How far the voltage before and after the hand-over stands below and above the full one, over the drop in the pack."""
_RISE = 0.5e-3


def _script(product: Product) -> Script:
    case, supply = product.case, product.strongest
    temp = case.design.ambient.typical
    r = np.asarray(pack_dc_resistance(case.pack, _SOCS, temp, True))
    at_full = np.asarray(pack_ocv(case.pack, _SOCS, temp)) + case.i_charge * r
    if at_full[-1] <= case.v_full:
        return Script(why_not="at its charge current this pack never reaches its full voltage")
    soc = float(np.interp(case.v_full, at_full, _SOCS))
    drop = case.i_charge * float(np.interp(soc, _SOCS, r))
    e = float(pack_ocv(case.pack, soc, temp))
    low, high = e - _BELOW * drop, e + _ABOVE * drop
    at = standing(product, "charging", supply, soc=soc, p_load=product.p_calm, e_cells=low)
    t = max(0.6e-3, 10.0 * product.t_loop)
    rise = Wave(points=((0.0, low), (_RISE, high)))
    return Script(
        phases=(
            Phase(words="", circuit=put_into_time(at, CHARGE_LOOPS), duration=t),
            Phase(
                words="the cells come near their full voltage",
                circuit=put_into_time(at, CHARGE_LOOPS, Change(cells=rise)),
                duration=_RISE + t,
            ),
        ),
        settles="i_pack",
        settles_from=_RISE,
        band=0.02 * case.i_charge,
        charge_target=case.i_charge,
        supply=at.supply,
        setting=words_of(at, soc, product.p_calm),
        assumptions=(
            "The cells' rest voltage, which takes minutes to rise, does so in half a millisecond: harder than any real "
            "hand-over.",
        ),
    )


TRANSIENT = Transient(
    key="handover",
    title="Constant current gives way to constant voltage",
    what=(
        "The pack reaches its full voltage while its full charge current flows: the loop of the charge voltage has to "
        "take over from the loop of the charge current, and must neither overshoot nor hand back and forth."
    ),
    cure="hold the amplifiers that do not rule closer to the one that does, or slow the voltage loop",
    drawn=("i_pack", "v_pack", "i_coil"),
    script=_script,
)
