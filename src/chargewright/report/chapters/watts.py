"""Where every watt goes: power flow, losses by element, efficiency, bus windows and their price in the rails."""

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.network.ledger import CAUSES
from chargewright.report.blocks import (
    Align,
    Block,
    Cell,
    Chapter,
    Derivation,
    Heading,
    KeyNumber,
    KeyNumbers,
    Paragraph,
    Picture,
    Pictures,
    Table,
    Unfold,
    Verdict,
)
from chargewright.report.data.paths import windows_table
from chargewright.report.data.states import hottest, loss_lines, losses_table, matrix_table, state_name, states_table
from chargewright.report.figures.bus_windows import bus_windows_picture
from chargewright.report.figures.efficiency import efficiency_picture
from chargewright.report.figures.power_flow import power_flow, widest_flow
from chargewright.report.figures.rail_cost import rail_cost_picture
from chargewright.report.headline import efficiency_derivation
from chargewright.report.replay import replay
from chargewright.report.tables import DataTable, table_block
from chargewright.report.unfold import RAILS, stage_derivation, wire_derivation
from chargewright.studies.states import StateReport
from chargewright.studies.study import PathStudy, Study

_FIELD = {line: name for name, line in CAUSES.items()}
"""Place and cause in a ledger to the loss of the stage."""
_HEADLINE = ("charging", "shared", "source-only", "battery", "supplement")


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without a winner."""
    winner = dossier.study.winner
    if winner is None or winner.hardware is None:
        return None
    widest = widest_flow(winner.path, winner.states)
    blocks: list[Block] = [Verdict(text=_verdict(winner)), _headline(winner)]
    blocks += [
        _matrix(winner),
        Heading(text="Power flow in each state"),
        Paragraph(
            text="All drawn to one scale. Blue is energy from the source, orange from the pack, grey what the rails "
            "take; violet is lost.",
            tone="quiet",
        ),
        Pictures(items=tuple(power_flow(winner.path, r, widest) for r in winner.states)),
        Heading(text="Every loss line, unfolded"),
    ]
    blocks += [_lines(winner, r) for r in winner.states if r.possible]
    blocks += _windows(dossier.study, winner)
    blocks.append(Unfold(title="All states of all paths", blocks=(_all_states(dossier.study),), in_print=False))
    return Chapter(key="watts", title="Watts", question="Where does every watt go?", blocks=tuple(blocks))


def _verdict(winner: PathStudy) -> str:
    possible = {r.key: r for r in winner.states if r.possible}
    r = next((possible[k] for k in _HEADLINE if k in possible), None)
    if r is None:
        return "No state of the winner has a steady point."
    k = r.usual
    places = {
        where: float(w[k])
        for where, w in r.ledger.by_place().items()
        if where not in ("source, inside", "cable and connectors")
    }
    first, second = sorted(places, key=lambda p: -places[p])[:2]
    part, temp = hottest(r.solution, k)
    return (
        f"{_capital(state_name(r))}: {show(float(r.p_loss[k]), 'W', 3)} lost in the product, most of it in "
        f"{_the(first)} ({show(places[first], 'W', 3)}) and {_the(second)} ({show(places[second], 'W', 3)}); "
        f"{_the(part)} is hottest at {show(temp, 'K', 3)}."
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _the(place: str) -> str:
    return f"the {place.removesuffix(', inside')} itself" if place.endswith(", inside") else f"the {place}"


def _matrix(winner: PathStudy) -> Table:
    """Return the loss matrix in one unit, so that columns can be compared."""
    data = matrix_table(winner)
    unit_at = len(data.columns) - 1
    right: list[Align] = ["right"] * (unit_at - 1)
    rows = []
    for row in data.rows:
        watts = row[unit_at] == "W"
        texts = [_watts(v) if watts else show(v, row[unit_at], 3) for v in row[1:unit_at]]
        whole = row[0] in ("all losses", "efficiency", "hottest part")
        rows.append((Cell(text=row[0], strong=whole), *(Cell(text=t, strong=whole) for t in texts)))
    return Table(
        caption="Losses by element and state, in W",
        heads=tuple(c.title for c in data.columns[:unit_at]),
        aligns=("left", *right),
        rows=tuple(rows),
        note="At the usual point of each state. Source and cable lie outside the product.",
    )


def _watts(value: float) -> str:
    """Return a loss in W to a milliwatt."""
    return "–" if value == 0.0 else "<0.001" if value < 0.0005 else f"{value:.3f}"


def _headline(winner: PathStudy) -> KeyNumbers:
    found = []
    for key in _HEADLINE:
        r = next((s for s in winner.states if s.key == key and s.possible), None)
        if r is not None:
            found.append(
                KeyNumber(
                    label=f"efficiency, {state_name(r)}",
                    shown=show(float(r.efficiency[r.usual]), "1", 3),
                    note=f"{show(float(r.p_loss[r.usual]), 'W', 3)} lost in the product",
                    derivation=efficiency_derivation(r),
                )
            )
    return KeyNumbers(items=tuple(found))


def _lines(winner: PathStudy, r: StateReport) -> Unfold:
    assert winner.hardware is not None, "a winner has hardware"
    again = replay(r.solution, winner.hardware, r.usual)
    whole = losses_table([winner])
    rows = tuple(row for row in whole.rows if row[1] == state_name(r))
    table = DataTable(key=whole.key, title=f"Losses while {state_name(r)}", columns=whole.columns, rows=rows)
    derivations: dict[tuple[int, str], Derivation] = {}
    for k, (where, cause, _, _, _) in enumerate(loss_lines(r)):
        what = f"{where}: {cause}"
        wire = next((w.key for w in winner.path.wires if w.name == where), None)
        if wire is not None:
            found = wire_derivation(again, wire, what)
        elif (where, cause) in _FIELD:
            found = stage_derivation(again, _FIELD[where, cause], what)
        else:
            found = Derivation(
                what=what, shown=show(float(r.solution.p_rails[r.usual]), "W"), evaluations=(), note=RAILS
            )
        if found is not None:
            derivations[k, "p_loss"] = found
    note = f"unaccounted: {show(abs(float(r.ledger.unaccounted[r.usual])), 'W', 2)}"
    block = table_block(table, only=("where", "cause", "p_loss", "share", "temp"), derivations=derivations, note=note)
    title = f"{_capital(state_name(r))}: {show(float(r.p_loss[r.usual]), 'W', 3)} lost in the product"
    return Unfold(title=title, blocks=(block,), in_print=r.key in ("charging", "supplement", "battery"))


def _windows(study: Study, winner: PathStudy) -> list[Block]:
    pictures: list[Picture] = [bus_windows_picture(study), rail_cost_picture(study)]
    curve = efficiency_picture(winner.states)
    if curve is not None:
        pictures.insert(0, curve)
    return [
        Heading(text="Efficiency, bus windows, and what a wide bus costs"),
        Pictures(items=tuple(pictures)),
        table_block(
            windows_table(study),
            note="The window decides what voltage class the rails' switches need; their cost and area follow from it.",
        ),
    ]


def _all_states(study: Study) -> Block:
    table = states_table([p for p in study.paths if p.states])
    skipped = ("source", "contract", "possible")
    return table_block(table, only=[c.key for c in table.columns if c.key not in skipped])
