"""The command that runs orders of events: all of them by search, or one script.

Exit codes: 0 nothing bad is found; 1 done, and something is; 2 the input cannot be used.
"""

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from chargewright.cli.progress import Line

if TYPE_CHECKING:
    from chargewright.sim.sequence_rules import Machine
    from chargewright.studies.one_path import BuiltPath
    from chargewright.studies.sequences.record import Leg, Sequences

_SHARE_OF_PARTS = 0.5
_CHANGES_SHOWN = 24


def sequence(
    design: Annotated[Path, typer.Argument(metavar="DESIGN", help="The design file (YAML).", show_default=False)],
    path: Annotated[str | None, typer.Option("--path", help="Key of the power path; by default the best one.")] = None,
    script: Annotated[
        str | None,
        typer.Option("--script", help="One order of events, like 'plug, boot, unplug@20 ms'; else every order."),
    ] = None,
    source: Annotated[str | None, typer.Option("--source", help="Name of one source; by default each in turn.")] = None,
    early: Annotated[
        int, typer.Option("--early", help="At how many instants before all is at rest further events come.")
    ] = 2,
    out: Annotated[Path | None, typer.Option("--out", help="Folder for tables, figures and sequence.json.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON to standard output.")] = False,
) -> int:
    """Run events in every order (plug, contract, boot, peak, unplug …): what resets, cycles, latches or stays dead."""
    from chargewright.base.errors import ChargewrightError
    from chargewright.base.near import hint_of
    from chargewright.spec.load import load_design
    from chargewright.studies.one_path import built_path
    from chargewright.studies.sequences.script import parse_script

    words = None if script is None else parse_script(script)
    if not 0 <= early <= 8:
        raise ChargewrightError(f"--early {early}: this can be 0 to 8")
    with Line(quiet=as_json) as line:
        built = built_path(load_design(design), design, path, lambda what, share: line.tell(what, share / 2.0))
        names = tuple(built.plan.contracts)
        if source is not None and source not in names:
            raise ChargewrightError(f"--source {source}: no such source; {hint_of(source, names)}")
        chosen = names if source is None else (source,)
        if words is not None:
            return _one(built, words, chosen[0] if source else built.plan.strongest, out, as_json)
        return _every(built, chosen, early, out, as_json, line)


def _every(
    built: "BuiltPath", sources: tuple[str, ...], early: int, out: Path | None, as_json: bool, line: Line
) -> int:
    from chargewright.studies.sequences.run import sequences
    from chargewright.studies.settings import settings
    from chargewright.studies.stability import loops_if_any

    found = sequences(
        built.case,
        built.plan,
        built.hardware,
        built.build,
        coded=settings(built.case, built.plan, built.build),
        loops=loops_if_any(built.case, built.plan, built.hardware, built.build),
        sources=sources,
        midway=early,
        most=2000,
        progress=lambda what, share: line.tell(what, _SHARE_OF_PARTS + (1.0 - _SHARE_OF_PARTS) * share),
    )
    record = record_of(found)
    print(json.dumps(record, ensure_ascii=False, allow_nan=False) if as_json else summary(found))
    if out is not None:
        _write_every(out, found, record)
        if not as_json:
            print(f"\nTables and figures: {out}")
    return 1 if found.outcomes else 0


def _one(built: "BuiltPath", words: tuple[str, ...], source: str, out: Path | None, as_json: bool) -> int:
    from chargewright.studies.sequences.judge import verdicts
    from chargewright.studies.sequences.machine import machine_of
    from chargewright.studies.sequences.record import OUTCOMES
    from chargewright.studies.sequences.script import run_script
    from chargewright.studies.sequences.settings import SequenceSettings
    from chargewright.studies.settings import settings
    from chargewright.studies.stability import loops_if_any

    coded = settings(built.case, built.plan, built.build)
    loops = loops_if_any(built.case, built.plan, built.hardware, built.build)
    machine = machine_of(built.case, built.plan, built.hardware, built.build, source, SequenceSettings(), coded, loops)
    legs = run_script(machine, words, record=True)
    bad = [(leg.word, v) for leg in legs for v in verdicts(machine, leg.passage, leg.word.partition("@")[0])]
    said = [f"{OUTCOMES[v.key][0]}, at '{word}': {v.cause}" for word, v in bad]
    record = _script_record(built.plan.path.key, source, legs, said, machine)
    print(json.dumps(record, ensure_ascii=False, allow_nan=False) if as_json else _told(source, legs, said))
    if out is not None:
        _write_one(out, legs, record, " ".join(said) or "Nothing bad happens.")
        if not as_json:
            print(f"\nTable and figure: {out}")
    return 1 if bad else 0


def summary(found: "Sequences") -> str:
    """Return a search as text."""
    lines = [f"Events on {found.path}, in every order"]
    for s in found.sources:
        lines += [
            "",
            f"{s.source}, {s.contract}: {len(s.states)} states in which it comes to rest"
            + (f" ({s.cycles} of them limit cycles)" if s.cycles else "")
            + f", {len(s.links)} transitions and {s.broken_into} that were broken into; "
            f"{s.orders} orders of up to {s.length} events" + ("" if s.whole else "; the search was CUT OFF"),
        ]
        if not s.outcomes:
            lines.append("  nothing bad in any of them")
        for o in s.outcomes:
            lines += [
                f"  {o.severity}: {o.title}",
                f"    {', '.join(o.script)}   (ways that lead there: {o.ways})",
                f"    {o.cause}",
                f"    {'helps, tried: ' + o.cure.change if o.cure else 'no change that was tried clears it'}",
            ]
    if found.left_out:
        lines += ["", f"Not run: {', '.join(found.left_out)}"]
    lines += ["", "Taken for granted:", *(f"  {a}" for a in found.assumptions)]
    lines += ["A model's orders: try them on the bench, pack guarded, and have them reviewed by qualified people."]
    return "\n".join(lines)


