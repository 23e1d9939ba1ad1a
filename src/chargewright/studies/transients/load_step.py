"""The load steps up and is released while the pack rests."""

from chargewright.parts.supply import Supply
from chargewright.studies.operate import source_limit
from chargewright.studies.transients.phases import Phase
from chargewright.studies.transients.product import (
    HOLD_LOOPS,
    Change,
    Product,
    Standing,
    charging,
    put_into_time,
    standing,
    words_of,
)
from chargewright.studies.transients.record import Script, Transient

_FULL = 1.0


def _at_rest(product: Product, supply: Supply) -> tuple[Standing, tuple[str, ...]]:
    if not product.path.narrow:
        return charging(product, supply, soc=_FULL, p_load=product.p_calm)
    return standing(product, "source-only", supply, soc=_FULL, p_load=product.p_calm), HOLD_LOOPS


def _script(product: Product) -> Script:
    case = product.case
    for supply in (product.weakest, product.strongest):
        at, loops = _at_rest(product, supply)
        able = 0.95 * source_limit(case, supply) * at.v_input
        loads = [p for p in (case.p_peak, case.p_busy) if product.p_calm < p and product.p_bus(p, at.v_bus) < able]
        if loads:
            break
    else:
        return Script(why_not="no source carries the larger load alone; see how the pack helps it")
    t = max(0.4e-3, 6.0 * product.t_loop)
    rests = not product.path.narrow
    calm = put_into_time(at, loops, Change(p_load=product.p_calm, stage=not rests))
    busy = put_into_time(at, loops, Change(p_load=loads[0], stage=not rests))
    # On a path whose source lies on the bus the stage stands still with a full pack.
    still = {"coil": 0.0, "l_lead": 0.0, "c_pair1": 0.0, "c_out": at.v_cells} if rests else {}
    return Script(
        phases=(
            Phase(words="", circuit=calm, duration=t, preset=still),
            Phase(words="load steps up", circuit=busy, duration=t),
            Phase(words="load released", circuit=calm, duration=t),
        ),
        settles="v_bus",
        band=0.01 * at.v_bus,
        supply=at.supply,
        setting=words_of(at, _FULL, product.p_calm, loads[0]),
    )


TRANSIENT = Transient(
    key="load-step",
    title="A load step on the bus while the pack rests",
    what=(
        "The pack is full and rests. The load steps from its calmest to its largest and back: capacitors and cable, or "
        "the loop of the bus voltage, have to hold the bus."
    ),
    cure="more capacitance on the bus, a shorter cable, or a faster loop of the bus voltage",
    drawn=("v_bus", "i_source", "i_load"),
    script=_script,
)
