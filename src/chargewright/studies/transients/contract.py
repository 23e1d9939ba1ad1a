"""The source changes its contract while the pack charges: its voltage slews up, and later back."""

from dataclasses import replace

import numpy as np

from chargewright.base.errors import NoSolution
from chargewright.circuit.circuit import Gate
from chargewright.circuit.elements import Wave
from chargewright.parts.supply import Supply
from chargewright.parts.usb_pd.limits import SLEW_MAX
from chargewright.studies.operate import source_limit
from chargewright.studies.transients.phases import Phase
from chargewright.studies.transients.product import Change, Product, Standing, charging, put_into_time, words_of
from chargewright.studies.transients.record import Script, Transient

_STEPS = 8
"""Stretches of a slope, each with a ramp of its own: the modulator's ramp follows the input voltage."""


def _script(product: Product) -> Script:
    chosen = product.strongest
    offered = [s for s in product.case.sources[chosen.name] if s.adjustable is None]
    lower = sorted((s for s in offered if s.v_set.typ < 0.99 * chosen.v_set.typ), key=lambda s: s.v_set.typ)
    if not lower:
        return Script(why_not="the source has no second contract below the one that the path asks for")
    for supply in lower:
        found = _pair(product, supply, chosen)
        if found is not None:
            return _slopes(product, found, supply, chosen)
    return Script(
        why_not="from no lower contract can the stage charge with the same leg regulating, so the contract is changed "
        "before the charge begins"
    )


def _pair(product: Product, low: Supply, high: Supply) -> tuple[Standing, tuple[str, ...]] | None:
    """Return the path on the lower contract; None where it cannot charge from it as it does from the higher one."""
    soc, p_load = product.settings.soc, product.p_calm
    if not product.path.narrow and low.v_set.low <= product.case.v_full:
        return None
    try:
        below, loops = charging(product, low, soc=soc, p_load=p_load)
        above, _ = charging(product, high, soc=soc, p_load=p_load)
    except NoSolution:
        return None
    if (below.main, _others(below)) != (above.main, _others(above)) or below.duty > 0.98 * _most(product):
        return None
    return below, loops


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
        change = Change(source=source, references={"source-current": limit})
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


TRANSIENT = Transient(
    key="contract",
    title="The source changes its contract",
    what=(
        "The source's voltage slews to a higher contract and back while the pack charges: the modulator has to follow, "
        "and the capacitors at the input take and give their charge through the cable."
    ),
    cure="pause the charge while the voltage moves, or less capacitance behind the blocking pair",
    drawn=("v_input", "i_source", "i_pack"),
    script=_script,
)
