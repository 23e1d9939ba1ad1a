"""The source changes its contract while the pack charges: its voltage slews up, and later back."""

from dataclasses import replace

import numpy as np

from chargewright.base.errors import NoSolution
from chargewright.circuit.circuit import Gate
from chargewright.circuit.elements import Wave
from chargewright.parts.supply import Supply
from chargewright.parts.usb_pd.limits import SLEW_MAX
from chargewright.studies.operate import source_limit
from chargewright.studies.transients.phases import Phase, Trigger
from chargewright.studies.transients.product import (
    FOUR,
    Change,
    Product,
    Standing,
    charge_at_rest,
    charging,
    fresh_amplifiers,
    put_into_time,
    starts_of,
    words_of,
)
from chargewright.studies.transients.record import Script, Transient

_OVERLAP = 0.1
"""Share of the ramp in which both legs run, so that no gap is left between them [1] (common practice: a tenth)."""
_WORTH = 0.3
"""Least share of the charge current that the lower contract has to carry for its change to be told [1] (our choice)."""
_WAIT = 0.1e-3
_BELOW = 0.9
"""Duty from which the stage starts again, over the one at which its coil would rest [1] (common practice)."""
_STEPS = 8
"""Stretches of a slope: the modulator's ramp follows the input voltage, in each to first order."""
_FEW = 3
"""The same where the slope ends at the pack's voltage, so that the input moves less."""


def _script(product: Product) -> Script:
    chosen = product.strongest
    offered = [s for s in product.case.sources[chosen.name] if s.adjustable is None]
    lower = sorted((s for s in offered if s.v_set.typ < 0.99 * chosen.v_set.typ), key=lambda s: s.v_set.typ)
    if not lower:
        return Script(why_not="the source has no second contract below the one that the path asks for")
    if not product.path.narrow and lower[-1].v_set.low <= product.case.v_full:
        return _over_the_pack(product, lower[0], chosen)
    for supply in lower:
        found = _pair(product, supply, chosen)
        if found is not None:
            return _slopes(product, found, supply, chosen)
    return Script(
        why_not="from no lower contract can the stage charge, so the contract is changed before the charge begins"
    )


def _pair(product: Product, low: Supply, high: Supply) -> tuple[Standing, tuple[str, ...]] | None:
    """Return the path on the lower contract; None where it cannot charge from it as it does from the higher one."""
    soc, p_load = product.settings.soc, product.p_calm
    try:
        below, loops = charging(product, low, soc=soc, p_load=p_load)
        above, _ = charging(product, high, soc=soc, p_load=p_load)
    except NoSolution:
        return None
    if below.duty > 0.98 * _most(product) or charge_at_rest(below) < _WORTH * product.case.i_charge:
        return None
    # A half full pack is far from its full voltage: that loop cannot rule, and without it there are fewer modes.
    loops = tuple(key for key in loops if key != "charge-voltage")
    if (below.main, _others(below)) == (above.main, _others(above)):
        return below, loops
    if any(_both_switch(at) for at in (below, above)):
        return None
    # The stage changes its region on the way: one control voltage moves both legs.
    return replace(below, overlap=_OVERLAP), loops


def _both_switch(at: Standing) -> bool:
    """Return whether the other leg switches as well, as near unity gain, so that one duty does not tell the point."""
    return any(g.switch in FOUR and (g.off - g.on) % 1.0 != 0.0 for g in _others(at))


def _others(at: Standing) -> tuple[Gate, ...]:
    return tuple(g for g in at.circuit.gates if g.switch not in (at.main, at.sync))


def _most(product: Product) -> float:
    return product.case.design.rules.duty_max


def _slopes(product: Product, found: tuple[Standing, tuple[str, ...]], low: Supply, high: Supply) -> Script:
    at, loops = found
    slew = min(low.slew, high.slew, SLEW_MAX)
    v_0, v_1 = low.v_set.typ, high.v_set.typ
    rise, rest = (v_1 - v_0) / slew, max(0.6e-3, 10.0 * product.t_loop)
    down = rise + rest
    wave = Wave(points=((0.0, v_0), (rise, v_1), (down, v_1), (down + rise, v_0)))
    limit = min(source_limit(product.case, s) for s in (low, high))

    def circuit(v: float, source: Wave) -> Phase:
        here = replace(at, v_input=at.v_input + v - v_0)
        change = Change(source=source, references={"source-current": limit}, follows=_control(here))
        return Phase(words="", circuit=put_into_time(here, loops, change), duration=rise / _STEPS)

    middles = v_0 + (np.arange(_STEPS) + 0.5) / _STEPS * (v_1 - v_0)
    up = [circuit(float(v), wave) for v in middles]
    fall = [circuit(float(v), wave) for v in middles[::-1]]
    up[0] = replace(up[0], words=f"contract goes to {v_1:g} V")
    fall[0] = replace(fall[0], words=f"and back to {v_0:g} V")
    still = Wave(points=((0.0, v_0), (1e-9, v_0)))
    return Script(
        phases=(
            replace(circuit(v_0, still), duration=rest),
            *up,
            replace(circuit(v_1, wave), duration=0.0, upto=down),
            *fall,
            replace(circuit(v_0, wave), duration=rest),
        ),
        supply=low,
        settles="i_pack",
        settles_from=down,
        band=0.03 * product.case.i_charge,
        charge_target=product.case.i_charge,
        setting=f"{words_of(at, product.settings.soc, product.p_calm)}, to {high.contract}",
        assumptions=(
            "The source slews as fast as its standard allows and the charge goes on meanwhile, held to the lower of "
            "the two contracts' currents: a product may have to pause it.",
        ),
    )


