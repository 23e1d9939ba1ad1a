"""Narrow-voltage bus behind a buck: the stage feeds a bus that sits just above the pack."""

from chargewright.network.fragments import NARROW_NODES, NARROW_STATES, NARROW_WIRES
from chargewright.network.graph import PowerPath, StageSlot

PATH = PowerPath(
    key="narrow-buck",
    title="Narrow bus behind a buck",
    idea=(
        "Everything the source gives passes a two-switch buck onto a bus that follows the pack; a battery switch "
        "between bus and pack charges it, or lets it help. The rails see little more than the pack's own span, but "
        "every watt for the system is converted twice, and the source must stay above the full pack."
    ),
    nodes=NARROW_NODES,
    wires=NARROW_WIRES,
    stage=StageSlot(a="input", b="bus", legs="buck"),
    load_at="bus",
    states=NARROW_STATES,
    strengths=("narrow bus: cheap, efficient rails", "supplement needs no extra converter", "simple two-switch stage"),
    weaknesses=(
        "system power is converted twice",
        "the source must stay above the full pack",
        "stage carries system and charge",
    ),
    narrow=True,
    controller_cost=1.0,
)
