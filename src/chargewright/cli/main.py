"""The command line: study a design file, check one, start one, print the schemas.

Exit codes: 0 done; 1 done, but no path can do the job; 2 the input cannot be used; 130 stopped by the user.
"""

import io
import json
import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from chargewright.base.errors import ChargewrightError
from chargewright.cli.charge import charge
from chargewright.cli.loops import loops
from chargewright.cli.prepare import prepare
from chargewright.cli.progress import Line
from chargewright.cli.sequence import sequence
from chargewright.cli.transients import transients
from chargewright.cli.usage import usage

_STUDY_SHARE = 0.6
"""Share of the work that the study is; the rest is the report."""

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Decide, size and document the power path of a battery-powered product, from one design file.",
    epilog="Lithium packs and power stages hurt people: results support, and never replace, qualified review.",
)

DesignFile = Annotated[Path, typer.Argument(metavar="DESIGN", help="The design file (YAML).", show_default=False)]


@app.command()
def study(
    design: DesignFile,
    out: Annotated[
        Path | None, typer.Option("--out", help="Report folder; by default DESIGN's name with '-report', here.")
    ] = None,
    no_pdf: Annotated[bool, typer.Option("--no-pdf", help="Leave the PDF out.")] = False,
    no_png: Annotated[bool, typer.Option("--no-png", help="Leave the PNG copies of the figures out.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the study record (JSON) to standard output; write no report.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress, no summary.")] = False,
) -> int:
    """Study a design: verdict, watts, parts, charge, set-points, protections, test plan; write the report."""
    from chargewright.base.files import require_replaceable
    from chargewright.dossier.door import study as make_study

    folder = out or Path(f"{design.stem}-report")
    if not as_json:
        require_replaceable(folder)
    studying = 1.0 if as_json else _STUDY_SHARE
    with Line(quiet=quiet) as line:
        dossier = make_study(design, progress=lambda step, share: line.tell(step, studying * share))
        if as_json:
            from chargewright.report.record import study_record

            print(json.dumps(study_record(dossier), allow_nan=False))
        else:
            from chargewright.report.write import write_report

            files = write_report(
                dossier,
                folder,
                pdf=not no_pdf,
                png=not no_png,
                progress=lambda step, share: line.tell(step, studying + (1.0 - studying) * share),
            )
    if not as_json and not quiet:
        from chargewright.cli.summary import summary

        print(summary(dossier, files))
    return 0 if dossier.study.winner is not None else 1


@app.command()
def check(design: DesignFile) -> int:
    """Check a design file without studying it."""
    from chargewright.spec.load import load_design
    from chargewright.studies.situation import situation

    loaded = load_design(design)
    situation(loaded, design.parent, design)  # what only cells, sources and controller can tell
    print(f"{design}: in order. {loaded.name}: {len(loaded.sources)} source(s), {loaded.pack.series} cells in series.")
    return 0


@app.command()
def starter(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write it.", show_default=False)],
    name: Annotated[str, typer.Option("--name", help="What the product is called.")] = "My product",
    force: Annotated[bool, typer.Option("--force", help="Replace a file that is there.")] = False,
) -> int:
    """Write a commented design file to start from."""
    from chargewright.base.files import save_text_atomically
    from chargewright.spec.load import parse_design
    from chargewright.spec.starter import starter_text

    if file.exists() and not force:
        raise ChargewrightError(f"{file} is there already; choose another name, or --force to replace it")
    text = starter_text(name)
    parse_design(text, str(file))  # a name that no design file may have is refused before anything is written
    save_text_atomically(file, text)
    print(f"{file}: written. Fill in what is yours, then: chargewright study {file}")
    return 0


@app.command()
def schema(
    what: Annotated[Literal["design", "study"], typer.Argument(help="Of the design file or of study.json.")] = "design",
) -> int:
    """Print a JSON Schema: of the design file, so that editors complete it, or of study.json."""
    if what == "design":
        from chargewright.spec.schema import design_json_schema

        found = design_json_schema()
    else:
        from chargewright.report.schema import study_json_schema

        found = study_json_schema()
    print(json.dumps(found, indent=2))
    return 0


app.command()(charge)
app.command()(usage)
app.command()(loops)
app.command()(prepare)
app.command()(sequence)
app.command()(transients)


def main(arguments: list[str] | None = None) -> int:
    """Run the command line and return the exit code; messages for the user go to standard error."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A console without Ω shows a question mark for it, rather than a traceback.
            stream.reconfigure(errors="replace")
    try:
        code = app(args=arguments, prog_name="chargewright", standalone_mode=False)
    except ChargewrightError as error:
        print(error, file=sys.stderr)
        return 2
    except typer.Abort:
        return 130
    except Exception as error:
        if _is_usage_error(error):
            print(f"{_message(error)}\nTry: chargewright --help", file=sys.stderr)
            return 2
        if isinstance(error, OSError):
            print(f"{error.filename or 'file'}: {error.strerror or error}", file=sys.stderr)
            return 2
        raise
    return int(code or 0)


def _is_usage_error(error: Exception) -> bool:
    return any(k.__name__ in ("UsageError", "ClickException") for k in type(error).__mro__)


def _message(error: Exception) -> str:
    return str(error.format_message()) if hasattr(error, "format_message") else str(error)
