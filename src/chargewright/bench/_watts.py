"""Efficiency points and temperatures: first the source alone, then with a charge, then the pack alone."""

from collections.abc import Iterator

import numpy as np

from chargewright.base.units import Toleranced, show
from chargewright.bench._board import Board, measured
from chargewright.bench.meters import KELVINS, NO_METER, efficiency_error
from chargewright.bench.records import Step
from chargewright.network.solve import Solution

LOSS = 0.20
"""Spread of a loss that is computed from typical values, to each side [1] (common practice)."""
RISE = 0.25
"""Spread of a temperature rise to each side [1]: losses, and a board that is one resistance (common practice)."""
_LOADS = (0.1, 0.3, 1.0)


def watts(b: Board) -> Iterator[Step]:
    """Yield efficiency at light, middle and full load, while charging, and on the pack; then temperatures.

    A point whose loss four meters cannot see is left out: there the drop of the path says more.
    """
    loads = np.array(_LOADS) * b.case.p_busy
    alone = b.solved("no-pack", soc=0.5, p_load=loads)
    for k in np.flatnonzero(alone.ok):
        yield from _efficiency(b, alone, int(k), "no pack", with_pack=False)
    # Beside a direct bus the stage is measured by itself: with a load its loss would drown in what passes it by.
    charging = b.solved("charging", soc=0.5, p_load=loads[1] if b.path.narrow else 0.0)
    if charging.ok[0]:
        yield from _efficiency(b, charging, 0, "pack at half charge, charging", with_pack=True)
    pack_alone = b.solved("battery", soc=0.5, p_load=loads[1:])
    for k in np.flatnonzero(pack_alone.ok):
        yield from _on_pack(b, pack_alone, int(k))
    busy = b.solved("charging", soc=0.5, p_load=loads[1])
    if busy.ok[0]:
        yield from _temperatures(b, busy)


def _bus_power(s: Solution, k: int) -> float:
    return float(s.p_load[k] + s.p_rails[k])


def _efficiency(b: Board, s: Solution, k: int, pack: str, *, with_pack: bool) -> Iterator[Step]:
    """Power at bus and pack terminals over power at the inlet; the rails are no part of it."""
    v_in, i_in = float(s.v["inlet"][k]), float(s.i["source"][k])
    v_bus, p_bus = float(s.v[b.path.load_at][k]), _bus_power(s, k)
    p_pack = _at_terminals(b, s, k) if with_pack else 0.0
    out, taken = p_bus + p_pack, v_in * i_in
    error = efficiency_error(v_in, i_in, v_bus, out / v_bus)
    if _hidden(out, taken, error):
        return
    charging = f", {show(p_pack, 'W')} into the pack" if with_pack else ""
    yield measured(
        "watts",
        f"Efficiency from inlet to {'bus and pack' if with_pack else 'bus'}, {show(out, 'W', 3)}",
        how=f"{show(v_in, 'V')} at the inlet, {pack}; instead of the rails an electronic load of {show(p_bus, 'W')} on "
        f"the bus{charging}. Measure voltages at the board; wait until the temperatures stand.",
        quantity="power at bus and pack terminals over power at the inlet"
        if with_pack
        else "power at the bus over power at the inlet",
        band=_spread(out, taken - out, error),
        meter=NO_METER,
        unit="1",
        basis=f"solved: {show(v_in, 'V')} and {show(i_in, 'A')} in, {show(out, 'W')} out; losses within {LOSS:.0%}; "
        f"four meters of the set-up: {show(error, '1', 2)}, 95 %",
        why="Loss that is not where it was computed becomes heat where nobody looks.",
    )


def _hidden(out: float, taken: float, error: float) -> bool:
    """Return whether four meters cannot see the loss, because their error is as large."""
    return (taken - out) / taken < error


def _spread(out: float, loss: float, error: float) -> Toleranced:
    low, high = out / (out + (1.0 + LOSS) * loss), out / (out + (1.0 - LOSS) * loss)
    return Toleranced(out / (out + loss), low * (1.0 - error), high * (1.0 + error))


def _at_terminals(b: Board, s: Solution, k: int) -> float:
    """Return the power into the pack at its terminals [W]."""
    terminal = "pack" if "pack" in b.path.nodes else b.path.load_at
    return float(s.v[terminal][k] * s.i["pack"][k])


def _on_pack(b: Board, s: Solution, k: int) -> Iterator[Step]:
    """Bus power over pack power, the pack replaced by a supply of its rest voltage."""
    p_bus, v_bus = _bus_power(s, k), float(s.v[b.path.load_at][k])
    i = -float(s.i["pack"][k])
    p_pack = -_at_terminals(b, s, k)
    v_pack = p_pack / i
    error = efficiency_error(v_pack, i, v_bus, p_bus / v_bus)
    if _hidden(p_bus, p_pack, error):
        return
    yield measured(
        "watts",
        f"Efficiency from pack to bus, {show(p_bus, 'W', 3)}",
        how=f"No source. {show(v_pack, 'V')} at the pack terminals from a bidirectional supply; instead of the rails "
        f"an electronic load of {show(p_bus, 'W')} on the bus.",
        quantity="power at the bus over power at the pack terminals",
        band=_spread(p_bus, p_pack - p_bus, error),
        meter=NO_METER,
        unit="1",
        basis=f"solved: {show(i, 'A')} from the pack; losses within {LOSS:.0%}; four meters of the set-up: "
        f"{show(error, '1', 2)}, 95 %",
        why="Run time is lost here, for as long as the product is not plugged in.",
    )


def _temperatures(b: Board, s: Solution) -> Iterator[Step]:
    """The board and its hottest part while the system runs and the pack charges."""
    names = {
        "a_high": "source-side high switch",
        "a_low": "source-side low switch",
        "b_low": "pack-side low switch",
        "b_high": "pack-side high switch",
        "coil": "inductor",
        "blocking-pair": "blocking pair",
        "battery-switch": "battery switch",
        "sense-charge": "charge sense resistor",
        "board": "board beside the stage",
    }
    found = {part: float(s.temp[part][0]) for part in names if part in s.temp}
    hottest = sorted((p for p in found if p != "board"), key=lambda p: -found[p])[:2]
    for part in ("board", *hottest):
        rise = found[part] - b.temp
        yield measured(
            "watts",
            f"Temperature of the {names[part]}",
            how=f"Rails on with {show(float(s.p_load[0]), 'W')}, pack at half charge and charging with "
            f"{show(float(s.i['pack'][0]), 'A')}, still air of {show(b.temp, 'K')}, half an hour.",
            quantity=f"temperature of the {names[part]}",
            band=Toleranced(found[part], b.temp + (1.0 - RISE) * rise, b.temp + (1.0 + RISE) * rise),
            meter=KELVINS,
            unit="K",
            basis=f"solved, rise within {RISE:.0%}; the board is one resistance of {show(b.hardware.r_board, 'K/W')}",
            why="The one number that says whether the losses are where they were computed.",
            caution="A probe on a switch node is an antenna: fix it to the case or the pad beside it.",
        )
