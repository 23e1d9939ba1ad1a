"""The command that runs only the usage: days by the usage table or a measured log, what they bring, and why.

Exit codes: 0 every load is served; 1 done, but some load is not served or some peak brings the bus too low; 2 the input
cannot be used.
"""

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from chargewright.cli.progress import Line

if TYPE_CHECKING:
    from chargewright.studies.one_path import BuiltPath
    from chargewright.studies.usage.charger_energy import ChargerEnergy
    from chargewright.studies.usage.record import UsageRun
    from chargewright.studies.usage.series import Demand, LoadLog

_SHARE_OF_PARTS = 0.6
_LOSSES_SHOWN = 8
_GAPS, _BAD_ROWS = ("refuse", "hold", "off"), ("refuse", "drop")
_CAPACITY, _RESISTANCE = (0.05, 1.2), (0.2, 20.0)
"""Accepted for a worn pack, over a new one [1]; better than new is a what-if."""
_WORST_ENCLOSURE = 100.0
"""[K/W]"""
_YEAR = 365.0
"""Days."""


def usage(
    design: Annotated[Path, typer.Argument(metavar="DESIGN", help="The design file (YAML).", show_default=False)],
    log: Annotated[Path | None, typer.Option("--log", help="Measured load log (CSV); else the usage table.")] = None,
    days: Annotated[
        float | None, typer.Option("--days", help="How long; by default 30, or as long as the log.")
    ] = None,
    path: Annotated[str | None, typer.Option("--path", help="Key of the power path; by default the best one.")] = None,
    start: Annotated[str, typer.Option("--from", help="State of charge at the start.", metavar="SOC")] = "100 %",
    ambient: Annotated[
        str | None, typer.Option("--ambient", help="Temperature around, like '0 °C'; by default the typical one.")
    ] = None,
    enclosure: Annotated[
        str | None, typer.Option("--enclosure", help="How the path's losses warm the pack, like '3 K/W'.")
    ] = None,
    self_discharge: Annotated[
        str, typer.Option("--self-discharge", help="Share of the capacity lost in 30 days.", metavar="SHARE")
    ] = "2 %",
    capacity: Annotated[str, typer.Option("--capacity", help="Capacity of the worn pack over a new one.")] = "100 %",
    resistance: Annotated[
        str, typer.Option("--resistance", help="Resistance of the worn pack over a new one.")
    ] = "100 %",
    rest_days: Annotated[int, typer.Option("--rest-days", help="Days switched off after every five of use.")] = 0,
    rest_source: Annotated[str, typer.Option("--rest-source", help="What feeds it on those days.")] = "none",
    step: Annotated[str, typer.Option("--step", help="Step over which a log is averaged.")] = "1 s",
    column: Annotated[
        list[str] | None,
        typer.Option("--column", help="A column of the log, like 'power=P_total'.", metavar="ROLE=HEAD"),
    ] = None,
    unit: Annotated[
        list[str] | None, typer.Option("--unit", help="Unit of a column without one.", metavar="ROLE=UNIT")
    ] = None,
    gaps: Annotated[str, typer.Option("--gaps", help="In gaps of the log: refuse, hold or off.")] = "refuse",
    bad_rows: Annotated[str, typer.Option("--bad-rows", help="Rows that cannot be read: refuse or drop.")] = "refuse",
    flip: Annotated[bool, typer.Option("--flip-sign", help="The log counts consumption as negative.")] = False,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for tables, usage.json, usage.svg, pack_bdf.csv.")
    ] = None,
    parquet: Annotated[bool, typer.Option("--parquet", help="Write the tables as Parquet instead of CSV.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON to standard output.")] = False,
) -> int:
    """Run a design through days of use: charge, wall energy, losses, overloads and brown-outs with their causes."""
    from dataclasses import replace

    from chargewright.base.errors import ChargewrightError
    from chargewright.base.files import require_replaceable, write_folder_atomically
    from chargewright.cli.given import ambient_given, given, start_given
    from chargewright.parts.pack import aged
    from chargewright.spec.load import load_design
    from chargewright.studies.one_path import built_path
    from chargewright.studies.usage.run import usage as run_usage
    from chargewright.studies.usage.series import log_demand, table_demand
    from chargewright.studies.usage.settings import MONTH, UsageSettings

    if out is not None:
        require_replaceable(out)
    settings = UsageSettings(
        soc_start=start_given(start),
        ambient=() if ambient is None else (ambient_given(ambient),),
        enclosure=0.0 if enclosure is None else given("--enclosure", enclosure, "K/W", 0.0, _WORST_ENCLOSURE),
        self_discharge=given("--self-discharge", self_discharge, "1", 0.0, 1.0) / MONTH,
    )
    left = given("--capacity", capacity, "1", *_CAPACITY)
    grown = given("--resistance", resistance, "1", *_RESISTANCE)
    in_gaps, in_bad_rows = _one_of("--gaps", gaps, *_GAPS), _one_of("--bad-rows", bad_rows, *_BAD_ROWS)
    if rest_days < 0:
        raise ChargewrightError(f"--rest-days {rest_days}: a number of days, 0 for none")
    loaded = load_design(design)
    with Line(quiet=as_json) as line:
        wanted = None if log is None else _read_log(log, step, column, unit, in_gaps, in_bad_rows, flip, line.tell)
        built = built_path(loaded, design, path, lambda what, share: line.tell(what, _SHARE_OF_PARTS * share))
        worn = aged(built.case.pack, capacity=left, resistance=grown)
        case = replace(built.case, pack=worn)
        demand = (
            table_demand(case, work_days=5 if rest_days else 7, rest_days=rest_days, rest_source=rest_source)
            if wanted is None
            else log_demand(case, wanted)
        )
        run = run_usage(
            case,
            built.plan,
            built.hardware,
            built.build,
            demand=demand,
            settings=replace(settings, days=_days(days, wanted)),
            progress=lambda what, share: line.tell(what, _SHARE_OF_PARTS + (1.0 - _SHARE_OF_PARTS) * share),
        )
        charger, why_not = _charger(replace(built, case=case), demand)
    found = record(run, charger)
    if as_json:
        print(json.dumps(found, ensure_ascii=False, allow_nan=False))
    else:
        print(summary(run, charger, why_not))
    if out is not None:
        write_folder_atomically(out, lambda folder: _write(folder, run, found, "parquet" if parquet else "csv"))
        if not as_json:
            print(f"\nTables and figure: {out}")
    return 0 if run.t_unserved == 0.0 and run.brown_outs == 0.0 else 1


