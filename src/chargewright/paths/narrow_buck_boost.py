"""Narrow-voltage bus behind a four-switch stage: the source may be below, at or above the pack."""

from chargewright.network.fragments import NARROW_NODES, NARROW_STATES, NARROW_WIRES
from chargewright.network.graph import PowerPath, StageSlot

PATH = PowerPath(
    key="narrow-buck-boost",
    title="Narrow bus behind a four-switch stage",
    idea=(
        "As the narrow bus behind a buck, with a second switch leg on the bus side, so that the stage steps down, up "
        "or both. Any source charges any pack, at the price of two more switches in the current and of a region near "
        "unity gain in which all four switch."
    ),
    nodes=NARROW_NODES,
    wires=NARROW_WIRES,
    stage=StageSlot(a="input", b="bus", legs="four-switch"),
    load_at="bus",
    states=NARROW_STATES,
    strengths=(
        "any source voltage, also below the pack",
        "narrow bus: cheap, efficient rails",
        "supplement needs no extra converter",
    ),
    weaknesses=(
        "system power is converted twice",
        "four switches; all of them switch near unity gain",
        "more parts, area and cost",
    ),
    narrow=True,
    controller_cost=1.4,
)
