"""Direct path: the source goes onto the bus, a buck on the side charges the pack."""

from chargewright.network.fragments import PACK_GONE, SOURCE_GONE, SOURCE_NODES, SOURCE_WIRES
from chargewright.network.graph import PowerPath, StageSlot, State, Wire, WireKind

NODES = {
    **SOURCE_NODES,
    "bus": "system bus",
    "charge": "stage output",
    "pack": "pack terminals",
    "cells": "cells",
}

WIRES: tuple[Wire, ...] = (
    *SOURCE_WIRES,
    Wire(key="sense-source", name="source sense resistor", a="guarded", b="bus"),
    Wire(key="sense-charge", name="charge sense resistor", a="charge", b="pack"),
    Wire(key="battery-switch", name="battery switch", a="pack", b="bus", diode="a-to-b"),
    Wire(key="pack", name="pack, inside", a="pack", b="cells"),
)

_PACK_APART: frozenset[WireKind] = frozenset(("battery-switch",))

STATES: tuple[State, ...] = (
    State(key="off", stage="off", held="nothing", source=False, pack=True, open=SOURCE_GONE),
    State(key="source-only", stage="off", held="nothing", source=True, pack=True, open=_PACK_APART),
    State(key="no-pack", stage="off", held="nothing", source=True, pack=False, open=PACK_GONE),
    State(key="flat-pack", stage="forward", held="pack-current", source=True, pack=True, open=_PACK_APART),
    State(key="charging", stage="forward", held="pack-current", source=True, pack=True, open=_PACK_APART),
    State(key="shared", stage="forward", held="source-current", source=True, pack=True, open=_PACK_APART),
    State(key="battery", stage="off", held="nothing", source=False, pack=True, open=SOURCE_GONE),
)

PATH = PowerPath(
    key="direct",
    title="Direct path with a buck charger",
    idea=(
        "The source feeds the bus through a blocking pair and a sense resistor, so that system power is converted only "
        "once, in the rails. A buck on the side charges the pack; a battery switch puts the pack on the bus when the "
        "source goes. The bus therefore spans from the empty pack to the source, and the pack cannot help a source "
        "that is at its limit."
    ),
    nodes=NODES,
    wires=WIRES,
    stage=StageSlot(a="bus", b="charge", legs="buck"),
    load_at="bus",
    states=STATES,
    strengths=("least loss from source to bus", "stage sized for the charge alone", "few parts"),
    weaknesses=(
        "wide bus: every rail pays",
        "the pack cannot help the source",
        "the source must stay above the full pack",
    ),
    narrow=False,
    controller_cost=1.0,
)
