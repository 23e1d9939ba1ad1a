"""What to set: codes, what they really set, what is left of error, order of writing."""

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import Block, Bullets, Cell, Chapter, Heading, Paragraph, Table, Tone, Unfold, Verdict
from chargewright.report.data.handover import set_points_table
from chargewright.report.tables import table_block
from chargewright.studies.settings import Settings


def chapter(dossier: Dossier) -> Chapter | None:
    """Return the chapter; None without set-points."""
    settings = dossier.settings
    if settings is None:
        return None
    unsafe = [p for p in settings.points if p.reset.verdict == "unsafe"]
    words = f"{len(settings.points)} set-points on {settings.controller.name} ({settings.controller.origin})"
    words += (
        f"; {len(unsafe)} reset values are not safe for this pack."
        if unsafe
        else "; no reset value is known to be unsafe."
    )
    blocks: list[Block] = [Verdict(text=words, tone="thin" if unsafe else "plain"), *_on(settings)]
    if dossier.open_settings is not None:
        name = dossier.open_settings.controller.name
        blocks.append(Unfold(title=f"The same on {name}", blocks=tuple(_on(dossier.open_settings)), in_print=False))
    return Chapter(key="set-points", title="Set-points", question="What do we set?", blocks=tuple(blocks))


def _on(settings: Settings) -> list[Block]:
    """Return everything about the set-points on one controller."""
    blocks: list[Block] = [_points(settings)]
    if settings.missing:
        words = tuple(
            f"{w.quantity.replace('_', ' ')}: wanted, but there is no field for it." for w in settings.missing
        )
        blocks.append(Bullets(items=words))
    if settings.cell is not None:
        blocks += [Heading(text="What the charge voltage does to the highest cell"), *_cell(settings)]
    blocks += [Heading(text="Order of writing"), _writes(settings)]
    if settings.refresh is not None:
        blocks.append(Paragraph(text=_refresh(settings)))
    return blocks


def _points(settings: Settings) -> Block:
    table = set_points_table(settings.points)

    def tone(row: int, key: str) -> Tone:
        verdict = table.rows[row][13]
        if key in ("reset_SI", "reset_verdict"):
            return "bad" if verdict == "unsafe" else "thin" if verdict == "unknown" else "good"
        return "bad" if key == "clamped" and table.rows[row][11] else "plain"

    only = ("quantity", "register", "bits", "asked", "coded", "real", "error", "low", "high", "reset", "reset_verdict")
    note = (
        "Coded is what the controller takes the code for; what it sets differs where the fitted sense resistor differs "
        "from the configured one. The band has gain, offset and resistor at their worst."
    )
    caption = f"{table.title}, on {settings.controller.name}"
    return table_block(table, only=only, tones=tone, caption=caption, note=note)


def _cell(settings: Settings) -> list[Block]:
    cell, full = settings.cell, settings.full
    assert cell is not None, "asked only where a charge voltage is set"
    rows = [
        (Cell(text=r.cause), Cell(text=_signed(r.low)), Cell(text=_signed(r.high)))
        for r in cell.rows
        if r.low != 0.0 or r.high != 0.0
    ]
    total = (
        Cell(text="highest cell, lowest to highest", strong=True),
        Cell(text=show(cell.low, "V"), strong=True),
        Cell(text=show(cell.high, "V"), strong=True, tone="bad" if cell.margin < 0.0 else "plain"),
    )
    text = (
        f"Asked {show(cell.asked, 'V')} per cell; the upper limit is {show(cell.upper, 'V')}, {_margin(cell.margin)}."
    )
    if full is not None:
        text += f" That leaves the cell at {show(full.low, '1', 3)} to {show(full.high, '1', 3)} of charge."
    return [
        Paragraph(text=text),
        Table(
            caption="Signed budget of the highest cell's voltage",
            heads=("cause", "low", "high"),
            aligns=("left", "right", "right"),
            rows=(*rows, total),
        ),
    ]


def _margin(margin: float) -> str:
    return (
        f"{show(margin, 'V', 3)} above the worst case"
        if margin >= 0.0
        else f"passed by {show(-margin, 'V', 3)} in the worst case"
    )


def _signed(value: float) -> str:
    return f"{'+' if value > 0.0 else ''}{show(value, 'V', 3)}".replace("-", "−")


def _writes(settings: Settings) -> Block:
    rows = [
        (
            Cell(text=str(k)),
            Cell(text=f"0x{w.register:02X}"),
            Cell(text=f"0x{w.word:04X}"),
            Cell(text=", ".join(q.replace("_", " ") for q in w.quantities)),
            Cell(text=w.frame.hex(" ") if w.frame is not None else "read first, keep the other bits"),
            Cell(text=w.why),
        )
        for k, w in enumerate(settings.writes, start=1)
    ]
    return Unfold(
        title="Writes in their order, with the bytes on the bus",
        blocks=(
            Table(
                caption="Writes in their order",
                heads=("", "register", "word", "sets", "frame", "why then"),
                aligns=("right", "left", "left", "left", "left", "left"),
                rows=tuple(rows),
            ),
        ),
    )


def _refresh(settings: Settings) -> str:
    refresh = settings.refresh
    assert refresh is not None, "asked only where a refresh is due"
    return (
        f"The host writes again every {show(refresh.interval, 's', 3)}, so that it is never taken for lost: the "
        f"shortest time-out is {show(refresh.shortest_timeout, 's', 3)}."
    )
