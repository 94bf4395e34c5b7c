"""The command line: what it prints, what it writes, and what it says to files that cannot be used."""

import os
import re
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from coachlab import errors
from coachlab.cli import main
from coachlab.cli.doctor import Finding, examine

RUN = [sys.executable, "-c", "from coachlab.cli import main; main()"]

EXPORT = """Ball,Club,Attack [deg],Path [deg],Speed [mph]
1,7 I,-3.1,1.2 R,78.2
2,7 I,-2.8,0.4 L,77.9
3,7 I,-4.0,2.2 R,78.8
4,7 I,-3.3,1.0 R,78.1
"""
MAP = """name = "bay 1"
student = "Q001"
session = "v1"
[club_names]
"7 I" = "iron-7"
[column.shot]
heading = "Ball"
[column.club]
heading = "Club"
[column.attack_up_deg]
heading = "Attack"
[column.path_out_deg]
heading = "Path"
positive = "right"
[column.club_speed_mps]
heading = "Speed"
"""
LOG = """session,phase,cue,first_shot,last_shot
v1,plain,plain,1,2
v1,cue,S1,3,4
"""
CARDS = (
    '[S1]\nfamily = "setup"\ncard_text = "Play it one ball-width nearer your lead foot."\nmoves = ["attack_up_deg"]\n'
)


@pytest.fixture
def folder(tmp_path):
    """A small folder of one export, its map, a log and a card."""
    place = tmp_path / "winter"
    place.mkdir()
    for name, text in (("bay-1.csv", EXPORT), ("bay-1.toml", MAP), ("log-a.csv", LOG), ("cues.toml", CARDS)):
        (place / name).write_text(text)
    return place


def run(*arguments):
    """The exit code of a command."""
    with pytest.raises(SystemExit) as caught:
        main([str(argument) for argument in arguments])
    return caught.value.code or 0


def spoil(folder, what):
    """Make one fault in a good folder."""
    export, columns = folder / "bay-1.csv", folder / "bay-1.toml"
    if what == "missing column":
        export.write_text(EXPORT.replace("Attack", "Descent"))
    elif what == "unknown unit":
        columns.write_text(MAP.replace('heading = "Speed"', 'heading = "Speed"\nunit = "furlongs"'))
    elif what == "wrong separator":
        rows = (row.replace(".", ",") for row in EXPORT.splitlines())
        export.write_text("\n".join(rows) + "\n")
    elif what == "empty file":
        export.write_text("")
    elif what == "text column":
        export.write_text("".join(row.replace(",-", ",a lot ") + "\n" for row in EXPORT.splitlines()))
    elif what == "duplicate heading":
        export.write_text(EXPORT.replace("Path [deg]", "Attack [deg]"))
    elif what == "wrong sheet":
        export.unlink()
        book = openpyxl.Workbook()
        book.active.title = "Summary"
        for row in EXPORT.splitlines():
            book.active.append(row.split(","))
        book.save(folder / "bay-1.xlsx")
        columns.write_text('sheet = "Balls"\n' + MAP)
    elif what == "unknown session in the log":
        (folder / "log-a.csv").write_text(LOG + "v9,plain,plain,1,2\n")
    elif what == "unknown shots in the log":
        (folder / "log-a.csv").write_text(LOG + "v1,plain,plain,41,48\n")
    elif what == "unknown cue in the log":
        (folder / "log-a.csv").write_text(LOG.replace("S1", "S7"))


@pytest.mark.parametrize(
    ("what", "named"),
    [
        ("missing column", ["bay-1.csv", "'Attack'", "attack_up_deg", "Line 1"]),
        ("unknown unit", ["bay-1.toml", "club_speed_mps", "'furlongs'", "mph"]),
        ("wrong separator", ["bay-1.csv", "Line 2", "semicolons"]),
        ("empty file", ["bay-1.csv"]),
        ("text column", ["bay-1.csv", "attack_up_deg", "Row 2", "'a lot 3.1'"]),
        ("duplicate heading", ["bay-1.csv", "'Attack'", "2 times", "columns 3, 4"]),
        ("wrong sheet", ["bay-1.xlsx", "'Balls'", "Summary"]),
        ("unknown session in the log", ["log-a.csv", "v9"]),
        ("unknown shots in the log", ["log-a.csv", "v1", "41"]),
        ("unknown cue in the log", ["log-a.csv", "'S7'", "S1"]),
    ],
)
@pytest.mark.parametrize("command", ["cues", "report"])
def test_a_file_that_cannot_be_used_gets_three_lines_and_nothing_is_written(folder, capsys, command, what, named):
    spoil(folder, what)
    out = folder.parent / "out"
    options = ["--out", out] if command == "report" else []
    assert run(command, folder, *options) == 2
    error = capsys.readouterr().err
    assert len(error.splitlines()) == 3, error
    assert "Traceback" not in error
    for part in named:
        assert part in error, error
    assert not out.exists()