def _read_log(
    path: Path, step: str, columns: list[str] | None, units: list[str] | None, gaps: Any, bad: Any, flip: bool,
    tell: Callable[[str, float], None],
) -> "LoadLog":  # fmt: skip
    from chargewright.base.units import parse
    from chargewright.bridges.load_log import read_load_log

    return read_load_log(
        path,
        step=parse(step, "s"),
        columns=_pairs("--column", columns),
        units=_pairs("--unit", units),
        gaps=gaps,
        bad=bad,
        negative="flip" if flip else "refuse",
        progress=lambda share: tell("reading the log", 0.2 * share),
    )


def _pairs(option: str, given: list[str] | None) -> dict[str, str]:
    from chargewright.base.errors import ChargewrightError

    found = {}
    for text in given or []:
        role, sign, value = text.partition("=")
        if not sign or not value.strip():
            raise ChargewrightError(f"{option} {text}: write a role, '=' and a value, like 'time=elapsed'")
        found[role.strip()] = value.strip()
    return found


def _one_of(option: str, given: str, *accepted: str) -> Any:
    from chargewright.base.errors import ChargewrightError

    if given not in accepted:
        raise ChargewrightError(f"{option} {given}: this can be {', '.join(accepted)}")
    return given


def _days(days: float | None, log: "LoadLog | None") -> float:
    from chargewright.base.errors import ChargewrightError

    found = days if days is not None else 30.0 if log is None else log.duration / 86400.0
    if not math.isfinite(found) or not 0.0 < found <= 3660.0:
        raise ChargewrightError(f"--days {found:g}: a run lasts more than none and at most 3660 days, ten years")
    return found


def _charger(built: "BuiltPath", demand: "Demand") -> "tuple[ChargerEnergy | None, str]":
    """Return the figures of the charger rule on the first source in use; where there are none, why not."""
    from chargewright.base.errors import NoSolution
    from chargewright.studies.usage.charger_energy import charger_energy

    names = demand.series.sources or tuple(built.plan.contracts)
    try:
        return charger_energy(built.case, built.plan, built.hardware, names[0]), ""
    except NoSolution as error:
        return None, f"As a battery charger: {error}."


