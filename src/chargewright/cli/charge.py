"""The command that runs only the charge: phases, times, limits in words, audit; curves as CSV and figure."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from chargewright.cli.progress import Line

if TYPE_CHECKING:
    from chargewright.studies.charge import ChargePlan


def charge(
    design: Annotated[Path, typer.Argument(metavar="DESIGN", help="The design file (YAML).", show_default=False)],
    path: Annotated[str | None, typer.Option("--path", help="Key of the power path; by default the best one.")] = None,
    source: Annotated[
        str | None, typer.Option("--source", help="Name of the source; by default the strongest in use.")
    ] = None,
    start: Annotated[str, typer.Option("--from", help="State of charge at the start.", metavar="SOC")] = "0 %",
    ambient: Annotated[
        str | None, typer.Option("--ambient", help="Temperature around, like '0 °C'; by default the typical one.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for charge.csv, charge.svg, charge_bdf.csv.")
    ] = None,
    parquet: Annotated[bool, typer.Option("--parquet", help="Write the table as Parquet instead of CSV.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON to standard output.")] = False,
) -> int:
    """Charge the pack of a design: phases, times, which limit ruled when, and the audit against the cell."""
    from chargewright.base.files import require_writable, save_text_atomically
    from chargewright.bridges.bdf import charge_bdf
    from chargewright.bridges.run_tables import charge_table
    from chargewright.bridges.table_files import save_table, table_notes
    from chargewright.cli.given import ambient_given, start_given
    from chargewright.report.figures.charge_curves import charge_picture
    from chargewright.spec.load import load_design
    from chargewright.studies.charge_alone import charge_alone

    if out is not None:
        require_writable(out)
    soc_start, temp_ambient = start_given(start), None if ambient is None else ambient_given(ambient)
    loaded = load_design(design)
    with Line(quiet=as_json) as line:
        case, plan = charge_alone(
            loaded,
            design,
            path=path,
            source=source,
            soc_start=soc_start,
            temp_ambient=temp_ambient,
            progress=line.tell,
        )
    if as_json:
        print(json.dumps(record(plan), ensure_ascii=False, allow_nan=False))
    else:
        print(story(plan))
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        curves = out / f"charge.{'parquet' if parquet else 'csv'}"
        save_table(curves, charge_table(plan.run), notes=table_notes(f"{loaded.name}, {plan.title}"))
        save_text_atomically(out / "charge_bdf.csv", charge_bdf(plan.run))
        save_text_atomically(out / "charge.svg", charge_picture(plan, case.pack.series, case.pack.v_cell_max).svg)
        if not as_json:
            print(f"\nCurves: {curves}   Figure: {out / 'charge.svg'}")
    return 0 if plan.run.ended_by == "termination" and all(row.ok for row in plan.run.audit) else 1


def story(plan: "ChargePlan") -> str:
    """Return a charge as text of about a screen."""
    from chargewright.base.units import show
    from chargewright.sim.charge_phases import phases

    run = plan.run
    lines = [f"{plan.title}; {plan.contract}; ambient {show(plan.temp_ambient, 'K', 3)}", ""]
    for phase in phases(run.trace):
        amps = f"{show(phase.i_start, 'A', 3)} to {show(phase.i_end, 'A', 3)}"
        lines.append(
            f"  {show(phase.t_start, 's'):>10}  {amps:<20} {phase.words}; {show(phase.soc_end, '1', 3)} at its end"
        )
    lines += [*([""] if len(lines) > 2 else []), f"{_times(plan)} {run.cause}"]
    if run.t_end > 0.0:
        lines += [_energies(plan), _warmth(plan)]
    lines += ["", "Against the cell's limits:"]
    for row in run.audit:
        verdict = "in order" if row.ok else "NOT IN ORDER"
        note = f" ({row.note})" if row.note else ""
        value, limit = show(row.value, row.unit, 5), show(row.limit, row.unit, 5)
        lines.append(f"  {verdict}: {row.what} {value}, limit {limit}{note}")
    lines += [f"  {finding.severity}: {finding.what}" for finding in run.findings]
    lines += ["", "A simulated charge is no charger: timers, thermistor and the pack's protection stay in place."]
    return "\n".join(lines)


def _times(plan: "ChargePlan") -> str:
    from chargewright.base.units import show

    run = plan.run
    parts = [f"80 % after {show(run.t_80, 's')}" if run.t_80 is not None else "80 % is never met"]
    if run.t_voltage is not None:
        parts.append(f"at the charge voltage after {show(run.t_voltage, 's')}")
    ended = "full" if run.ended_by == "termination" else "broken off"
    return ", ".join([*parts, f"{ended} after {show(run.t_end, 's')}."])


def _energies(plan: "ChargePlan") -> str:
    """Return where the energy from the wall goes; what is left in the RC pairs counts with the heat of the pack."""
    from chargewright.base.units import show_energy

    run = plan.run
    in_pack, system = run.energy_in - run.energy_stored, plan.p_load * run.t_end
    between = plan.e_source - run.energy_in - system
    return (
        f"From the wall {show_energy(plan.e_wall)}: {show_energy(run.energy_stored)} stored, {show_energy(system, 3)} "
        f"to the system, {show_energy(in_pack, 3)} lost in the pack, {show_energy(between, 3)} in cable, path and "
        f"rails, {show_energy(plan.e_wall - plan.e_source, 3)} in the source itself."
    )


def _warmth(plan: "ChargePlan") -> str:
    from chargewright.base.units import show

    hottest = float(plan.run.trace.temp.max())
    return f"The cells reach {show(hottest, 'K', 3)}, {hottest - plan.temp_ambient:.1f} K above the ambient."


def record(plan: "ChargePlan") -> dict[str, Any]:
    """Return a charge as plain data; keys carry their units."""
    from dataclasses import asdict

    from chargewright.sim.charge_phases import phases

    run = plan.run
    return {
        "title": plan.title,
        "source": plan.source,
        "contract": plan.contract,
        "p_load_W": plan.p_load,
        "temp_ambient_K": plan.temp_ambient,
        "ended_by": run.ended_by,
        "cause": run.cause,
        "t_80_s": run.t_80,
        "t_voltage_s": run.t_voltage,
        "t_end_s": run.t_end,
        "t_timer_s": run.t_timer,
        "soc_end": float(run.trace.soc[-1]),
        "charge_C": run.charge,
        "e_wall_J": plan.e_wall,
        "e_source_J": plan.e_source,
        "e_stored_J": run.energy_stored,
        "heat_cells_J": run.heat_cells,
        "heat_leads_J": run.heat_leads,
        "e_system_J": plan.p_load * run.t_end,
        "temp_max_K": float(run.trace.temp.max()),
        "v_cell_highest_V": float(run.trace.v_cell_highest.max()),
        "seconds_by_limit": run.seconds,
        "phases": [
            {
                "limit": phase.limit,
                "words": phase.words,
                "t_start_s": phase.t_start,
                "t_end_s": phase.t_end,
                "i_start_A": phase.i_start,
                "i_end_A": phase.i_end,
                "soc_end": phase.soc_end,
            }
            for phase in phases(run.trace)
        ],
        "audit": [asdict(row) for row in run.audit],
    }
