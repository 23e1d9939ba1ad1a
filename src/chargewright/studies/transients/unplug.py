"""The plug is pulled while the pack charges."""

from chargewright.parts.rail_inputs import rail_inputs
from chargewright.studies.needs import lowest_input
from chargewright.studies.transients.phases import Phase, Trigger
from chargewright.studies.transients.product import HELD_UP, Change, Product, charging, put_into_time, words_of
from chargewright.studies.transients.record import Script, Transient


def _script(product: Product) -> Script:
    case, settings, soc = product.case, product.settings, product.settings.soc_low
    at, usual = charging(product, product.strongest, soc=soc, p_load=case.p_busy)
    # A nearly empty pack is far from its full voltage, and a source that is gone from its limit: what cannot rule is
    # left out, which halves the work.
    loops = (usual[0], *(k for k in ("charge-current", "source-voltage") if k != usual[0]))
    t = max(0.2e-3, 3.0 * product.t_loop)
    bank = product.build.bank_a
    # All that the capacitors hold without bias, and the delays: by then the source has been missed.
    c = bank.count * bank.part.c_0 + (0.0 if product.path.narrow else rail_inputs(product.plan.rails).c)
    held = 0.5 * c * at.v_input**2 / product.p_bus(case.p_busy, at.v_bus)
    most = held + settings.t_turn + settings.t_switch
    gone = put_into_time(at, loops, Change(source_gone=True))
    alone = put_into_time(at, loops, Change(source_gone=True, stage=False, switch_closed=True))
    if product.path.narrow:
        level = HELD_UP * lowest_input(at.supply)
        noticed = Trigger(of="v_input", level=level, rising=False, delay=settings.t_turn)
        words, delay = "stage stops", settings.t_turn
    else:
        noticed = Trigger(of="v_bus", level=at.v_cells, rising=False, delay=settings.t_switch)
        words, delay = "battery switch closes", settings.t_switch
    return Script(
        phases=(
            Phase(words="", circuit=put_into_time(at, loops), duration=t),
            Phase(words="plug pulled", circuit=gone, duration=most, until=noticed),
            Phase(words=words, circuit=alone, duration=0.4e-3),
        ),
        settles="v_bus",
        band=0.02 * at.v_bus,
        supply=at.supply,
        setting=words_of(at, soc, case.p_busy),
        assumptions=(
            f"What notices that the source is gone takes {delay * 1e6:.0f} µs; the current of the cable ends at once.",
        ),
    )


TRANSIENT = Transient(
    key="unplug",
    title="The plug is pulled while the pack charges",
    what=(
        "Charge current has to become discharge current: until the controller has noticed, capacitors and the body "
        "diode of the battery switch hold the bus."
    ),
    cure="a quicker comparator for the battery switch, more capacitance on the bus, or rails that work lower",
    drawn=("v_bus", "i_pack", "i_coil"),
    script=_script,
)
