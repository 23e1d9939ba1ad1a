"""Which parts, with which margins, why these, and what nearly won."""

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Chapter, Heading, Paragraph, Pictures, Tone, Unfold, Verdict
from chargewright.report.data.parts import (
    banks_table,
    front_table,
    margins_table,
    parts_table,
    rejected_table,
    sense_table,
)
from chargewright.report.figures.pareto import pareto_picture
from chargewright.report.figures.sense_trade import sense_pictures
from chargewright.report.tables import table_block
from chargewright.sizing.records import Sizing

THIN_MARGIN = 0.1


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without a winner."""
    winner = dossier.study.winner
    if winner is None or winner.sizing is None:
        return None
    sizing = winner.sizing
    build = sizing.build
    invented = "built-in invented" in {row[4] for row in parts_table([winner]).rows}
    blocks: list[Block] = [
        Verdict(
            text=(
                f"{build.legs.capitalize()} stage at {show(build.f_sw, 'Hz', 3)} with {build.coil.name}: "
                f"{show(sizing.front[0].p_loss, 'W', 3)} of mean loss, cost index {build.cost:.3g}, "
                f"{show(build.area, 'm2', 3)} of board."
            )
        ),
        Paragraph(text=_capital(sizing.chosen_because)),
        table_block(
            parts_table([winner]),
            only=("place", "part", "count", "origin", "cost", "area"),
            note=(
                "Parts marked 'built-in invented' are generic stand-ins that nobody sells: put real parts into a table "
                "of your own before a board is made."
                if invented
                else ""
            ),
        ),
        _margins(sizing),
        Heading(text="Why this set, and what nearly won"),
        Pictures(items=(pareto_picture(sizing, winner.path.key), *sense_pictures(sizing))),
    ]
    if sizing.nearest_rejected:
        blocks.append(table_block(rejected_table(sizing)))
    blocks.append(
        Unfold(title="All sets that no other set beats", blocks=(table_block(front_table(sizing)),), in_print=False)
    )
    if sizing.banks:
        blocks.append(table_block(banks_table(sizing)))
    blocks += _sense(sizing)
    return Chapter(key="parts", title="Parts", question="Which parts?", blocks=tuple(blocks))


def _margins(sizing: Sizing) -> Block:
    table = margins_table(sizing)

    def tone(row: int, key: str) -> Tone:
        margin = table.rows[row][5]
        if key != "margin":
            return "plain"
        return "bad" if margin < 0.0 else "thin" if margin < THIN_MARGIN else "plain"

    note = "The distance to the limit over the limit; for temperatures over the rise from ambient."
    return table_block(table, tones=tone, note=note)


def _sense(sizing: Sizing) -> list[Block]:
    table = sense_table(sizing)
    chosen = [k for k, row in enumerate(table.rows) if row[8]]
    near = {k for c in chosen for k in range(max(c - 2, 0), min(c + 3, len(table.rows)))}
    kept = type(table)(
        key=table.key, title=table.title, columns=table.columns, rows=tuple(table.rows[k] for k in sorted(near))
    )
    strong = [k for k, row in enumerate(kept.rows) if row[8]]
    return [
        table_block(
            kept,
            strong=strong,
            caption="Sense resistors: the chosen ones and their neighbours",
            note="Errors are the worst sum of tolerance, temperature and amplifier offset, over the current.",
        ),
        Unfold(
            title="All sense resistors that were weighed", blocks=(table_block(table, strong=chosen),), in_print=False
        ),
    ]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