def summary(run: "UsageRun", charger: "ChargerEnergy | None", why_not: str = "") -> str:
    """Return a run as text of about a screen; `why_not` says why there are no figures of the charger rule."""
    from chargewright.base.units import show, show_energy
    from chargewright.studies.usage.charger_energy import charger_words

    days, d = run.length / 86400.0, run.daily
    lost = sum(x.energy for x in run.lines if x.side == "loss")
    in_source = run.e_wall - float(sum(d.e_source))
    lines = [
        f"{run.path}: {show(run.length, 's', 3)} of {run.title}",
        "",
        *(f"  * {s.text}" for s in run.stories),
        "",
        f"  a day: {show_energy(run.e_wall / days)} from the wall: {show_energy(run.e_load / days)} to the rails, "
        f"{show_energy(lost / days, 3)} lost between the source and them, {show_energy(in_source / days, 3)} in the "
        f"source itself; {run.cycles / days:.3g} full cycles",
        f"  a year of such days: {show_energy(run.e_wall / days * _YEAR, 3)} from the wall, "
        f"{run.cycles / days * _YEAR:.3g} full cycles (charge out of the pack over that between empty and full)",
        f"  pack: {show(run.soc_start, '1', 3)} at the start, {show(run.soc_end, '1', 3)} at the end, "
        f"{show(float(min(d.soc_low)), '1', 3)} at the lowest; {show(float(min(d.temp_low)), 'K', 3)} to "
        f"{show(float(max(d.temp_high)), 'K', 3)}",
        "",
        "  where it is lost between source and rails, a day:",
    ]
    for x in sorted((x for x in run.lines if x.side == "loss"), key=lambda x: -x.energy)[:_LOSSES_SHOWN]:
        lines.append(f"    {show_energy(x.energy / days, 3):>10}  {x.where}: {x.cause}")
    lines += ["", "  time:"]
    for t in sorted(run.times, key=lambda t: -t.seconds):
        limit = "" if t.limit == "none" else f", limited by {t.limit}"
        lines.append(f"    {100.0 * t.seconds / run.length:5.1f} %  {t.state}{limit}")
    words = why_not if charger is None else charger_words(charger)
    lines += ["", f"  {words}"] if words else []
    lines += ["", "  Taken for granted:", *(f"    {s}" for s in run.said)]
    return "\n".join(lines)


def record(run: "UsageRun", charger: "ChargerEnergy | None") -> dict[str, Any]:
    """Return a run as plain data; keys carry their units."""
    d = run.daily
    energies = ("e_asked", "e_load", "e_wall", "e_source", "e_loss", "e_from_cells", "e_into_cells", "e_supplement")
    times = ("t_source", "t_unserved", "t_overload", "t_blocked")
    found: dict[str, Any] = {
        "path": run.path,
        "title": run.title,
        "length_s": run.length,
        "soc_start": run.soc_start,
        "soc_end": run.soc_end,
        "cycles": run.cycles,
        "brown_outs": run.brown_outs,
        "unaccounted": run.unaccounted,
        "stories": [{"key": s.key, "text": s.text} for s in run.stories],
        "said": list(run.said),
        "totals": {
            **{f"{name}_J": float(sum(getattr(d, name))) for name in energies},
            **{f"{name}_s": float(sum(getattr(d, name))) for name in times},
        },
        "balance": [{"where": x.where, "cause": x.cause, "side": x.side, "energy_J": x.energy} for x in run.lines],
        "states": [{"state": x.state, "limit": x.limit, "t_s": x.seconds} for x in run.times],
        "counts": run.counts,
        "peaks": [
            {
                "source": p.source,
                "mode": p.mode,
                "soc": list(p.soc),
                "v_lowest_V": list(p.v_lowest),
                "v_needed_V": p.v_needed,
                "per_day": p.per_day,
                "cause": p.cause,
            }
            for p in run.peaks
        ],
    }
    if charger is not None:
        found["charger_rule"] = {
            "source": charger.source,
            "class": charger.class_,
            "e_batt_J": charger.e_batt,
            "t_charge_s": charger.t_charge,
            "t_test_s": charger.t_test,
            "e_24_J": charger.e_24,
            "p_maintenance_W": charger.p_maintenance,
            "p_no_battery_W": charger.p_no_battery,
            "e_year_J": charger.e_year,
            "limit_J": charger.limit,
            "note": charger.note,
            "remark": charger.remark,
        }
    return found


def _write(folder: Path, run: "UsageRun", found: dict[str, Any], ending: str) -> None:
    from chargewright.bridges.bdf import usage_bdf
    from chargewright.bridges.run_tables import usage_tables
    from chargewright.bridges.table_files import save_table, table_notes
    from chargewright.report.figures.usage import usage_picture

    for name, (title, columns) in usage_tables(run).items():
        save_table(folder / f"{name}.{ending}", columns, notes=table_notes(f"{run.title}, {title}", path=run.path))
    (folder / "usage.svg").write_text(usage_picture(run).svg, encoding="utf-8")
    (folder / "pack_bdf.csv").write_text(usage_bdf(run), encoding="utf-8")
    (folder / "usage.json").write_text(
        json.dumps(found, ensure_ascii=False, indent=2, allow_nan=False), encoding="utf-8"
    )
