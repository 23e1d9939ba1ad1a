"""The source comes while the pack carries the product."""

from chargewright.circuit.elements import Wave
from chargewright.studies.transients.phases import Phase, Trigger
from chargewright.studies.transients.product import (
    Change,
    Product,
    charging,
    fresh_amplifiers,
    on_pack,
    put_into_time,
    words_of,
)
from chargewright.studies.transients.record import Script, Transient

_WAIT = 0.1e-3
_BELOW = 0.9
"""Duty from which the stage starts, over the one at which its coil would rest [1] (common practice)."""


def _script(product: Product) -> Script:
    case, settings = product.case, product.settings
    at, loops = charging(product, product.strongest, soc=settings.soc, p_load=case.p_busy)
    before = on_pack(at, case.p_busy)
    v_0 = before.state["c_in"]
    v_set = at.supply.v_set.typ
    t_on = settings.t_pair + _WAIT
    t = max(0.4e-3, 6.0 * product.t_loop)
    rise = Wave(points=((0.0, v_0), (settings.t_pair, v_set)))
    joined = Change(source_gone=True, stage=False, switch_closed=True)
    ramp = Change(source=rise, stage=False, switch_closed=True)
    first = -before.i if product.path.narrow else 0.0
    soft = Wave(points=((t_on, first), (t_on + settings.t_soft, case.i_charge)))
    start = Change(references={"charge-current": soft})
    fresh = fresh_amplifiers(at, loops, _BELOW * at.duty)
    phases = [
        Phase(words="", circuit=put_into_time(at, loops, joined), duration=0.1e-3, preset=before.state),
    ]
    if product.path.narrow:
        phases += [Phase(words="source comes", circuit=put_into_time(at, loops, ramp), duration=t_on)]
    else:
        turned = Trigger(of="i_pack", level=0.0, rising=True, delay=settings.t_switch)
        apart = Change(source=rise, stage=False)
        phases += [
            Phase(words="source comes", circuit=put_into_time(at, loops, ramp), duration=t_on, until=turned),
            Phase(words="battery switch opens", circuit=put_into_time(at, loops, apart), duration=0.0, upto=t_on),
        ]
    phases.append(
        Phase(
            words="charge begins", circuit=put_into_time(at, loops, start), duration=settings.t_soft + t, preset=fresh
        )
    )
    return Script(
        phases=tuple(phases),
        settles="v_bus",
        settles_from=t_on + settings.t_soft,
        band=0.02 * at.v_bus,
        charge_target=case.i_charge,
        supply=at.supply,
        setting=words_of(at, settings.soc, case.p_busy),
        assumptions=(
            f"The blocking pair lets the source rise within {settings.t_pair * 1e3:g} ms, then the charge current is "
            f"brought up within {settings.t_soft * 1e3:g} ms. A bare plug without that slope is a matter of its own.",
        ),
    )


TRANSIENT = Transient(
    key="plug-in",
    title="The source comes while the pack carries the product",
    what=(
        "The pack alone carries the product. The source comes, the bus goes over to it, and the charge begins: neither "
        "inrush nor the change of hands may shake the bus."
    ),
    cure="a slower slope of the blocking pair or of the charge current",
    drawn=("v_bus", "i_source", "i_pack"),
    script=_script,
)
