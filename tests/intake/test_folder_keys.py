"""One folder, one set of pseudonyms: in every run, in another process, and by `bring` as by a study."""

import os
import shutil
import subprocess
import sys

import pandas as pd
import pytest

import coachlab as cl
from coachlab import privacy
from coachlab.drills import progress
from coachlab.errors import DataError
from coachlab.intake.cleaning import audit_shots
from coachlab.intake.folder import key_for, pseudonym_key

NAMES = ("Robin Doe", "Kim Roe")


def write_export(path, carry_m=150.0):
    rows = {"student": NAMES, "shot": [1, 2], "attack_up_deg": [-3.0, -2.0], "carry_m": [carry_m, 151.0]}
    pd.DataFrame(rows).to_csv(path, index=False)
    return path


def students(shots):
    return shots.table["student"].astype("str").tolist()


def test_the_same_folder_gives_the_same_pseudonyms_in_another_process(tmp_path):
    write_export(tmp_path / "bay.csv")
    code = "import sys, coachlab as cl; print(*cl.read_study(sys.argv[1]).shots.table['student'])"
    told = [
        subprocess.run(
            [sys.executable, "-c", code, str(tmp_path)],
            capture_output=True, text=True, check=True, env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout.split()
        for seed in ("1", "2")
    ]  # fmt: skip
    assert told[0] == told[1] == students(cl.read_study(tmp_path).shots)


def test_the_same_folder_and_seed_give_the_same_simulated_figures_in_another_process(demo):
    code = (
        "import sys, coachlab as cl; study = cl.read_study(sys.argv[1]); "
        "table = cl.model_table(study.shots, 'attack_up_deg', 'iron-7', study.cues); "
        "found = cl.diagnose(table, 'I2', study.settings, study.shots, sets=199, seed=1); "
        "print(found.table.to_csv(), found.seen.jump, found.seen.rough, found.seen.lineup.reveal())"
    )
    told = [
        subprocess.run(
            [sys.executable, "-c", code, str(demo)],
            capture_output=True, text=True, check=True, env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2")
    ]  # fmt: skip
    assert told[0] == told[1] and "real panel among" in told[0]


def test_what_is_brought_from_a_folder_file_by_file_has_the_pseudonyms_of_its_study(tmp_path):
    first, second = (write_export(tmp_path / name, carry) for name, carry in (("a.csv", 150.0), ("b.csv", 152.0)))
    of_study = set(students(cl.read_study(tmp_path).shots))
    assert set(students(cl.bring_shots([first]))) == set(students(cl.bring_shots([second]))) == of_study


def test_another_export_or_another_content_is_another_key(tmp_path):
    write_export(tmp_path / "a.csv")
    before = pseudonym_key(tmp_path)[0]
    (tmp_path / "notes.md").write_text("no export")
    (tmp_path / "a.csv").rename(tmp_path / "renamed.csv")
    assert pseudonym_key(tmp_path)[0] == before
    write_export(tmp_path / "renamed.csv", carry_m=149.0)
    assert pseudonym_key(tmp_path)[0] != before


def test_a_key_that_the_academy_keeps_goes_first_and_holds_when_exports_come(tmp_path):
    write_export(tmp_path / "a.csv")
    (tmp_path / privacy.KEY_FILE).write_text("0f" * 32)
    study = cl.read_study(tmp_path)
    assert students(study.shots) == [privacy.pseudonym(name, bytes.fromhex("0f" * 32)) for name in NAMES]
    write_export(tmp_path / "b.csv", carry_m=149.0)
    assert set(students(cl.read_study(tmp_path).shots)) == set(students(study.shots))
    assert any(privacy.KEY_FILE in step for step in study.steps)
    assert not any("Left alone" in step for step in study.steps)
    assert privacy.KEY_FILE == progress.KEY_FILE  # the same file serves the drills


def test_a_damaged_key_is_told_and_never_replaced_in_silence(tmp_path):
    write_export(tmp_path / "a.csv")
    (tmp_path / privacy.KEY_FILE).write_text("not hex")
    with pytest.raises(DataError, match="holds no key"):
        cl.read_study(tmp_path)


def test_files_of_several_folders_are_told_not_to_be_combined_unless_one_key_serves_all(tmp_path):
    paths = []
    for name, carry in (("one", 150.0), ("two", 152.0)):
        (tmp_path / name).mkdir()
        paths.append(write_export(tmp_path / name / "bay.csv", carry))
    told = []
    cl.bring_shots(paths, tell=told.append)
    assert any("several folders" in line and "cannot be combined" in line for line in told)
    for name in ("one", "two"):
        (tmp_path / name / privacy.KEY_FILE).write_text("ab" * 32)
    assert key_for(paths)[0] == bytes.fromhex("ab" * 32)


def test_a_file_that_the_folder_alone_would_not_read_is_told_not_to_be_combined(tmp_path):
    write_export(tmp_path / "bay.csv")
    shutil.make_archive(str(tmp_path / "bay"), "zip", tmp_path, "bay.csv")
    assert "cannot be combined" in key_for([tmp_path / "bay.zip"])[1]
    assert "cannot be combined" not in key_for([tmp_path / "bay.csv"])[1]


def test_no_name_and_no_key_stands_in_what_a_study_shows(tmp_path):
    write_export(tmp_path / "bay.csv")
    study = cl.read_study(tmp_path)
    shown = " ".join([repr(study), study.text(), study._repr_html_(), study.shots.raw.to_string(), str(study.files)])
    for word in (*NAMES, study.key.hex(), repr(study.key)):
        assert word not in shown
    assert study.student_of(" robin  DOE") == students(study.shots)[0] == study.student_of(students(study.shots)[0])


def test_the_log_of_a_warned_coach_is_named_inside_the_academy(demo):
    study = cl.read_study(demo)
    assert len(study.warnings) == 1
    log = study.warnings[0].split("(lessons in ")[1].split(")")[0]
    warned = study.shots.table["excluded"].to_numpy(dtype=bool)
    lessons = set(study.shots.table.loc[warned, "session"].astype("str"))
    assert lessons == set(pd.read_csv(demo / log, comment="#")["session"].astype("str"))
    logs = sorted(demo.glob("log-*.csv"))
    found = audit_shots(study.shots, logs).table
    assert found.loc[found["audit"] == "logging", "where"].tolist() == [
        study.warnings[0].split(":")[0].replace("C", "c", 1)
    ]
