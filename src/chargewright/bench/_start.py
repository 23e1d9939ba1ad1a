"""The gentle steps: before power, sensing with a known current, the source alone at light load."""

from collections.abc import Iterator

import numpy as np

from chargewright.base.units import Toleranced, show
from chargewright.bench._board import Board, around, measured, seen
from chargewright.bench.meters import AMPS, HERTZ, MILLIAMPS, MILLIVOLTS, VOLTS
from chargewright.bench.records import Step
from chargewright.parts.sense_resistor import SenseResistor

SENSE_CURRENT = 1.0
"""Known current through each sense resistor [A]: gentle, and many times what a voltmeter's floor hides."""
SUPPLY_LIMIT = 0.2
"""Current limit of the supply at first power [A]."""
ON_RESISTANCE = Toleranced(1.0, 0.8, 1.3)
"""Spread of a switch's on-resistance over its typical value (common practice)."""
QUIESCENT = Toleranced(1.0, 0.5, 2.0)
"""Spread of supply currents over their typical value (common practice)."""
FREQUENCY = 0.10
"""Spread of an oscillator to each side [1] (common practice)."""
BURST = 0.5
"""Spread of a burst rate to each side [1]: inductance, thresholds and idle currents (common practice)."""


def before_power(b: Board) -> Iterator[Step]:
    """Yield what is done with no supply connected."""
    yield seen(
        "before power",
        "Look the board over",
        how="Under magnification compare every part of the power path with the part list: value, polarity, solder.",
        quantity="no part missing, turned, bridged or of another value",
        why="Most first-power failures can be seen before power.",
    )
    yield seen(
        "before power",
        "No shorts",
        how="Pack and source disconnected. Measure the resistance to ground of inlet, stage input, bus and pack "
        "terminals, both ways round; wait until the capacitors have charged.",
        quantity="every node rises above 1 kΩ, except where the schematic says why not",
        why="A short found with an ohmmeter costs nothing.",
    )
    v = b.rest_voltage(0.5)
    yield measured(
        "before power",
        "Voltage and polarity of the pack",
        how=f"Measure the pack at its connector before it ever meets the board. {b.case.pack.series} cells in series "
        "were declared; count them.",
        quantity="pack voltage at its connector",
        band=Toleranced(v, b.case.pack.v_empty, b.case.v_full),
        meter=VOLTS,
        unit="V",
        basis=f"{b.case.pack.series} cells between their lowest and their charge voltage; expected at half charge",
        caution="A pack outside the limits is not connected: a wrong cell count destroys cells or board.",
        why="A full pack of few cells reads like an empty one of many.",
    )


def sensing(b: Board) -> Iterator[Step]:
    """Yield a known current through each sense resistor, both ways, before anything relies on it."""
    places = (("source", b.build.sense_source), ("charge", b.build.sense_charge))
    for place, part in places:
        for way, sign in (("forward", 1.0), ("backward", -1.0)):
            yield _through(b, place, part, way, sign)


def _through(b: Board, place: str, part: SenseResistor, way: str, sign: float) -> Step:
    i = min(SENSE_CURRENT, b.case.i_charge)
    v = sign * i * part.r
    width = abs(v) * part.tol + AMPS.error(i) * part.r
    direction = "towards the bus" if place == "source" else "into the pack"
    return measured(
        "sensing",
        f"{place.capitalize()} sense resistor, {way}",
        how=f"Power stage off, pack disconnected. Force {show(i, 'A')} through the {place} sense resistor with a "
        f"current-limited supply, {way} ({'' if sign > 0.0 else 'against '}{direction}). Read the voltage at the inner "
        "pads, and what the controller makes of it: the sign has to turn with the current.",
        quantity=f"voltage at the inner pads of the {place} sense resistor",
        band=Toleranced(v, v - width, v + width),
        meter=MILLIVOLTS,
        unit="V",
        basis=f"{show(part.r, 'ohm')} within {show(part.tol, '1')}, current within {show(AMPS.error(i), 'A')}",
        why="Crossed sense lines make every limit work in one direction only; a resistor of another value scales every "
        "current.",
        caution="Keep the current from the switches: it must not flow through a body diode.",
    )


