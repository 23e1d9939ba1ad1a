"""Pieces that several paths share: the way in from the source, and the states that all narrow buses have."""

from chargewright.network.graph import State, Wire, WireKind

SOURCE_NODES = {"source": "source", "connector": "source connector", "inlet": "inlet", "guarded": "behind the pair"}
"""The nodes from the source to behind the blocking pair, in every path."""

SOURCE_WIRES: tuple[Wire, ...] = (
    Wire(key="source", name="source, inside", a="source", b="connector"),
    Wire(key="cable", name="cable and connectors", a="connector", b="inlet"),
    Wire(key="blocking-pair", name="blocking pair", a="inlet", b="guarded"),
)

SOURCE_GONE: frozenset[WireKind] = frozenset(("source", "cable", "blocking-pair", "sense-source"))
"""What stands open while no source is there."""

PACK_GONE: frozenset[WireKind] = frozenset(("battery-switch", "sense-charge", "pack"))
"""What stands open while no pack is fitted."""

NARROW_NODES = {
    **SOURCE_NODES,
    "input": "stage input",
    "bus": "system bus",
    "charge": "charge node",
    "pack": "pack terminals",
    "cells": "cells",
}

NARROW_WIRES: tuple[Wire, ...] = (
    *SOURCE_WIRES,
    Wire(key="sense-source", name="source sense resistor", a="guarded", b="input"),
    Wire(key="battery-switch", name="battery switch", a="bus", b="charge", diode="b-to-a"),
    Wire(key="sense-charge", name="charge sense resistor", a="charge", b="pack"),
    Wire(key="pack", name="pack, inside", a="pack", b="cells"),
)

_PACK_RESTS: frozenset[WireKind] = frozenset(("battery-switch",))

NARROW_STATES: tuple[State, ...] = (
    State(key="off", stage="off", held="nothing", source=False, pack=True, open=SOURCE_GONE, fed_from="b"),
    State(key="source-only", stage="forward", held="bus-voltage", source=True, pack=True, open=_PACK_RESTS),
    State(key="no-pack", stage="forward", held="bus-voltage", source=True, pack=False, open=PACK_GONE),
    State(key="flat-pack", stage="forward", held="bus-voltage", source=True, pack=True, linear="battery-switch"),
    State(key="charging", stage="forward", held="pack-current", source=True, pack=True),
    State(key="shared", stage="forward", held="source-current", source=True, pack=True),
    State(key="supplement", stage="forward", held="source-current", source=True, pack=True),
    State(key="battery", stage="off", held="nothing", source=False, pack=True, open=SOURCE_GONE, fed_from="b"),
)
"""Operating states of every narrow bus."""
