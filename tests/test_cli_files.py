"""The commands that bring files in: check under limits, map, bring."""

from pathlib import Path

import pandas as pd
import pytest

import coachlab as cl
from coachlab.cli import main

EXPORT = "Ball,Club,Attack [deg],Path [deg],Speed [mph]\n" + "".join(
    f"{n},7 I,{-n / 3:.1f},{abs(n - 6) / 2:.1f} {'R' if n > 6 else 'L'},{77 + n / 5:.1f}\n" for n in range(1, 13)
)
MAP = """session = "v1"
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
LOG = "session,phase,cue,first_shot,last_shot\nv1,plain,plain,1,6\nv1,cue,S1,7,12\n"


@pytest.fixture
def folder(tmp_path):
    for name, text in (("bay-1.csv", EXPORT), ("bay-1.toml", MAP), ("log-a.csv", LOG)):
        (tmp_path / name).write_text(text)
    return tmp_path


def run(*arguments):
    with pytest.raises(SystemExit) as caught:
        main([str(argument) for argument in arguments])
    return caught.value.code or 0


def three_lines(capsys, *parts):
    error = capsys.readouterr().err
    assert len(error.splitlines()) == 3 and "Traceback" not in error, error
    for part in parts:
        assert part in error, error


def test_map_shows_and_saves_a_proposal_that_reads_the_file(folder, capsys):
    assert run("map", folder / "bay-1.csv", "--out", folder / "new.toml") == 0
    out = capsys.readouterr().out
    for part in ("Attack [deg]", "attack_up_deg", "95%", "Saved as", "python3 kit.py check"):
        assert part in out
    ours = cl.read_shots(folder / "bay-1.csv", folder / "bay-1.toml").table
    theirs = cl.read_shots(folder / "bay-1.csv", folder / "new.toml").table
    same = ["shot", "club", "attack_up_deg", "path_out_deg", "club_speed_mps"]
    pd.testing.assert_frame_equal(theirs[same], ours[same])


def test_map_learns_from_a_folder_of_maps(folder, capsys):
    (folder / "odd.csv").write_text("Zing [deg],Blub\n" + "".join(f"-{n}.1,x\n" for n in range(2, 9)))
    maps = folder / "maps"
    maps.mkdir()
    (maps / "known.toml").write_text('[column.path_out_deg]\nheading = "Zing"\nunit = "deg"\npositive = "left"\n')
    assert run("map", folder / "odd.csv", "--known", maps) == 0
    assert "path_out_deg" in capsys.readouterr().out


def test_map_of_what_nobody_understands_ends_with_1_and_saves_nothing(folder, capsys):
    (folder / "odd.csv").write_text("Zing,Blub\n" + "".join(f"{n}000000,x\n" for n in range(2, 9)))
    assert run("map", folder / "odd.csv", "--out", folder / "odd.toml") == 1
    assert "No heading is understood" in capsys.readouterr().err
    assert not (folder / "odd.toml").exists()


def test_map_writes_over_nothing(folder, capsys):
    assert run("map", folder / "bay-1.csv", "--out", folder / "bay-1.toml") == 2
    three_lines(capsys, "bay-1.toml", "another name")
    assert (folder / "bay-1.toml").read_text() == MAP


def test_bring_saves_the_table_and_its_account(folder, capsys):
    out = folder / "shots"
    assert (
        run("bring", folder / "bay-1.csv", "--map", folder / "bay-1.toml", "--log", folder / "log-a.csv", "--out", out)
        == 0
    )
    said = capsys.readouterr().out
    assert "bay-1.csv: 12 rows = 12 shots + 0 rejects" in said and "2 blocks joined; 0 shots in none" in said
    assert sorted(path.name for path in out.iterdir()) == [
        "cleaning.html",
        "rejects.csv",
        "remarks.csv",
        "shots.parquet",
    ]
    again = cl.read_shots(out / "shots.parquet").table
    assert again["phase"].value_counts().to_dict() == {"plain": 6, "cue": 6}
    assert "Cleaning report" in (out / "cleaning.html").read_text()


def test_bring_takes_the_map_beside_each_file_and_counts_copies_once(folder, capsys):
    (folder / "bay-2.csv").write_text(EXPORT)
    (folder / "bay-2.toml").write_text(MAP)
    assert run("bring", folder / "bay-1.csv", folder / "bay-2.csv", "--out", folder / "o", "--kind", "csv") == 0
    assert "bay-2.csv: all 12 shots stand in bay-1.csv too" in capsys.readouterr().out
    table = pd.read_csv(folder / "o" / "shots.csv")
    assert len(table) == 24 and table["excluded"].sum() == 12


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (["{f}/none.csv"], ["none.csv"]),
        (["{f}/bay-1.csv", "--map", "{f}/none.toml"], ["none.toml"]),
        (["{f}/bay-1.csv", "--log", "{f}/none.csv"], ["none.csv"]),
        (["{f}/bay-1.csv", "--kind", "xlsx"], ["xlsx", "parquet"]),
        (["{f}/bay-1.csv", "--decisions", "{f}/log-a.csv"], ["log-a.csv", "No column source"]),
        (["{f}/bay-1.csv", "--out", "{f}/log-a.csv"], ["log-a.csv", "It is a file"]),
    ],
)
def test_bring_of_what_cannot_be_used_writes_nothing(folder, capsys, arguments, parts):
    given = [argument.format(f=folder) for argument in arguments]
    before = sorted(path.name for path in folder.iterdir())
    out = [] if "--out" in given else ["--out", folder / "shots"]
    assert run("bring", *given, *out) == 2
    three_lines(capsys, *parts)
    assert sorted(path.name for path in folder.iterdir()) == before


def test_check_goes_by_the_limits_of_the_academy(folder, capsys):
    (folder / "academy.toml").write_text("largest_columns = 2\n")
    assert run("check", folder / "bay-1.csv", "--map", folder / "bay-1.toml") == 2
    assert "largest_columns" in capsys.readouterr().err


@pytest.mark.parametrize("word", ["-h", "--help"])
@pytest.mark.parametrize("command", ["map", "bring"])
def test_help_of_the_commands_is_plain(capsys, command, word):
    assert run(command, word) == 0
    text = capsys.readouterr().out
    assert "Usage:" in text and command in text


def test_bring_of_a_folder_pairs_the_maps_in_it_and_leaves_the_logs_alone_when_told_to(folder, capsys):
    (folder / "bay-2.csv").write_text(EXPORT.replace("Attack", "Angle").replace("-", "-1"))
    (folder / "bay-2.toml").write_text(MAP.replace('"Attack"', '"Angle"').replace('"v1"', '"v2"'))
    (folder / "cues.toml").write_text('[S1]\nfamily = "setup"\ncard_text = "Stand taller."\n')
    assert run("bring", folder, "--out", folder / "o", "--kind", "csv", "--no-log") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "To join" not in said
    assert "bay-1.csv: 12 rows = 12 shots" in said and "bay-2.csv: 12 rows = 12 shots" in said
    assert "left alone: log-a.csv." in said
    table = pd.read_csv(folder / "o" / "shots.csv")
    assert table.groupby("source")["attack_up_deg"].count().to_dict() == {"bay-1.csv": 12, "bay-2.csv": 12}
    study = cl.read_study(folder).shots.table
    pd.testing.assert_series_equal(table["path_out_deg"], study["path_out_deg"], check_index=False)


@pytest.mark.parametrize("name", ["log-a.csv", "lessons.csv", "our notes.txt"])
def test_bring_of_a_folder_joins_the_logs_in_it_whatever_they_are_called_and_says_so(folder, capsys, name):
    (folder / "log-a.csv").rename(folder / name)
    assert run("bring", folder, "--out", folder / "o", "--kind", "csv") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"{name}; joined if they fit. --no-log leaves them alone." in said
    assert "2 blocks joined; 0 shots in none" in said and "To join" not in said
    assert pd.read_csv(folder / "o" / "shots.csv")["phase"].value_counts().to_dict() == {"plain": 6, "cue": 6}
    assert cl.read_study(folder).shots.table["phase"].notna().all()


@pytest.mark.parametrize(
    "second",
    [LOG, LOG.replace("v1", "v9"), LOG.replace("S1", "S7")],
    ids=["the same blocks twice", "a visit that is not there", "a cue without a card"],
)
def test_bring_joins_none_of_a_folders_logs_where_one_does_not_fit_and_says_why_and_what_to_type(
    folder, capsys, second
):
    (folder / "cues.toml").write_text('[S1]\nfamily = "setup"\ncard_text = "Stand taller."\n')
    (folder / "log-b.csv").write_text(second)
    out = folder / "o"
    assert run("bring", folder, "--out", out, "--kind", "csv") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "They are not joined." in said and "phase" not in pd.read_csv(out / "shots.csv")
    typed = said.split("To join log-a.csv, log-b.csv: python3 kit.py ")[1].split()
    assert typed == ["bring", str(folder), "--log", str(folder / "log-a.csv"), "--log", str(folder / "log-b.csv"),
                     "--out", str(out), "--kind", "csv"]  # fmt: skip


def test_bring_of_a_file_names_the_log_beside_it_and_the_command_that_joins_it(folder, capsys, monkeypatch):
    monkeypatch.chdir(folder)
    assert run("bring", "bay-1.csv") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "No lesson log is joined" in said
    typed = said.split("To join log-a.csv: python3 kit.py ")[1].split()
    assert typed == ["bring", "bay-1.csv", "--log", "log-a.csv"]
    assert run(*typed) == 0
    assert "2 blocks joined" in capsys.readouterr().out


def test_bring_joins_the_logs_among_the_files_that_are_named_one_by_one(folder, capsys):
    assert run("bring", folder / "bay-1.csv", folder / "log-a.csv", "--out", folder / "o") == 0
    assert "Lesson logs among the files: log-a.csv; joined if they fit." in " ".join(capsys.readouterr().out.split())
    assert pd.read_parquet(folder / "o" / "shots.parquet")["cue"].tolist() == ["plain"] * 6 + ["S1"] * 6


@pytest.mark.parametrize("option", ["--no-log", "--log"])
def test_bring_leaves_a_log_among_the_files_alone_where_another_or_none_is_asked_for(folder, capsys, option):
    (folder / "log-b.csv").write_text(LOG.replace("S1", "S2"))
    asked = [option, *([folder / "log-b.csv"] if option == "--log" else [])]
    assert run("bring", folder / "bay-1.csv", folder / "log-a.csv", *asked, "--out", folder / "o") == 0
    assert "left alone: log-a.csv" in " ".join(capsys.readouterr().out.split())
    shots = pd.read_parquet(folder / "o" / "shots.parquet")
    assert (set(shots["cue"]) == {"plain", "S2"}) if option == "--log" else ("cue" not in shots)


def test_bring_of_nothing_but_logs_asks_for_the_exports(folder, capsys):
    assert run("bring", folder / "log-a.csv") == 2
    three_lines(capsys, "log-a.csv: only lesson logs")


def test_bring_of_a_file_whose_logs_speak_of_other_files_too_names_the_folder(folder, capsys):
    (folder / "log-a.csv").write_text(LOG + "v2,plain,plain,1,6\n")
    assert run("bring", folder / "bay-1.csv", "--out", folder / "o") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"speak of visits in other files too; to bring all of it in: python3 kit.py bring {folder}" in said


def test_an_export_that_holds_blocks_itself_is_no_log(folder):
    from coachlab.intake.journal import is_log

    assert is_log(folder / "log-a.csv") and not is_log(folder / "bay-1.csv") and not is_log(folder / "bay-1.toml")
    own = "session,phase,cue,first_shot,last_shot,attack_up_deg\nv1,plain,plain,1,6,-3\n"
    (folder / "own.csv").write_text(own)
    assert not is_log(folder / "own.csv")
    pd.read_csv(folder / "log-a.csv").to_excel(folder / "lessons.xlsx", index=False)
    assert is_log(folder / "lessons.xlsx")
    (folder / "lessons.csv").write_text(LOG.replace(",", ";"), encoding="utf-16")
    assert is_log(folder / "lessons.csv")


def test_bring_of_a_folder_with_a_broken_export_speaks_of_that_and_not_of_its_logs(folder, capsys):
    (folder / "bay-1.csv").write_text("Ball,Club\n1,7 I\n")
    assert run("bring", folder, "--out", folder / "o") == 2
    told = capsys.readouterr()
    assert "bay-1.csv" in told.err and "not joined" not in told.out


def test_bring_takes_a_log_or_none_but_not_both(folder, capsys):
    assert run("bring", folder, "--log", folder / "log-a.csv", "--no-log") == 2
    three_lines(capsys, "--no-log")


def test_bring_of_a_folder_takes_its_only_map_for_every_export(folder):
    (folder / "bay-1.toml").rename(folder / "device.toml")
    (folder / "bay-2.csv").write_text(EXPORT)
    assert cl.bring_shots([folder]).table["attack_up_deg"].notna().sum() == 24


def test_bring_of_a_folder_without_exports_names_it_as_it_was_given(tmp_path, capsys, monkeypatch):
    (tmp_path / "winter").mkdir()
    monkeypatch.chdir(tmp_path)
    assert run("bring", "winter", "--out", "o") == 2
    three_lines(capsys, "The folder winter was", "no files")


def test_bring_saves_under_out_which_git_leaves_alone(folder, monkeypatch):
    monkeypatch.chdir(folder)
    assert run("bring", folder / "bay-1.csv") == 0
    assert (folder / "out" / "shots" / "shots.parquet").is_file()
    assert "out/" in (Path(cl.__file__).parents[1] / ".gitignore").read_text().splitlines()


def test_check_takes_the_map_beside_the_file_and_says_so(folder, capsys):
    assert run("check", folder / "bay-1.csv") == 0
    said = capsys.readouterr().out
    assert "With bay-1.toml, the map beside it." in said and "12 shots = 12 analysed" in said


def test_check_without_a_map_names_the_command_that_proposes_one(folder, capsys):
    (folder / "bay-1.toml").unlink()
    (folder / "bay-1.csv").write_text(EXPORT.replace("Club", "With"))
    assert run("check", folder / "bay-1.csv") == 2
    error = capsys.readouterr().err
    assert f"python3 kit.py map {folder / 'bay-1.csv'} --out {folder / 'bay-1.toml'}" in error
    assert "fullest line reads: 'Ball'" in error
    (folder / "bay-1.csv").write_text(EXPORT)
    assert run("check", folder / "bay-1.csv") == 2
    assert "python3 kit.py map" in capsys.readouterr().err


def test_check_says_that_no_club_is_mapped(folder, capsys):
    (folder / "bay-1.toml").write_text(MAP.replace('[column.club]\nheading = "Club"\n', ""))
    assert run("check", folder / "bay-1.csv") == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "No column is mapped to the club" in said and "[column.club]" in said and 'club = "iron-7"' in said


def test_check_says_which_clubs_name_the_map_does_not_translate(folder, capsys):
    (folder / "bay-1.csv").write_text(EXPORT.replace("7 I", "7er Eisen"))
    assert run("check", folder / "bay-1.csv") == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "12 shots have a club named '7er Eisen' that the map does not translate." in said
    assert "Add it under [club_names] in the map" in said and '"7er Eisen" = "iron-7"' in said


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ('"7 I" = "iron-7"', "", ["12 shots have a club named '7 I'", "[club_names]"]),
        ('[column.club]\nheading = "Club"\n', "", ["no column club", "[column.club]"]),
    ],
)
def test_cues_name_the_cause_where_no_club_is_known(folder, capsys, old, new, parts):
    (folder / "bay-1.toml").write_text('student = "Q1"\n' + MAP.replace(old, new))
    assert run("cues", folder) == 2
    three_lines(capsys, *parts)


def test_a_misspelt_club_is_told_with_the_near_one(folder, capsys):
    assert run("cues", folder, "--club", "7iron") == 2
    three_lines(capsys, "'7iron'", "'iron-7' is close")
