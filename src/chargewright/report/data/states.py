"""The operating states of paths: flows at the usual point, and every loss line."""

from collections.abc import Sequence

import numpy as np

from chargewright.network.ledger import CAUSES
from chargewright.network.solve import Solution
from chargewright.report.tables import ROW, DataTable, column, table_form
from chargewright.studies.states import StateReport
from chargewright.studies.study import PathStudy

PLACES = {
    "input-side high switch": ("a_high", "b_high"),
    "input-side low switch": ("a_low", "b_low"),
    "output-side low switch": ("b_low", "a_low"),
    "output-side high switch": ("b_high", "a_high"),
    "inductor": ("coil", "coil"),
}
"""Place in the ledger to part of the stage, for power forwards and backwards."""


def place_temp(s: Solution, place: str, k: int) -> float:
    """Return the temperature [K] of the element that a ledger line names; nan where the solver has none."""
    key = next((w.key for w in s.path.wires if w.name == place), None)
    if key is not None:
        return float(s.temp[key][k]) if key in s.temp and key not in ("source", "cable", "pack") else float("nan")
    if place in PLACES:
        part = PLACES[place][1 if s.state.stage == "reverse" else 0]
        return float(s.temp[part][k]) if part in s.temp else float("nan")
    return float(s.temp["board"][k]) if "board" in s.temp else float("nan")


def hottest(s: Solution, k: int) -> tuple[str, float]:
    """Return the hottest part of the product and its temperature [K]."""
    inside = {name: float(t[k]) for name, t in s.temp.items() if name not in ("source", "cable", "pack")}
    name = max(inside, key=lambda n: inside[n])
    return part_name(s, name), inside[name]


def part_name(s: Solution, key: str) -> str:
    """Return the name of a part by its key in `Solution.temp`."""
    wire = next((w.name for w in s.path.wires if w.key == key), None)
    stage = {
        "a_high": "source-side high switch",
        "a_low": "source-side low switch",
        "b_low": "pack-side low switch",
        "b_high": "pack-side high switch",
        "coil": "inductor",
    }
    return wire or stage.get(key, key)


def state_name(report: StateReport) -> str:
    """Return the short name of a state."""
    return report.title.partition(":")[0]


STATES = table_form(
    "states",
    "Operating states at their usual point",
    (
        column("path", "path"),
        column("state", "state"),
        column("source", "source"),
        column("contract", "contract"),
        column("possible", "steady state exists", kind="flag"),
        column("soc", "state of charge", "1"),
        column("v_bus", "bus", "V", 4),
        column("i_source", "source current", "A"),
        column("p_source", "from the source", "W"),
        column("p_load", "delivered by the rails", "W"),
        column("p_cells", "into the cells", "W"),
        column("p_loss", "lost in the product", "W"),
        column("efficiency", "efficiency", "1"),
        column("hottest_part", "hottest part"),
        column("temp_hottest", "its temperature", "K"),
        column("note", "note"),
    ),
)


def states_table(paths: Sequence[PathStudy]) -> DataTable:
    """Return one row for each state of each path, at its usual point."""
    rows = [_state_row(p.path.key, r) for p in paths for r in p.states]
    return STATES.filled(rows)


def _state_row(path: str, r: StateReport) -> tuple[object, ...]:
    s, k = r.solution, r.usual
    head = (path, state_name(r), r.source, r.contract, r.possible, float(r.soc[k]))
    if not r.possible:
        return (*head, *(None,) * 7, "", None, r.note)
    i_source = float(s.i["source"][k]) if "source" in s.i else 0.0
    p_source = float(s.v["connector"][k]) * i_source if "source" in s.i else 0.0
    p_cells = float(s.conditions.e_cells[k] * s.i["pack"][k]) if "pack" in s.i else 0.0
    return (
        *head,
        float(s.v[s.path.load_at][k]),
        i_source,
        p_source,
        float(s.p_load[k]),
        p_cells,
        float(r.p_loss[k]),
        float(r.efficiency[k]),
        *hottest(s, k),
        r.note,
    )


LOSSES = table_form(
    "losses",
    "Losses by element",
    (
        column("path", "path"),
        column("state", "state"),
        column("where", "element"),
        column("cause", "cause"),
        column("p_loss", "loss", "W"),
        column("share", "share", "1", 2),
        column("temp", "temperature", "K"),
    ),
)


def losses_table(paths: Sequence[PathStudy]) -> DataTable:
    """Return every loss line of every state of each path, at its usual point."""
    rows = [(p.path.key, state_name(r), *line) for p in paths for r in p.states if r.possible for line in loss_lines(r)]
    return LOSSES.filled(rows)


def loss_lines(r: StateReport) -> list[tuple[str, str, float, float, float]]:
    """Return where, cause, loss [W], share of all losses [1] and temperature [K], in the order of the power flow."""
    k = r.usual
    lines = [(e.where, e.cause, float(np.ravel(e.watts)[k])) for e in r.ledger.losses()]
    total = sum(w for _, _, w in lines)
    return [
        (where, cause, watts, watts / total if total > 0.0 else 0.0, place_temp(r.solution, where, k))
        for where, cause, watts in lines
        if watts != 0.0
    ]


def matrix_table(path: PathStudy) -> DataTable:
    """Return losses by element (rows) and state (columns) of one path; states without a steady point are left out."""
    shown = [r for r in path.states if r.possible]
    places: dict[str, list[float]] = {}
    for j, r in enumerate(shown):
        for where, watts in r.ledger.by_place().items():
            places.setdefault(where, [0.0] * len(shown))[j] = float(np.ravel(watts)[r.usual])
    order = _places_in_order(shown)
    rows = [(where, *places[where], "W") for where in sorted(places, key=lambda w: order.index(w))]
    rows.append(("all losses", *(sum(places[w][j] for w in places) for j in range(len(shown))), "W"))
    rows.append(("efficiency", *(float(r.efficiency[r.usual]) for r in shown), "1"))
    rows.append(("hottest part", *(hottest(r.solution, r.usual)[1] for r in shown), "K"))
    form = table_form(
        "loss_matrix",
        "Losses by element and state",
        (
            column("where", "element"),
            *(column(r.key.replace("-", "_"), state_name(r), ROW) for r in shown),
            column("unit", "SI unit"),
        ),
    )
    return form.filled(rows)


def _places_in_order(reports: Sequence[StateReport]) -> list[str]:
    """Return all places of ledgers in the order of the power flow from source to cells."""
    if not reports:
        return []
    path = reports[0].solution.path
    stage = list(dict.fromkeys(place for place, _ in CAUSES.values()))
    names = [w.name for w in path.wires]
    before = [w.name for w in path.wires if w.key in ("source", "cable", "blocking-pair", "sense-source")]
    after = [n for n in names if n not in before]
    return [*before, *stage, *after, "rails"]
