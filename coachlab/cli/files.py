"""The commands that bring files in: propose a map, and from files to one saved table with its account."""

from pathlib import Path
from typing import Annotated

import typer

from coachlab.cli import say
from coachlab.cli.commands import app


@app.command(name="map")
def propose(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="An export: CSV, XLSX, ODS or Parquet.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="MAP", help="Save the proposal as this TOML file.")
    ] = None,
    known: Annotated[
        Path | None, typer.Option("--known", metavar="DIR", help="A folder of maps (or one) to learn headings from.")
    ] = None,
) -> None:
    """Propose which heading of an export is what.

    Shows for each heading the column, unit and side that its words and numbers speak for, how sure that is, and why.
    Look at each line, correct the saved file, and check the export with it: the command check.
    """
    screen = say.console()
    screen.print(f"Looking at {file.name} ...")
    from coachlab.errors import DataError, command
    from coachlab.intake.bring import settings_near
    from coachlab.intake.guess import propose_map
    from coachlab.intake.write import write_bytes

    if out is not None and out.exists():
        raise DataError(
            f"The proposal was to be saved as {out}.", "There is such a file.", "Choose another name with --out."
        )
    proposal = propose_map(file, known if known is not None else (), settings_near(file))
    rows = [
        (
            row.heading,
            row.column or "(left out)",
            row.unit,
            row.positive,
            f"{row.confidence:.0%}",
            row.reason,
            row.samples,
        )
        for row in proposal.table.itertuples()
    ]
    say.table(screen, ["heading", "column", "unit", "plus is", "sure", "why", "cells"], rows, right=("sure",))
    screen.print()
    say.sentences(screen, [proposal.text().removesuffix(" ".join(proposal.warnings)).strip(), *proposal.warnings])
    understood = bool(proposal.map.readings)
    if out is not None and understood:
        write_bytes(out, proposal.toml)
        screen.print(
            f"Saved as {out}: look at each line, then run {command(f'check {file} --map {out}')}.", soft_wrap=True
        )
    elif understood:
        screen.print("Nothing is saved; --out MAP.toml saves it.")
    else:
        say.lines_of_trouble(
            "No heading is understood as a reading.", "Write the map by hand, or teach it with --known."
        )
        raise typer.Exit(1)


@app.command()
def bring(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE...", help="Exports, zips or folders of them, each read with the map beside it."),
    ],
    maps: Annotated[
        list[Path] | None,
        typer.Option("--map", metavar="MAP", help="A column map for all, or several named like their files."),
    ] = None,
    log: Annotated[
        list[Path] | None, typer.Option("--log", metavar="LOG", help="A lesson log; may be repeated.")
    ] = None,
    cards: Annotated[Path | None, typer.Option("--cues", metavar="CUES", help="Cue cards, cues.toml.")] = None,
    decisions: Annotated[
        Path | None, typer.Option("--decisions", metavar="CSV", help="What was decided about single shots.")
    ] = None,
    out: Annotated[Path, typer.Option("--out", help="Folder for the table and the report.")] = Path("out/shots"),
    kind: Annotated[str, typer.Option("--kind", help="Kind of the table: parquet or csv.")] = "parquet",
    set_clock: Annotated[
        bool, typer.Option("--set-clock", help="Take out a difference between the device's clock and the log's.")
    ] = False,
) -> None:
    """Bring shots in: from files to one clean table, with an account of every line.

    Reads, sets misreads aside, counts a shot that stands in several files once, joins the lesson log, audits signs,
    hands, clubs, units and clocks, and saves the table beside a cleaning report.
    """
    screen = say.console()
    steps = say.Steps(screen)
    with steps.under_way("Starting"):
        from coachlab.errors import DataError
        from coachlab.intake.bring import KINDS, bring_shots, files_in, save_shots
        from coachlab.intake.cleaning import cleaning_report
        from coachlab.intake.write import write_bytes
        from coachlab.report.cleaning import cleaning_page

    if kind not in KINDS:
        raise DataError("Shots were to be saved.", f"--kind is {kind!r}.", f"Choose one of: {', '.join(KINDS)}.")
    if out.exists() and not out.is_dir():
        raise DataError(f"Shots were to be saved in {out}.", "It is a file.", "Choose a folder with --out.")
    by_stem = {path.stem: path for path in maps or []}
    chosen: object = None
    if maps:
        every = [file for path in files for file in files_in(path)]
        named = {file.name: by_stem[file.stem] for file in every if file.stem in by_stem}
        chosen = maps[0] if len(maps) == 1 else named
        bare = [file.name for file in every if file.name not in named]
        if len(maps) > 1 and bare:
            raise DataError(
                "Files were paired with their column maps.",
                f"No map is called like {', '.join(bare)}.",
                "Give one map for all, or one named like each file.",
            )
    with steps.counted("Reading files") as progress:
        shots = bring_shots(
            files,
            chosen,  # type: ignore[arg-type]
            log or None,
            cards,
            decisions,
            set_clock=set_clock,
            tell=steps,
            progress=progress,
        )
    with steps.under_way("Auditing"):
        report = cleaning_report(shots, log or None)
        page = cleaning_page(report)
    steps(f"Audited: {len(report.findings)} findings.")
    paths = [*save_shots(report.shots, out, kind), write_bytes(out / "cleaning.html", page)]
    say.sentences(screen, [report.shots.text(), *report.warnings()])
    screen.print(f"Saved: {', '.join(str(path) for path in paths)}. Open cleaning.html in a browser.", soft_wrap=True)
