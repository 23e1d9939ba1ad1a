"""The load steps up until the source is at its limit, and the charge has to make room."""

from chargewright.parts.supply import Supply
from chargewright.studies.operate import source_limit
from chargewright.studies.transients.phases import Phase
from chargewright.studies.transients.product import (
    Change,
    Product,
    Standing,
    charging,
    put_into_time,
    words_of,
)
from chargewright.studies.transients.record import Script, Transient

_STAGE_GUESS = 0.94


def _script(product: Product) -> Script:
    for supply in (product.strongest, product.weakest):
        at, loops = charging(product, supply, soc=product.settings.soc, p_load=product.p_calm)
        p_high = _load(product, supply, at)
        if p_high is not None:
            return _steps(product, at, loops, p_high)
    return Script(why_not="every source carries the full charge and the largest load at once, so its limit never acts")


def _load(product: Product, supply: Supply, at: Standing) -> float | None:
    """Return a load that takes about half of the charge's share [W]; None where the source is never at its limit."""
    case = product.case
    able = source_limit(case, supply) * at.v_input * (_STAGE_GUESS if product.path.narrow else 1.0)
    charge = case.i_charge * float(at.v_cells) / (1.0 if product.path.narrow else _STAGE_GUESS)
    most = max(case.p_busy, case.p_peak)
    found = min(max(able - 0.5 * charge, 0.5 * (able + product.p_calm)), most)
    return found if found > max(able - charge, product.p_calm) else None


def _steps(product: Product, at: Standing, loops: tuple[str, ...], p_high: float) -> Script:
    p_low, t = product.p_calm, max(0.4e-3, 6.0 * product.t_loop)
    calm = put_into_time(at, loops)
    busy = put_into_time(at, loops, Change(p_load=p_high))
    return Script(
        phases=(
            Phase(words="", circuit=calm, duration=t),
            Phase(words="load steps up", circuit=busy, duration=t),
            Phase(words="load released", circuit=calm, duration=t),
        ),
        settles="i_pack",
        band=0.03 * product.case.i_charge,
        charge_target=product.case.i_charge,
        supply=at.supply,
        setting=words_of(at, product.settings.soc, p_low, p_high),
    )


TRANSIENT = Transient(
    key="source-limit",
    title="The source reaches its limit and the charge makes room",
    what=(
        "The load steps up while the pack charges: the loop of the source current has to cut the charge back before "
        "the source acts by itself, and give it back, without overshoot, when the load is released."
    ),
    cure="a faster loop of the source current, a lower limit, or more capacitance on the source side",
    drawn=("i_source", "i_pack", "v_bus"),
    script=_script,
)
