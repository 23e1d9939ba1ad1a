"""The product starts from its pack, its bus empty."""

from chargewright.circuit.elements import Wave
from chargewright.studies.transients.phases import Phase
from chargewright.studies.transients.product import Change, Product, charging, parted, put_into_time
from chargewright.studies.transients.record import Script, Transient

_WAIT = 0.2e-3


def _script(product: Product) -> Script:
    case, settings, soc = product.case, product.settings, product.settings.soc_low
    at, loops = charging(product, product.strongest, soc=soc, p_load=product.p_calm)
    at = parted(at) if product.path.narrow else at
    rise = Wave(points=((0.0, 0.0), (settings.t_wake, at.v_cells)))
    wakes = Change(source_gone=True, stage=False, cells=rise, p_load=0.0)
    on = settings.t_wake + _WAIT
    boots = Change(source_gone=True, stage=False, switch_closed=True, p_load=case.p_boot)
    empty = dict.fromkeys(("coil", "l_cable", "l_lead", "c_pair1", "c_in", "c_out"), 0.0)
    return Script(
        phases=(
            Phase(words="", circuit=put_into_time(at, loops, wakes), duration=0.02e-3, preset=empty),
            Phase(words="pack wakes", circuit=put_into_time(at, loops, wakes), duration=on),
            Phase(words="switch closes, product boots", circuit=put_into_time(at, loops, boots), duration=0.4e-3),
        ),
        settles="v_bus",
        settles_from=on,
        band=0.02 * at.v_cells,
        judge_bus_from=on,
        setting=f"pack at {soc:.0%}, then the load of the boot",
        assumptions=(
            f"The pack's protection brings its voltage up within {settings.t_wake * 1e3:g} ms. The bus then stands on "
            "the pack through body diodes, which no soft start of the battery switch can hold back; the rails draw "
            "nothing until that switch is closed.",
        ),
    )


TRANSIENT = Transient(
    key="pack-start",
    title="The product starts from its pack",
    what=(
        "The bus is empty and a pack is fitted, or its protection wakes. Through the body diodes on its way the bus "
        "charges at once; then the battery switch closes and the product boots."
    ),
    cure="a pack whose protection closes more slowly, or a second switch against the body diode",
    drawn=("v_bus", "i_pack", "i_coil"),
    script=_script,
)
