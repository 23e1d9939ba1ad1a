"""Direct path whose charger runs backwards to lift the pack onto the bus."""

from chargewright.network.fragments import SOURCE_GONE
from chargewright.network.graph import PowerPath, StageSlot, State, WireKind
from chargewright.paths.direct import NODES, STATES, WIRES

_PACK_APART: frozenset[WireKind] = frozenset(("battery-switch",))

PATH = PowerPath(
    key="direct-boost",
    title="Direct path with battery boost",
    idea=(
        "As the direct path; and when the load asks for more than the source may give, the side converter runs "
        "backwards and lifts pack power onto the bus, holding the source at its limit. With no source it can also hold "
        "the bus above the pack."
    ),
    nodes=NODES,
    wires=WIRES,
    stage=StageSlot(a="bus", b="charge", legs="buck"),
    load_at="bus",
    states=(
        *STATES,
        State(key="supplement", stage="reverse", held="source-current", source=True, pack=True, open=_PACK_APART),
        State(
            key="battery-boost",
            stage="reverse",
            held="bus-voltage",
            source=False,
            pack=True,
            open=SOURCE_GONE | _PACK_APART,
        ),
    ),
    strengths=(
        "least loss from source to bus",
        "the pack carries peaks beyond the source",
        "stage sized for charge or peak",
    ),
    weaknesses=(
        "wide bus: every rail pays",
        "direction must turn within the source's overload time",
        "the source must stay above the full pack",
    ),
    narrow=False,
    controller_cost=1.15,
)
