"""Charger, pack and load on one node: the baseline that people start from."""

from chargewright.network.fragments import SOURCE_GONE, SOURCE_NODES, SOURCE_WIRES
from chargewright.network.graph import PowerPath, StageSlot, State, Wire

PATH = PowerPath(
    key="parallel",
    title="Charger, pack and load in parallel",
    idea=(
        "A buck charger, the pack and the load share one node. Nothing could be simpler, and nothing can be told "
        "apart: the charger sees charge and load current together, so that the load eats charge current, termination "
        "is judged on the sum, and a flat pack pulls the bus down with it."
    ),
    nodes={**SOURCE_NODES, "input": "stage input", "out": "stage output", "bus": "bus and pack", "cells": "cells"},
    wires=(
        *SOURCE_WIRES,
        Wire(key="sense-source", name="source sense resistor", a="guarded", b="input"),
        Wire(key="sense-charge", name="charge sense resistor", a="out", b="bus"),
        Wire(key="pack", name="pack, inside", a="bus", b="cells"),
    ),
    stage=StageSlot(a="input", b="out", legs="buck"),
    load_at="bus",
    states=(
        State(key="off", stage="off", held="nothing", source=False, pack=True, open=SOURCE_GONE, fed_from="b"),
        State(key="source-only", stage="forward", held="bus-voltage", source=True, pack=True),
        State(key="no-pack", stage="forward", held="bus-voltage", source=True, pack=False, open=frozenset(("pack",))),
        State(key="charging", stage="forward", held="stage-current", source=True, pack=True),
        State(key="shared", stage="forward", held="source-current", source=True, pack=True),
        State(key="supplement", stage="forward", held="source-current", source=True, pack=True),
        State(key="battery", stage="off", held="nothing", source=False, pack=True, open=SOURCE_GONE, fed_from="b"),
    ),
    strengths=("fewest parts", "narrow bus: cheap, efficient rails"),
    weaknesses=(
        "a flat pack keeps the system from starting",
        "the load hides the end of charge",
        "the load eats the charge current",
    ),
    narrow=True,
    controller_cost=0.7,
)
