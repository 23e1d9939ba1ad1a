"""Narrow bus behind a four-switch stage that can stand still and pass the source straight through."""

from chargewright.network.fragments import NARROW_NODES, NARROW_STATES, NARROW_WIRES
from chargewright.network.graph import PowerPath, StageSlot, State

PATH = PowerPath(
    key="narrow-through",
    title="Narrow bus with pass-through",
    idea=(
        "As the narrow bus behind a four-switch stage; while the pack is full and the source's voltage is one that the "
        "bus may have, both high switches stay on and the source goes straight to the bus. That spares the switching "
        "loss, for as long as nothing is charged and the bus stands the source's whole tolerance."
    ),
    nodes=NARROW_NODES,
    wires=NARROW_WIRES,
    stage=StageSlot(a="input", b="bus", legs="four-switch"),
    load_at="bus",
    states=(
        *NARROW_STATES,
        State(
            key="pass-through",
            stage="through",
            held="nothing",
            source=True,
            pack=True,
            open=frozenset(("battery-switch",)),
        ),
    ),
    strengths=("any source voltage, also below the pack", "no switching loss while the source feeds a full product"),
    weaknesses=(
        "pass-through widens the bus to the source's voltage",
        "one more hand-over to get right",
        "four switches",
    ),
    narrow=True,
    controller_cost=1.5,
)