def test_a_lesson_without_enough_students_is_no_traceback_either(folder, capsys):
    assert run("cues", folder) == 2
    output = capsys.readouterr()
    assert "bay-1.csv: 4 rows = 4 shots + 0 that are none" in output.out
    assert "Fewer than 5 students hit it" in output.err and len(output.err.splitlines()) == 3


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["cues", "nowhere"], ["nowhere", "no such folder"]),
        (["report", "nowhere"], ["nowhere", "no such folder"]),
    ],
)
def test_a_path_that_is_not_there_is_named(folder, capsys, monkeypatch, arguments, named):
    monkeypatch.chdir(folder.parent)
    assert run(*(argument.format(folder=folder) for argument in arguments)) == 2
    error = capsys.readouterr().err
    assert len(error.splitlines()) == 3
    for part in named:
        assert part in error


@pytest.mark.parametrize(("option", "value"), [("--club", "iron-77"), ("--outcome", "attack")])
def test_an_unknown_club_or_outcome_is_refused_with_what_there_is(demo, capsys, option, value):
    assert run("cues", demo, option, value) == 2
    error = capsys.readouterr().err
    assert value in error and len(error.splitlines()) == 3


def test_a_folder_that_cannot_be_written_is_said_before_anything_else(demo, tmp_path, capsys):
    (tmp_path / "out").write_text("a file, no folder")
    assert run("report", demo, "--out", tmp_path / "out") == 2
    assert "out" in capsys.readouterr().err
    assert (tmp_path / "out").read_text() == "a file, no folder"


def test_cues_prints_the_table_and_only_sentences_that_may_be_said(demo, capsys):
    main_output = run("cues", demo)
    output = capsys.readouterr().out
    assert main_output == 0
    for part in (
        "I2 rafter",
        "S1 ball-forward",
        "steep",
        "What may be said",
        "Why A: The order was drawn by the kit",
        "students of Quillbeck Academy",
        "stop if it hurts",
    ):
        assert part in output, part
    assert "set aside as misread" in output


def test_markup_in_a_name_stays_text(folder, capsys):
    strange = folder.parent / "[bold]winter[red] <b>"
    folder.rename(strange)
    (strange / "bay-1.csv").write_text("")
    assert run("cues", strange) == 2
    assert "[bold]winter[red] <b>" in capsys.readouterr().out


def test_a_pipe_and_no_color_get_plain_lines(folder):
    done = subprocess.run(
        [*RUN, "cues", str(folder)], capture_output=True, text=True, env=plain_environment(), timeout=60
    )
    assert done.returncode == 2
    assert "\x1b" not in done.stdout + done.stderr
    assert "bay-1.csv: 4 rows" in done.stdout


@pytest.mark.parametrize("command", ["demo", "check", "cues", "report", "lab", "doctor"])
def test_help_of_every_command_is_plain_and_whole(capsys, command):
    assert run(command, "--help") == 0
    text = capsys.readouterr().out
    assert "Usage:" in text and len(text.splitlines()) > 5
    assert "Traceback" not in text


def test_help_comes_with_no_command_and_names_all(capsys):
    run()
    output = capsys.readouterr()
    text = output.out + output.err
    for command in ("demo", "check", "cues", "report", "lab", "doctor"):
        assert command in text
    assert "You need no programming" in text


def test_help_comes_at_once():
    # what takes long is not loaded for it: counted, since a busy machine has no seconds to measure in
    said = subprocess.run([sys.executable, "-X", "importtime", *RUN[1:], "--help"], capture_output=True, text=True)
    assert said.returncode == 0
    loaded = {line.rpartition("|")[2].strip() for line in said.stderr.splitlines()}
    assert "coachlab.cli" in loaded
    assert not loaded & {"numpy", "pandas", "scipy", "matplotlib", "IPython", "ipywidgets", "jupyterlab"}


def test_check_shows_what_would_be_read(folder, capsys):
    assert run("check", folder / "bay-1.csv", "--map", folder / "bay-1.toml") == 0
    assert "bay-1.csv" in capsys.readouterr().out


def test_check_tells_every_fault_of_a_file_and_its_map_at_once(folder, capsys):
    spoil(folder, "missing column")
    (folder / "bay-1.toml").write_text(MAP.replace('heading = "Speed"', 'heading = "Pace"'))
    assert run("check", folder / "bay-1.csv", "--map", folder / "bay-1.toml") == 2
    error = capsys.readouterr().err
    assert "'Attack'" in error and "'Pace'" in error and len(error.splitlines()) == 4


