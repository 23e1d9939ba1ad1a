"""The load asks for more than the source may give, and the pack helps."""

from chargewright.parts.supply import Supply
from chargewright.studies.operate import source_limit
from chargewright.studies.transients.phases import Phase, Trigger
from chargewright.studies.transients.product import (
    Change,
    Product,
    Standing,
    charging,
    fresh_amplifiers,
    put_into_time,
    words_of,
)
from chargewright.studies.transients.record import Script, Transient


def _script(product: Product) -> Script:
    case = product.case
    if product.path.state("supplement") is None:
        return Script(why_not="on this path the pack cannot help a source that is at its limit")
    for supply in (product.weakest, product.strongest):
        at, loops = charging(product, supply, soc=product.settings.soc, p_load=product.p_calm)
        if product.p_bus(case.p_peak, at.v_bus) > source_limit(case, supply) * at.v_input:
            return _steps(product, supply, at, loops)
    return Script(why_not="every source carries the largest load alone, so the pack never has to help")


def _steps(product: Product, supply: Supply, at: Standing, loops: tuple[str, ...]) -> Script:
    case, settings, wide = product.case, product.settings, not product.path.narrow
    t = max(1.5e-3, 20.0 * product.t_loop)
    calm = put_into_time(at, loops)
    peak = put_into_time(at, loops, Change(p_load=case.p_peak))
    limit = source_limit(case, supply)
    phases = [Phase(words="", circuit=calm, duration=t)]
    if wide:
        # Until the controller lets the stage run backwards the source alone carries the peak.
        noticed = Trigger(of="i_source", level=limit, rising=True, delay=settings.t_turn)
        helps = put_into_time(at, loops, Change(p_load=case.p_peak, emulate=False))
        released = put_into_time(at, loops, Change(emulate=False))
        turn = at.v_cells / at.v_bus
        turned = fresh_amplifiers(at, loops, turn)
        # A stage that still lifts when the peak is over drives the bus up, since no source takes anything back.
        too_high = Trigger(of="v_bus", level=OVER * supply.v_max_normal, rising=True, delay=settings.t_switch)
        phases += [
            Phase(words="load peak", circuit=peak, duration=t, until=noticed),
            Phase(words="stage turns its direction", circuit=helps, duration=t, preset=turned),
            Phase(words="peak over", circuit=released, duration=t, until=too_high),
            Phase(words="", circuit=calm, duration=0.5 * t, preset=fresh_amplifiers(at, loops, 0.9 * turn)),
        ]
    else:
        phases += [
            Phase(words="load peak", circuit=peak, duration=t),
            Phase(words="peak over", circuit=calm, duration=t),
        ]
    return Script(
        phases=tuple(phases),
        settles="i_pack",
        band=0.03 * max(case.i_charge, case.p_peak / at.v_cells),
        charge_target=case.i_charge,
        supply=at.supply,
        setting=words_of(at, settings.soc, product.p_calm, case.p_peak),
        assumptions=_SOURCE_HOLDS if not wide else (*_SOURCE_HOLDS, _TURN.format(settings.t_turn * 1e6)),
    )


OVER = 1.02
"""Bus over the highest normal source at which the stage is told to turn back [1]."""
_SOURCE_HOLDS = ("The source keeps its voltage while it is above its limit: what its protection does then is not run.",)
_TURN = (
    "The stage may run backwards {:.0f} µs after the source passed its limit, and starts with the duty at which its "
    "coil rests. After the peak it goes on until the bus is 2 % above the highest normal source, and turns back 20 µs "
    "later."
)

TRANSIENT = Transient(
    key="supplement",
    title="The pack begins to help the source, and ends",
    what=(
        "A load peak asks for more than the source may give: the charge ends, the pack takes over what the source must "
        "not give, and when the peak is over the charge comes back."
    ),
    cure="a quicker turn of the stage, more capacitance on the bus, or a source with more in hand",
    drawn=("i_source", "i_pack", "v_bus"),
    script=_script,
)
