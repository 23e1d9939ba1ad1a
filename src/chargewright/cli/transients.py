"""The command that puts a design's path into time: plug, load, limits and hand-overs, each against its limits."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from chargewright.cli.progress import Line

if TYPE_CHECKING:
    from chargewright.studies.transients.product import Product
    from chargewright.studies.transients.record import Transients

FORMAT, VERSION = "chargewright transients", 1


def transients(
    design: Annotated[Path, typer.Argument(metavar="DESIGN", help="The design file (YAML).", show_default=False)],
    path: Annotated[str | None, typer.Option("--path", help="Key of the power path; by default the best one.")] = None,
    only: Annotated[list[str] | None, typer.Option("--only", help="Key of a transient; may be repeated.")] = None,
    switched: Annotated[
        bool, typer.Option("--switched", help="Run every switching edge instead of the averaged circuit.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the page, figures, waveforms and transients.json.")
    ] = None,
    parquet: Annotated[bool, typer.Option("--parquet", help="Write the waveforms as Parquet instead of CSV.")] = False,
    deck: Annotated[
        Path | None, typer.Option("--deck", help="Write the stage, open loop, as a SPICE deck into this file.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON to standard output.")] = False,
) -> int:
    """Run what happens in time: limits, hand-overs, load steps, plug and unplug, start from the pack."""
    from chargewright.studies.transients.run import transients as run

    with Line(quiet=as_json) as line:
        name, product = _product(design, path, line)
        found = run(
            product,
            only=tuple(only or ()),
            engine="switched" if switched else "averaged",
            progress=lambda step, share: line.tell(step, 0.3 + 0.6 * share),
        )
        if out is not None:
            line.tell("page, figures and waveforms", 0.9)
            _write(found, name, out, parquet=parquet)
            _write_stage(product, name, out, parquet=parquet)
    if deck is not None:
        _write_deck(product, deck)
    print(json.dumps(record(found), ensure_ascii=False, allow_nan=False) if as_json else _text(found))
    if not as_json and out is not None:
        print(f"\nPage: {out / 'transients.html'}   To explore: {out / 'waveforms.html'}")
    return 0 if found.passes else 1


def _product(design: Path, path: str | None, line: Line) -> "tuple[str, Product]":
    from chargewright.spec.load import load_design
    from chargewright.studies.one_path import studied_path
    from chargewright.studies.stability import stability
    from chargewright.studies.transients.run import product_of

    study, chosen = studied_path(load_design(design), design, path, lambda step, share: line.tell(step, 0.25 * share))
    line.tell("loops over the whole envelope", 0.26)
    return study.case.design.name, product_of(study.case, chosen, stability(study.case, chosen))


def _text(found: "Transients") -> str:
    lines = [f"What happens when: {found.path}"]
    for r in found.reports:
        lines += ["", f"{r.title} [{r.key}]", f"  {r.setting}", f"  {r.verdict}"]
        lines += [f"  {r.cause} What helps: {r.cure}."] if r.cause else []
        for m in r.measures:
            limit = "" if m.limit is None else f", limit {m.told(m.limit)}"
            lines.append(f"    {m.title}: {m.told(m.value)}{limit}{'' if m.passes else '  NOT KEPT'}")
    lines += ["", *(f"Not run: {left.title}; {left.why}." for left in found.left_out)]
    lines += ["", *found.assumptions]
    lines += ["A model, no measurement: probe the built product before anyone relies on it, and have it reviewed."]
    return "\n".join(lines)


def record(found: "Transients") -> dict[str, Any]:
    """Return transients as plain data; keys carry their units, those of a measure in `unit`."""
    from chargewright.report.data.transients import transient_measures_table, transient_waves_table, transients_table
    from chargewright.report.record import columns_of, rows_of

    return {
        "format": FORMAT,
        "version": VERSION,
        "path": found.path,
        "passes": found.passes,
        "transients": rows_of(transients_table(found)),
        "measures": rows_of(transient_measures_table(found)),
        "waves": columns_of(transient_waves_table(found)),
        "events": {r.key: [{"t_s": t, "words": words} for t, words in r.events] for r in found.reports},
        "assumptions": [*found.assumptions, *(a for r in found.reports for a in r.assumptions)],
    }


def _write(found: "Transients", name: str, out: Path, *, parquet: bool) -> None:
    from chargewright.base.files import save_bytes_atomically, save_text_atomically
    from chargewright.base.version import own_version
    from chargewright.bridges.table_files import save_table, table_notes
    from chargewright.report.blocks import Chapter, Document
    from chargewright.report.chapters.transients import transient_blocks
    from chargewright.report.data.transients import wave_columns
    from chargewright.report.figures.transient import transient_picture
    from chargewright.report.html import html_page
    from chargewright.report.pdf import png_bytes
    from chargewright.report.transient_views import transient_views
    from chargewright.report.waveform_page import waveform_page

    out.mkdir(parents=True, exist_ok=True)
    for r in found.reports:
        table = out / f"{r.key}.{'parquet' if parquet else 'csv'}"
        save_table(table, wave_columns(r), notes=table_notes(f"{name}, {found.path}: {r.title}", setting=r.setting))
        picture = transient_picture(r)
        save_text_atomically(out / f"{r.key}.svg", picture.svg)
        save_bytes_atomically(out / f"{r.key}.png", png_bytes(picture))
    chapter = Chapter(
        key="transients", title="What happens when", question="Does it withstand what happens to it?",
        blocks=tuple(transient_blocks(found)),
    )  # fmt: skip
    page = Document(
        title=name, subtitle=f"Path {found.path}, in time", date="", made_by=f"Chargewright {own_version()}",
        chapters=(chapter,),
    )  # fmt: skip
    save_text_atomically(out / "transients.html", html_page(page))
    if found.reports:
        views = transient_views(found)
        save_text_atomically(out / "waveforms.html", waveform_page(name, page.subtitle, page.made_by, views))
    save_text_atomically(out / "transients.json", json.dumps(record(found), ensure_ascii=False, allow_nan=False) + "\n")


def _write_stage(product: "Product", name: str, out: Path, *, parquet: bool) -> None:
    """Write two steady periods of the stage as a table, and the stage as a deck."""
    from chargewright.bridges.table_files import save_table, table_notes
    from chargewright.studies.transients.steady_wave import steady_wave

    wave = steady_wave(product)
    table = {
        "t_s": wave.t,
        "i_coil_A": wave.i_coil,
        "v_switch_V": wave.v_switch,
        "i_input_capacitor_A": wave.i_input_capacitor,
        "i_output_capacitor_A": wave.i_output_capacitor,
    }
    notes = table_notes(f"{name}, {product.path.key}: two steady periods of the stage", setting=wave.words)
    save_table(out / f"stage.{'parquet' if parquet else 'csv'}", table, notes=notes)
    _write_deck(product, out / "stage.cir")


def _write_deck(product: "Product", file: Path) -> None:
    from chargewright.base.files import save_text_atomically
    from chargewright.studies.transients.steady_wave import stage_deck

    save_text_atomically(file, stage_deck(product))