def _told(source: str, legs: "tuple[Leg, ...]", said: list[str]) -> str:
    from chargewright.base.units import show

    lines = [f"{', '.join(leg.word for leg in legs)}   on {source}"]
    for leg in legs:
        end = leg.passage.end
        lines += ["", f"{show(leg.t, 's', 5)}  {leg.title}"]
        lines += [f"    +{show(t - leg.t, 's', 4):>10}  {what}" for t, what in leg.changes[:_CHANGES_SHOWN]]
        if len(leg.changes) > _CHANGES_SHOWN:
            lines.append(f"    … and {len(leg.changes) - _CHANGES_SHOWN} more")
        every = f"limit cycle, every {show(leg.passage.period, 's', 4)}"
        ending_words = every if leg.passage.cycle else leg.passage.ending
        lines.append(
            f"    {ending_words}: bus {show(end.v_bus, 'V', 4)}, source {show(end.i_source, 'A', 3)}, "
            f"pack {show(end.i_pack, 'A', 3)}"
        )
    return "\n".join([*lines, "", *(said or ["Nothing bad happens."])])


def record_of(found: "Sequences") -> dict[str, Any]:
    """Return a search as plain data; keys carry their units."""
    return {
        "format": "chargewright sequence",
        "version": 1,
        "path": found.path,
        "assumptions": list(found.assumptions),
        "sources": [
            {
                "source": s.source,
                "contract": s.contract,
                "orders": s.orders,
                "length": s.length,
                "whole": s.whole,
                "broken_into": s.broken_into,
                "unaccounted": s.unaccounted,
                "values": _machine(s.machine),
                "states": [
                    {
                        "script": list(n.script),
                        "words": n.words,
                        "ending": n.ending,
                        "v_bus_V": n.standing.v_bus,
                        "i_source_A": n.standing.i_source,
                        "i_pack_A": n.standing.i_pack,
                    }
                    for n in s.states
                ],
                "transitions": [{"from": k.start, "event": k.event, "to": k.end} for k in s.links],
                "outcomes": [
                    {
                        "key": o.key,
                        "severity": o.severity,
                        "title": o.title,
                        "script": list(o.script),
                        "period_s": _finite(o.period),
                        "i_source_peak_A": o.i_peak,
                        "v_bus_lowest_V": _finite(o.v_low),
                        "ways": o.ways,
                        "cause": o.cause,
                        "cure": o.cure.change if o.cure else None,
                    }
                    for o in s.outcomes
                ],
            }
            for s in found.sources
        ],
    }


def _machine(machine: "Machine") -> dict[str, float | bool]:
    return {k: v if isinstance(v, bool) else float(v) for k, v in machine._asdict().items()}


def _finite(x: float) -> float | None:
    return x if math.isfinite(x) else None


def _script_record(
    path: str, source: str, legs: "tuple[Leg, ...]", said: list[str], machine: "Machine"
) -> dict[str, Any]:
    return {
        "format": "chargewright sequence script",
        "version": 1,
        "path": path,
        "source": source,
        "values": _machine(machine),
        "said": said,
        "events": [
            {
                "word": leg.word,
                "t_s": leg.t,
                "ending": leg.passage.ending,
                "period_s": _finite(leg.passage.period),
                "v_bus_V": leg.passage.end.v_bus,
                "i_source_A": leg.passage.end.i_source,
                "i_pack_A": leg.passage.end.i_pack,
                "i_source_peak_A": leg.passage.sums.i_peak,
                "v_bus_lowest_V": _finite(leg.passage.sums.v_low),
                "changes": [{"t_s": t, "what": what} for t, what in leg.changes],
            }
            for leg in legs
        ],
    }


def _write_every(out: Path, found: "Sequences", record: dict[str, Any]) -> None:
    from chargewright.base.files import write_folder_atomically
    from chargewright.report.data.sequences import orders_table, rest_table
    from chargewright.report.figures.sequence import sequence_picture
    from chargewright.report.tables import csv_text
    from chargewright.studies.sequences.script import run_script

    def write(folder: Path) -> None:
        (folder / "outcomes.csv").write_text(csv_text(orders_table(found)), encoding="utf-8")
        (folder / "states.csv").write_text(csv_text(rest_table(found)), encoding="utf-8")
        (folder / "sequence.json").write_text(json.dumps(record, ensure_ascii=False, indent=2), encoding="utf-8")
        for s in found.sources:
            for k, o in enumerate(s.outcomes, start=1):
                legs = run_script(s.machine, o.script, record=True)
                name = f"{'-'.join(s.source.split())}-{k}-{o.key}.svg"
                (folder / name).write_text(sequence_picture(legs, o.cause).svg, encoding="utf-8")

    write_folder_atomically(out, write)


def _write_one(out: Path, legs: "tuple[Leg, ...]", record: dict[str, Any], message: str) -> None:
    from chargewright.base.files import write_folder_atomically
    from chargewright.report.data.sequences import waveform_table
    from chargewright.report.figures.sequence import sequence_picture
    from chargewright.report.tables import csv_text

    def write(folder: Path) -> None:
        (folder / "waveform.csv").write_text(csv_text(waveform_table(legs)), encoding="utf-8")
        (folder / "sequence.json").write_text(json.dumps(record, ensure_ascii=False, indent=2), encoding="utf-8")
        (folder / "sequence.svg").write_text(sequence_picture(legs, message).svg, encoding="utf-8")

    write_folder_atomically(out, write)
