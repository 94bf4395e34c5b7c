"""The commands. Each reads a folder or a file, says what it did, and ends with what to open or do next."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from coachlab.cli import say
from coachlab.errors import CoachlabError, command
from coachlab.report.export import report_path, write_report
from coachlab.report.places import shipped

if TYPE_CHECKING:
    from rich.console import Console

    from coachlab.intake.study import Study
    from coachlab.report.evidence import Evidence

app = typer.Typer(
    name="coachlab",
    help="Which cue works for which swing pattern, and how sure are we.\n\n"
    f"You need no programming. Begin with: {command('demo')}. Then put your own files into a folder (what your device "
    "exports, one column map that says which heading is what, the lesson log, your cue cards) and run: "
    f"{command('check FILE')}, {command('cues FOLDER')}, {command('report FOLDER')}.",
    epilog=f"Add --help to any command, as in: {command('report --help')}",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Folder = Annotated[
    Path, typer.Argument(metavar="FOLDER", help="The folder with exports, column maps, logs, cue cards.")
]
Club = Annotated[str, typer.Option("--club", help="One club, as in iron-7, driver, wedge-pw.")]
Outcome = Annotated[str, typer.Option("--outcome", help="attack_up_deg, path_out_deg, face_open_deg, carry_m ...")]
Keep = Annotated[
    bool,
    typer.Option(
        "--keep-warned",
        help="Also use the shots of a coach whose log looks like best shots only; they are set aside otherwise.",
    ),
]


def main(arguments: list[str] | None = None) -> None:
    """Run one command and leave with its exit code: 0 done, 1 something to mend, 2 it could not go on."""
    try:
        app(args=arguments)
    except CoachlabError as error:
        say.trouble(error)
        sys.exit(2)
    except KeyboardInterrupt:
        say.console(stderr=True).print("Stopped.")
        sys.exit(130)


@app.command()
def demo(out: Annotated[Path, typer.Option("--out", help="Folder for the report.")] = Path("out")) -> None:
    """Show everything on a simulated academy.

    From raw files to a report, in under a minute: what was read and set aside, which cue moves attack and path for
    which swing pattern, what may be said of it, and the report as one file.
    """
    target = report_path(out)
    screen = say.console()
    screen.print("A simulated academy: invented students, coaches and cues, whose true effects are known.")
    folder = shipped("data/demo")
    steps = say.Steps(screen)
    study = _read(folder, False, steps)
    found = [_ask(study, outcome, "iron-7", steps) for outcome in ("attack_up_deg", "path_out_deg")]
    said: set[str] = set()
    for evidence in found:
        _tell(screen, evidence, said)
    _next(screen)
    screen.print()
    _write(folder, target, "attack_up_deg", "iron-7", False, steps)


@app.command()
def check(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="An export: CSV, XLSX, ODS or Parquet.")],
    map_file: Annotated[
        Path | None,
        typer.Option(
            "--map", metavar="MAP", help="Its column map, a TOML file; without, the one of its name beside it."
        ),
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Show every remark, not only the first twenty.")] = False,
) -> None:
    """Look at one export before it is used.

    Says what would be read, what would be set aside and why, and every fault of the file and its map at once.
    """
    screen = say.console()
    screen.print(f"Looking at {file.name} ...")
    from coachlab.intake.audit import check_file
    from coachlab.intake.bring import settings_near
    from coachlab.intake.folder import map_beside

    if map_file is None:
        map_file = map_beside(file)
        if map_file is not None:
            screen.print(f"With {map_file.name}, the map beside it.")
    found = check_file(file, map_file, settings_near(file))
    errors = found.table[found.table["severity"] == "error"]
    if len(errors):
        for row in errors.itertuples():
            say.lines_of_trouble(str(row.what), str(row.do))
        raise typer.Exit(2)
    say.sentences(screen, found.text().splitlines())
    remarks = found.table[~found.table["severity"].isin(["error", "fault", "note"])]
    shown = remarks if every else remarks.head(20)
    if len(shown):
        screen.print()
        rows = [["" if _blank(value) else value for value in row] for row in shown.itertuples(index=False)]
        say.table(screen, list(shown.columns), rows, right=("row",))
    if len(remarks) > len(shown):
        screen.print(f"... and {len(remarks) - len(shown):,} more; --all shows every one.")
    faults = int((found.table["severity"] == "fault").sum())
    if faults:
        screen.print(f"{faults} to mend before these shots can be studied.")
        raise typer.Exit(1)


@app.command()
def cues(folder: Folder, club: Club = "iron-7", outcome: Outcome = "attack_up_deg", keep_warned: Keep = False) -> None:
    """Say which cue moves what, and for whom.

    Prints how far each cue moved one outcome of one club, for which swing pattern, and what may be said of it.
    """
    screen = say.console()
    screen.print(f"Reading {folder} ...")
    steps = say.Steps(screen)
    _tell(screen, _ask(_read(folder, keep_warned, steps), outcome, club, steps), set())
    _next(screen)


@app.command()
def report(
    folder: Folder,
    out: Annotated[Path, typer.Option("--out", help="A folder, or the file's own name ending in .html.")] = Path("out"),
    club: Club = "iron-7",
    outcome: Outcome = "attack_up_deg",
    keep_warned: Keep = False,
) -> None:
    """Write the report as one HTML file.

    It opens in any browser and needs no network. Words that data cannot say (why the question was asked, what was
    planned) come from report.toml in the same folder.
    """
    target = report_path(out)
    screen = say.console()
    screen.print(f"Reading {folder} ...")
    steps = say.Steps(screen)
    # read here first, so that a wrong file is told at once and every step is seen; the notebook reads again
    _read(folder, keep_warned, steps)
    _write(folder, target, outcome, club, keep_warned, steps)


@app.command("flight-page")
def flight_page(
    out: Annotated[Path, typer.Option("--out", help="A folder, or the file's own name ending in .html.")] = Path("out"),
) -> None:
    """Write the ball-flight page as one HTML file.

    Trainees open it in any browser, on a phone too, without network, server or Python: they move the club, the strike
    or the air, and see why the ball flew as it did.
    """
    from coachlab.report.export import write_whole
    from coachlab.widgets.single import flight_html

    target = report_path(out, "ball-flight.html")
    write_whole(target, flight_html())
    say.console().print(
        f"Wrote {_short(target)}, {target.stat().st_size / 1000:,.0f} kB in one file: open it in a browser.",
        soft_wrap=True,
    )


@app.command()
def lab() -> None:
    """Open the notebooks in your browser.

    JupyterLab runs until Ctrl-C ends it.
    """
    import os
    import subprocess

    import coachlab

    own = str(Path(coachlab.__file__).parent / "assets" / "jupyter")
    settings = {
        name: os.pathsep.join(filter(None, [own, os.environ.get(name)]))
        for name in ("JUPYTER_PATH", "JUPYTER_CONFIG_PATH")
    }
    command = [sys.executable, "-m", "jupyterlab", str(shipped("notebooks"))]
    raise typer.Exit(subprocess.run(command, env={**os.environ, **settings}, check=False).returncode)


@app.command()
def doctor() -> None:
    """Look whether everything stands.

    Python, packages, the notebooks' kernel, folders, what came with the kit, a browser; and what to do where one is
    wrong.
    """
    from coachlab.cli.doctor import examine

    screen = say.console()
    wrong = 0
    for finding in examine():
        wrong += finding.state == "wrong"
        line = f"{finding.state:5}  {finding.what}: {finding.found}."
        screen.print(line if not finding.do else f"{line} {finding.do}", soft_wrap=True)
    screen.print("All is well." if not wrong else f"{wrong} to mend; then run {command('doctor')} again.")
    raise typer.Exit(int(bool(wrong)))


def _read(folder: Path, keep_warned: bool, steps: say.Steps) -> "Study":
    with steps.under_way("Starting"):
        from coachlab.intake.study import read_study
    with steps.counted("Reading files") as progress:
        return read_study(folder, set_aside_warned=not keep_warned, tell=steps, progress=progress)


def _ask(study: "Study", outcome: str, club: str, steps: say.Steps) -> "Evidence":
    with steps.under_way("Fitting the models"):
        from coachlab.report.evidence import gather_evidence
        from coachlab.schema import OUTCOMES, show_club

        evidence = gather_evidence(study, outcome=outcome, club=club, others=())
    models = len(evidence.cues) + len(evidence.patterns.fits)
    steps(
        f"{OUTCOMES[outcome].capitalize()} with the {show_club(club)}: {models} models of {len(evidence.table):,} "
        f"shots by {evidence.students} students; {len(study.shots.analysed) - len(evidence.table):,} analysed shots "
        "are of other clubs or blocks."
    )
    return evidence


def _write(folder: Path, out: Path, outcome: str, club: str, keep_warned: bool, steps: say.Steps) -> None:
    with steps.under_way("Writing the report"):
        path = write_report(folder, out, outcome=outcome, club=club, set_aside_warned=not keep_warned)
    steps(f"Wrote the report, {path.stat().st_size / 1000:,.0f} kB in one file; {steps.seconds:.0f} s in all.")
    steps.screen.print()
    steps.screen.print(
        f"The report is {_short(path)}: open it in a browser. Then: {command('lab')}, to ask your own question.",
        soft_wrap=True,
    )


def _tell(screen: "Console", evidence: "Evidence", said: set[str]) -> None:
    """Print the answer on one outcome: a table, and the sentences that may be said and were not said before."""
    from coachlab.cues.verdict import say_verdict
    from coachlab.report.words import between, general, grades, listed, reasons, told, what
    from coachlab.units import shown

    patterns = evidence.patterns
    say.heading(screen, f"Which cue moves {what(evidence)}, and for which swing pattern?")
    unit = shown(evidence.outcome, evidence.settings.units)
    measure = shown(patterns.measure, evidence.settings.units)
    places = patterns.table.drop_duplicates("pattern")
    named = {row.pattern: f"{row.pattern}\n{measure.text(row.at)}" for row in places.itertuples()}
    by_pattern = patterns.table.set_index(["cue", "pattern"])["estimate"]
    level = f"{evidence.level * 100:g} %\ninterval"
    rows = [
        (
            evidence.name(str(row.cue)),
            unit.text(row.estimate, sign=True),
            between(unit, row.low, row.high),
            *(unit.text(by_pattern.get((row.cue, name), float("nan")), sign=True) for name in named),
            row.students,
            say_verdict(row.verdict, row.estimate, row.students, evidence.settings.verdict_students),
        )
        for row in evidence.shifts.table.itertuples()
    ]
    right = ("shift", level, *named.values(), "students")
    say.table(screen, ["cue", "shift", level, *named.values(), "students", "verdict"], rows, right)
    lines = [sentence for _, (sentence,) in told(evidence.shifts, evidence.cues, first_only=True)]
    slopes = patterns.slopes.set_index("cue")
    open_ = [cue for cue in slopes.index if slopes.loc[cue, "low"] <= 0 <= slopes.loc[cue, "high"]]
    lines += [sentence for cue in slopes.index if cue not in open_ for sentence in patterns.claim(cue)]
    few = [cue for cue in patterns.names if cue not in slopes.index]
    if open_:
        lines.append(f"Whether the swing pattern matters is not yet clear for {listed(map(evidence.name, open_))}.")
    if few:
        least = evidence.settings.pattern_students
        lines.append(
            f"Whether it matters cannot be said for {listed(map(evidence.name, few))}: fewer than {least} screened "
            "students."
        )
    lines += [
        grades(evidence.shifts),
        *reasons(evidence.shifts),
        *(sentence for _, (sentence,) in general(evidence.shifts)),
    ]
    say.heading(screen, "What may be said")
    say.sentences(screen, [line for line in lines if line not in said])
    said.update(lines)


def _next(screen: "Console") -> None:
    say.heading(screen, "What to do next")
    say.sentences(
        screen,
        [
            "Offer a cue whose verdict is useful where the club should move that way, and compare again in the lesson: "
            "plain and cue, two blocks of each, in drawn order. The others: more lessons, or another aim.",
            "Before anyone tries one: ask for pain today, and stop if it hurts.",
        ],
    )


def _blank(value: object) -> bool:
    from pandas import isna

    return bool(isna(value))


def _short(path: Path) -> str:
    try:
        return str(path.relative_to(Path.cwd()))
    except ValueError:
        return str(path)