@pytest.mark.parametrize(("file", "columns"), [("nowhere.csv", "bay-1.toml"), ("bay-1.csv", "nowhere.toml")])
def test_check_of_what_is_not_there_names_it(folder, capsys, file, columns):
    assert run("check", folder / file, "--map", folder / columns) == 2
    error = capsys.readouterr().err
    assert "nowhere" in error and "Traceback" not in error


def test_check_shows_twenty_remarks_and_how_many_more(demo, capsys):
    assert run("check", demo / "bay-3.csv", "--map", demo / "bay-3.toml") == 0
    some = capsys.readouterr().out
    assert run("check", demo / "bay-3.csv", "--map", demo / "bay-3.toml", "--all") == 0
    every = capsys.readouterr().out
    more = int(some.splitlines()[-1].split()[2].replace(",", ""))
    severities = ("set aside  ", "reject  ", "flag  ")
    assert sum(line.startswith(severities) for line in every.splitlines()) == 20 + more


def test_lab_opens_the_notebooks_with_the_kits_own_settings(monkeypatch):
    seen = {}

    def remember(command, env, check):
        seen.update(command=command, env=env)
        return subprocess.CompletedProcess(command, 3)

    monkeypatch.setattr(subprocess, "run", remember)
    assert run("lab") == 3
    assert seen["command"][:3] == [sys.executable, "-m", "jupyterlab"]
    assert (Path(seen["command"][3]) / "report.ipynb").is_file()
    for name in ("JUPYTER_PATH", "JUPYTER_CONFIG_PATH"):
        assert (Path(seen["env"][name].split(os.pathsep)[0]) / "jupyter_server_config.json").is_file()


def test_stopping_by_hand_is_no_traceback(monkeypatch, capsys):
    def stop():
        raise KeyboardInterrupt

    monkeypatch.setattr("coachlab.cli.doctor.examine", stop)
    assert run("doctor") == 130
    assert "Traceback" not in capsys.readouterr().err


def test_the_doctor_finds_this_environment_well(capsys):
    assert run("doctor") == 0
    text = capsys.readouterr().out
    for part in ("Python", "packages", "kernel", "this folder", "notebooks", "data/demo", "browser"):
        assert part in text
    assert "All is well." in text


def test_the_doctor_says_what_to_do_and_fails_where_something_is_wrong(capsys, monkeypatch):
    wrong = Finding("kernel", "wrong", "no kernel called python3", "Run: python -m ipykernel install --sys-prefix.")
    monkeypatch.setattr("coachlab.cli.doctor.examine", lambda: iter([wrong]))
    assert run("doctor") == 1
    text = capsys.readouterr().out
    assert "wrong  kernel: no kernel called python3. Run: python -m ipykernel" in text
    assert "1 to mend" in text


def test_the_doctor_sees_a_kernel_of_another_environment(monkeypatch, tmp_path):
    kernel = tmp_path / "kernels" / "python3"
    kernel.mkdir(parents=True)
    other = sys.base_prefix + "/bin/python3"
    (kernel / "kernel.json").write_text(
        f'{{"argv": ["{other}", "-m", "ipykernel"], "display_name": "x", "language": "python"}}'
    )
    monkeypatch.setenv("JUPYTER_PATH", str(tmp_path))
    found = next(finding for finding in examine() if finding.what == "kernel")
    assert found.state == "wrong" and found.do


def test_the_doctor_sees_a_folder_that_cannot_be_written(monkeypatch, tmp_path):
    from coachlab.cli import doctor

    def refuse(**_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(doctor.tempfile, "NamedTemporaryFile", refuse)
    found = doctor._writable("this folder", tmp_path)
    assert found.state == "wrong" and "Permission denied" in found.found and found.do


def plain_environment():
    return {**os.environ, "NO_COLOR": "1"}


def test_whoever_is_told_to_run_something_is_told_it_as_the_readme_does():
    root = Path(__file__).parents[1]
    told = re.compile(r"coachlab (demo|check|map|bring|cues|report|flight-page|lab|app|doctor)\b")
    texts = [*root.glob("notebooks/*.ipynb"), root / "README.md", root / "data" / "README.md"]
    sources = [path for path in root.glob("coachlab/**/*.py") if "to coachlab drills" not in path.read_text("utf-8")]
    found = [f"{path.name}: {hit[0]}" for path in [*texts, *sources] for hit in told.finditer(path.read_text("utf-8"))]
    assert not found
    assert errors.command("check FILE") == f"{'py' if os.name == 'nt' else 'python3'} kit.py check FILE"