def _over_the_pack(product: Product, low: Supply, high: Supply) -> Script:
    """Return a bus that follows the source below the pack: the charge loses its head-room, and the pack carries."""
    case, settings, soc, p_load = product.case, product.settings, product.settings.soc, product.p_calm
    at, usual = charging(product, high, soc=soc, p_load=p_load)
    loops = tuple(key for key in usual if key != "charge-voltage")
    slew = min(low.slew, high.slew, SLEW_MAX)
    v_1, v_0 = high.v_set.typ, low.v_set.typ
    fall, rest = (v_1 - v_0) / slew, max(0.6e-3, 10.0 * product.t_loop)
    back = fall + rest
    wave = Wave(points=((0.0, v_1), (fall, v_0), (back, v_0), (back + fall, v_1)))
    meets = (v_1 - at.v_cells) / slew

    def slope(v: float) -> Phase:
        here = replace(at, v_input=at.v_input + v - v_1)
        change = Change(source=wave, follows=_control(here))
        return Phase(words="", circuit=put_into_time(here, loops, change), duration=meets / _FEW)

    down = [slope(float(v)) for v in v_1 - (np.arange(_FEW) + 0.5) / _FEW * (v_1 - at.v_cells)]
    down[0] = replace(down[0], words=f"contract goes to {v_0:g} V")
    met = Trigger(of="v_bus", level=at.v_cells, rising=False, delay=settings.t_switch)
    down[-1] = replace(down[-1], duration=fall, until=met)
    carried = Change(source=wave, stage=False, switch_closed=True)
    turned = Trigger(of="i_pack", level=0.0, rising=True, delay=settings.t_switch)
    ends = back + fall + _WAIT
    soft = Wave(points=((ends, 0.0), (ends + settings.t_soft, case.i_charge)))
    start = Change(references={"charge-current": soft})
    return Script(
        phases=(
            Phase(words="", circuit=put_into_time(at, loops), duration=rest),
            *down,
            Phase(words="battery switch closes", circuit=put_into_time(at, loops, carried), duration=0.0, upto=back),
            Phase(words=f"and back to {v_1:g} V", circuit=put_into_time(at, loops, carried), duration=fall + _WAIT,
                  until=turned),
            Phase(words="battery switch opens", circuit=put_into_time(at, loops, Change(source=wave, stage=False)),
                  duration=0.0, upto=ends),
            Phase(words="charge begins", circuit=put_into_time(at, loops, start), duration=settings.t_soft + rest,
                  preset=fresh_amplifiers(at, loops, _BELOW * at.duty)),
        ),
        supply=high,
        settles="v_bus",
        settles_from=ends + settings.t_soft,
        band=0.02 * at.v_bus,
        charge_target=case.i_charge,
        setting=f"{words_of(at, soc, p_load)}, to {low.contract}",
        assumptions=(
            "Below the pack's voltage the bus has no source: the charge ends for want of head-room and the pack "
            "carries the load until the higher contract is back.",
        ),
    )  # fmt: skip


def _control(at: Standing) -> float:
    """Return the control voltage over the ramp at a standing point's input, losses left out [1]."""
    v_out = starts_of(at.circuit)["c_out"]
    if at.main == "b_low" and (at.overlap is None or at.v_input < v_out):
        return at.rest_of_ramp / at.ramp + max(1.0 - at.v_input / v_out, 0.0)
    return min(v_out / at.v_input, 1.0)


TRANSIENT = Transient(
    key="contract",
    title="The source changes its contract",
    what=(
        "The source's voltage slews to another contract and back while the pack charges: the modulator has to follow, "
        "and the capacitors at the input take and give their charge through the cable. Where the source falls below "
        "the pack and lies on the bus, the pack has to take over and give back."
    ),
    cure="pause the charge while the voltage moves, or less capacitance behind the blocking pair",
    drawn=("v_input", "i_source", "i_pack"),
    script=_script,
)
