"""The commands that bring files in: propose a map, and from files to one saved table with its account."""

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from coachlab.cli import say
from coachlab.cli.commands import app

if TYPE_CHECKING:
    from coachlab.intake.shots import Shots


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
        list[Path] | None,
        typer.Option(
            "--log",
            metavar="LOG",
            help="A lesson log; may be repeated. Without it those in FOLDER are joined, if all of them fit.",
        ),
    ] = None,
    no_log: Annotated[bool, typer.Option("--no-log", help="Join no lesson log.")] = False,
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
        from coachlab.errors import CoachlabError, DataError
        from coachlab.intake.bring import KINDS, bring_shots, files_in, logs_near, save_shots, speak_of_others
        from coachlab.intake.cleaning import cleaning_report
        from coachlab.intake.folder import CUES
        from coachlab.intake.journal import is_log
        from coachlab.intake.write import write_bytes
        from coachlab.report.cleaning import cleaning_page

    if kind not in KINDS:
        raise DataError("Shots were to be saved.", f"--kind is {kind!r}.", f"Choose one of: {', '.join(KINDS)}.")
    if out.exists() and not out.is_dir():
        raise DataError(f"Shots were to be saved in {out}.", "It is a file.", "Choose a folder with --out.")
    among = [path for path in files if path.is_file() and is_log(path)]  # as *.csv names them
    files = [path for path in files if path not in among]
    if not files:
        raise DataError(
            "Shots were to be brought in.", f"{_names(among)}: only lesson logs.", "Name the devices' exports too."
        )
    if among and (log or no_log):
        steps(f"Lesson logs among the files, left alone: {_names(among)}.")
        among = []
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
    if log and no_log:
        raise DataError("Shots were to be brought in.", "--log and --no-log were given.", "Leave one of them out.")
    near = {} if log or no_log else logs_near(files)
    # a folder by itself is read as a study reads it: its logs speak of its exports; those beside a file may not
    of_folder = among or (near.get(files[0], []) if len(files) == 1 else [])

    said: list[str] = []

    def tell(sentence: str) -> None:
        said.append(sentence)
        steps(sentence)

    def read(logs: list[Path], cards: Path | None) -> "Shots":
        with steps.counted("Reading files") as progress:
            return bring_shots(
                files,
                chosen,  # type: ignore[arg-type]
                logs or None,
                cards,
                decisions,
                set_clock=set_clock,
                tell=tell,
                progress=progress,
            )

    told = ""
    if of_folder:
        where = "among the files" if among else f"in {files[0]}"
        steps(f"Lesson logs {where}: {_names(of_folder)}; joined if they fit. --no-log leaves them alone.")
        beside = of_folder[0].parent / CUES
        try:
            shots = read(of_folder, cards or (beside if beside.is_file() else None))
            log = of_folder
        except CoachlabError as err:
            if not said:  # no file could be read: that is no matter of the logs
                raise
            of_folder, told = [], f"They are not joined. {err.found} {err.do}"
            steps(f"{told} The files are read again without them.")
    if not of_folder:
        shots = read(log or [], cards)
    with steps.under_way("Auditing"):
        report = cleaning_report(shots, log or None)
        page = cleaning_page(report)
    steps(f"Audited: {len(report.findings)} findings.")
    paths = [*save_shots(report.shots, out, kind), write_bytes(out / "cleaning.html", page)]
    say.sentences(screen, [report.shots.text(), *report.warnings()])
    screen.print(f"Saved: {', '.join(str(path) for path in paths)}. Open cleaning.html in a browser.", soft_wrap=True)
    if near and not log:
        given: dict[str, list] = {
            "--map": maps or [],
            "--cues": [cards],
            "--decisions": [decisions],
            "--out": [out] if out != Path("out/shots") else [],
            "--kind": [kind] if kind != "parquet" else [],
        }
        logs = [one for part in near.values() for one in part]
        others = bool(among or not told) and speak_of_others(logs, shots)
        how = _whole_folders(logs, near) if others else _with_logs(logs, files, given, set_clock)
        why = told or "No lesson log is joined, and no cue can be judged without one."
        screen.print(f"{why} {how}", soft_wrap=True)


def _with_logs(logs: list[Path], files: list[Path], given: dict[str, list], set_clock: bool) -> str:
    """Return the command that does the same and joins the logs."""
    from coachlab.errors import command

    options = [(option, value) for option, values in {"--log": logs, **given}.items() for value in values if value]
    words = ["bring", *map(str, files), *(str(word) for option in options for word in option)]
    return f"To join {_names(logs)}: {command(shlex.join([*words, *(['--set-clock'] if set_clock else [])]))}"


def _whole_folders(logs: list[Path], near: dict[Path, list[Path]]) -> str:
    """Return the command for folders whose logs speak of more than the files that were named."""
    from coachlab.errors import command

    folders = command(shlex.join(["bring", *map(str, near)]))
    return f"{_names(logs)} speak of visits in other files too; to bring all of it in: {folders}"


def _names(paths: list[Path]) -> str:
    return ", ".join(path.name for path in paths)