def source_alone(b: Board) -> Iterator[Step]:
    """Yield the first power: a current-limited supply, no pack, next to no load."""
    v = b.supply.v_set.typ
    yield seen(
        "source alone",
        "First power",
        how=f"No pack, rails off. Supply at the inlet, current limit {show(SUPPLY_LIMIT, 'A')}; raise it slowly from "
        f"0 V to {show(v, 'V')} and watch current and temperatures.",
        quantity="no current beyond the limit, no part that warms, controller answers on its bus",
        why="A fault shows as a current limit that acts, not as smoke.",
        caution="Stop at the first surprise; do not raise the limit to get past it.",
    )
    s = b.solved("no-pack", soc=0.5, p_load=0.0)
    if s.ok[0]:
        i = float(s.i["source"][0])
        yield measured(
            "source alone",
            "Idle current",
            how=f"{show(v, 'V')} at the inlet, no pack, rails running without load.",
            quantity="current at the inlet",
            band=Toleranced(i, i * QUIESCENT.low, i * QUIESCENT.high),
            meter=MILLIAMPS if i < 0.1 else AMPS,
            unit="A",
            basis="solved; typical supply currents, half to twice",
            why="A part that oscillates or leaks shows here first.",
        )
    yield from _bus_voltage(b)
    yield from _burst(b)
    yield from _drop(b)


def _bus_voltage(b: Board) -> Iterator[Step]:
    p = 0.1 * b.case.p_busy
    s = b.solved("no-pack", soc=0.5, p_load=p)
    if not s.ok[0]:
        return
    v = float(s.v[b.path.load_at][0])
    if b.path.narrow:
        band, basis = around(v, b.case.design.charge.v_error), "regulated, within the accuracy of the charge voltage"
    else:
        drop = float(s.v["inlet"][0]) - v
        band = Toleranced(v, v - ON_RESISTANCE.high * drop, v + drop)
        basis = "solved, from the supply set exactly; drop of the path up to 1.3 times its typical value"
    yield measured(
        "source alone",
        "Bus without a pack",
        how=f"{show(float(s.v['inlet'][0]), 'V')} at the inlet, no pack, {show(p, 'W')} on the rails.",
        quantity="bus voltage",
        band=band,
        meter=VOLTS,
        unit="V",
        basis=basis,
        why="A product without its pack has to run, or to say why not.",
    )


def _burst(b: Board) -> Iterator[Step]:
    """The stage at its lightest work: of the system on a narrow bus, at the end of the charge beside a direct one."""
    key = next((s.key for s in b.path.states if s.key == "source-only" and s.stage == "forward"), None)
    if key is None:
        return
    loads = np.array([b.case.design.system.standby, min(b.case.modes.values()), b.case.p_busy])
    s = b.solved(key, soc=1.0, p_load=loads)
    for k, name in enumerate(("lightest load", "calm load", "busiest load")):
        if not s.ok[k]:
            continue
        rate = float(s.waveform.rate[k])
        skips = rate < 0.999 * b.build.f_sw
        yield measured(
            "source alone",
            f"Switching at the {name}",
            how=f"Full pack or none, {show(float(loads[k]), 'W')} on the rails. Probe the switch node, with a short "
            "ground lead.",
            quantity="pulses per second at the switch node",
            band=around(rate, BURST if skips else FREQUENCY),
            meter=HERTZ,
            unit="Hz",
            basis="solved: the stage leaves pulses out, half to one and a half times"
            if skips
            else "oscillator within 10 %",
            why="Bursts below 20 kHz can be heard; a stage that switches elsewhere than planned loses elsewhere.",
        )


def _drop(b: Board) -> Iterator[Step]:
    """Inlet to the stage: the pair and the source sense resistor at a known current."""
    s = b.solved("no-pack", soc=0.5, p_load=np.linspace(0.2, 1.0, 5) * b.case.p_busy)
    good = np.flatnonzero(s.ok & (s.i["source"] > 0.05))
    if not len(good):
        return
    k = int(good[-1])
    i, node = float(s.i["source"][k]), b.path.stage.a
    v_pair = float(s.v["inlet"][k] - s.v["guarded"][k])
    v_sense = float(s.v["guarded"][k] - s.v[node][k])
    tol = b.build.sense_source.tol
    yield measured(
        "source alone",
        "Drop from inlet to stage",
        how=f"No pack. Load the rails until the inlet takes {show(i, 'A')}. Measure between the inlet and the "
        f"{b.path.nodes[node]}, not on the wires.",
        quantity=f"voltage from inlet to {b.path.nodes[node]}",
        band=Toleranced(
            v_pair + v_sense,
            ON_RESISTANCE.low * v_pair + (1.0 - tol) * v_sense,
            ON_RESISTANCE.high * v_pair + (1.0 + tol) * v_sense,
        ),
        meter=MILLIVOLTS,
        unit="V",
        basis=f"solved: {show((v_pair + v_sense) / i, 'ohm', 3)} at its temperature; switches 0.8 to 1.3 times "
        f"typical, resistor within {show(tol, '1')}; copper of the board comes on top",
        why="A pair that is not fully on drops a diode's worth, and warms.",
    )
