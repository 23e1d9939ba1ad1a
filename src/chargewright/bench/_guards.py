"""Codes read back before they matter, then the protections, before real power."""

from collections.abc import Iterator

from chargewright.base.units import Toleranced, show
from chargewright.bench._board import Board, measured, seen
from chargewright.bench.meters import NO_METER, VOLTS, Meter
from chargewright.bench.records import Step
from chargewright.parts.usb_pd.limits import SAFE_0_VOLTS_MAX
from chargewright.setpoints.quantities import QUANTITIES


def codes(b: Board) -> Iterator[Step]:
    """Yield the read-back of every register that was written."""
    for back in b.settings.read_back:
        titles = ", ".join(QUANTITIES[q].title for q in back.quantities)
        digits = 2 if back.word < 256 and back.mask < 256 else 4
        yield measured(
            "codes",
            f"Read back register 0x{back.register:02X}",
            how="Source present, pack absent, charge switched off. Write the whole sequence in its order, then read "
            f"the register and keep the bits of mask 0x{back.mask:0{digits}X}.",
            quantity=f"register 0x{back.register:02X} holds 0x{back.word:0{digits}X} ({titles})",
            band=Toleranced(float(back.word), float(back.word), float(back.word)),
            meter=NO_METER,
            unit="code",
            basis="coded set-points; a code has no tolerance",
            why="What firmware meant to write and what the controller holds are two things.",
            caution="A word that differs is not overwritten until it is understood.",
        )
    lost = b.settings.controller.host_lost
    if lost.timeout is not None:
        yield measured(
            "codes",
            "Host falls silent",
            how="Stop writing and wait, pack absent. Note when the controller acts.",
            quantity="time from the last write until the controller acts",
            band=lost.timeout,
            meter=Meter(name="stopwatch", share=0.0, floor=0.5),
            unit="s",
            basis="time-out of the controller's description with its band",
            why=f"A lost host means that the controller {lost.then}.",
        )


def protections(b: Board) -> Iterator[Step]:
    """Yield the thresholds that can be approached from outside, then the pair that has to block."""
    ladder = next((x for x in b.ladders if x.key == "inlet-voltage"), None)
    over = next((r for r in ladder.rungs if r.kind == "threshold"), None) if ladder is not None else None
    if over is not None:
        yield measured(
            "protections",
            "Source over-voltage",
            how=f"No pack, rails off, supply limited to {show(0.2, 'A')}. Raise the supply slowly past "
            f"{show(over.low, 'V')} and note where the blocking pair opens; never above {show(over.high, 'V')}.",
            quantity="inlet voltage at which the blocking pair opens",
            band=Toleranced(over.typ, over.low, over.high),
            meter=VOLTS,
            unit="V",
            basis=f"ladder '{b.ladders[0].title}': {over.origin}",
            why="The parts behind the pair stand little more.",
            caution="Parts behind the pair are close to their rating here: raise slowly, and stop at the upper limit.",
        )
    floor = next((x for x in b.ladders if x.key == "pack-floor"), None)
    down = next((r for r in floor.rungs if r.kind == "threshold"), None) if floor is not None else None
    if down is not None:
        yield measured(
            "protections",
            "System shuts down on a low pack",
            how="A bidirectional supply in the pack's place, no source, calm load. Lower it slowly.",
            quantity="voltage at the pack terminals at which the system shuts down",
            band=Toleranced(down.typ, down.low, down.high),
            meter=VOLTS,
            unit="V",
            basis=f"ladder '{floor.title if floor else ''}': {down.origin}",
            why="It has to act before the pack's own protection cuts.",
        )
    v = b.case.v_full
    yield measured(
        "protections",
        "Nothing comes back to the inlet",
        how=f"{show(v, 'V')} in the pack's place, no source, every state that runs from the pack; "
        f"{show(10e3, 'ohm')} from the inlet to ground.",
        quantity="voltage at the open inlet",
        band=Toleranced(0.0, 0.0, SAFE_0_VOLTS_MAX),
        meter=VOLTS,
        unit="V",
        basis="USB Power Delivery, vSafe0V: an empty inlet counts as dead below it",
        why="A pair that blocks one way only feeds the pack to contacts that can be touched.",
    )
    yield seen(
        "protections",
        "Charge is refused with a cold and with a hot pack",
        how="Replace the pack's thermistor by the resistances of a temperature below the cold limit and of one above "
        f"the hot limit ({show(b.case.pack.cell.limits.temp_charge_low, 'K', 3)} and "
        f"{show(b.case.pack.cell.limits.temp_charge_high, 'K', 3)}), then open and short it.",
        quantity="no charge current in any of the four cases, and the reason is reported",
        why="A thermistor that is open or shorted must read as a fault, not as a temperature.",
    )
