"""A folder becomes a study: which file belongs to which, what is told, and what is set aside."""

import shutil

import pandas as pd
import pytest

import coachlab as cl
from coachlab.errors import DataError, MapError
from coachlab.intake.study import BEST_SHOTS, fingerprint


@pytest.fixture(scope="module")
def study(demo):
    return cl.read_study(demo, set_aside_warned=False)


@pytest.fixture
def small(demo, tmp_path):
    """The smallest export of the demo with its map, and no log."""
    for name in ("bay-3.csv", "bay-3.toml"):
        shutil.copy(demo / name, tmp_path / name)
    return tmp_path


def test_the_shots_of_all_exports_are_there_once_and_joined(study):
    assert study.files["file"].tolist() == ["bay-3.csv", "bay-4.xlsx", "bays-1-2.csv"]
    assert study.files["map"].tolist() == ["bay-3", "bay-4", "bays-1-2"]
    counts = study.shots.counts
    for name in ("raw", "rejects", "shots", "analysed", "set_aside"):
        assert study.files[name].sum() == counts[name]
    assert study.shots.table["phase"].notna().all()
    assert set(study.shots.table["cue"]) == set(study.cues["cue"])
    assert study.settings.name == "Quillbeck Academy"


def test_each_step_says_what_it_did_and_is_told_as_soon_as_it_is_done(demo, study):
    told = []
    again = cl.read_study(demo, set_aside_warned=False, tell=told.append)
    assert tuple(told) == again.steps
    for row in study.files.itertuples():
        step = next(step for step in study.steps if step.startswith(row.file))
        assert f"{row.raw:,} rows = {row.shots:,} shots + {row.rejects:,} that are none" in step
        assert f"{row.set_aside:,} shots set aside as misread" in step
    assert any("log-c1.csv, log-c2.csv, log-c3.csv, log-c4.csv: " in step for step in study.steps)


def test_the_coach_who_keeps_only_good_shots_is_warned_of_and_used_where_that_is_asked(study):
    assert len(study.warnings) == 1
    assert BEST_SHOTS in study.warnings[0] and "are used all the same" in study.warnings[0]
    assert not study.shots.table["excluded"].any()
    assert study.warnings[0] in study.steps


def test_a_warned_coachs_shots_are_set_aside_with_the_reason_beside_them(demo, study):
    aside = cl.read_study(demo)
    excluded = aside.shots.table["excluded"]
    assert set(aside.shots.table.loc[excluded, "excluded_reason"]) == {BEST_SHOTS}
    assert aside.shots.table.loc[excluded, "coach"].nunique() == 1
    assert aside.shots.table.loc[~excluded, "coach"].nunique() == 3
    lost = study.shots.counts.analysed - aside.shots.counts.analysed
    assert f"{lost:,} shots that could be read are set aside for that reason" in aside.warnings[0]
    assert len(aside.shots) == len(study.shots)


def test_one_map_serves_every_export(small):
    shutil.copy(small / "bay-3.csv", small / "other.csv")
    (small / "bay-3.toml").rename(small / "all.toml")
    study = cl.read_study(small)
    assert study.files["map"].tolist() == ["bay-3", "bay-3"]  # the name that the map gives itself
    assert "No lesson log (log-*.csv): blocks, phases and cues are those that the exports name." in study.steps
    assert len(study.cues) == 0 and study.settings == cl.Settings()


def test_an_export_in_our_own_names_needs_no_map(tmp_path):
    pd.DataFrame({"shot": [1, 2], "attack_up_deg": [-3.0, -2.0]}).to_csv(tmp_path / "own.csv", index=False)
    study = cl.read_study(tmp_path)
    assert study.files.loc[0, "map"] == "own names"
    assert study.shots.table["attack_up_deg"].tolist() == [-3.0, -2.0]


def test_a_map_named_like_no_export_is_told_beside_the_export_without_one(small):
    shutil.copy(small / "bay-3.csv", small / "bay-4.csv")
    shutil.copy(small / "bay-3.toml", small / "bay4.toml")
    with pytest.raises(MapError, match=r"called like bay-4.csv; no export is called like bay4.toml"):
        cl.read_study(small)


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("nowhere", "There is no such folder"),
        ("empty", "It holds no export; there are: no files"),
        ("file", "It is a file"),
    ],
)
def test_a_folder_without_an_export_is_refused(tmp_path, name, part):
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").write_text("x")
    with pytest.raises(DataError, match=part):
        cl.read_study(tmp_path / name)


def test_hidden_files_and_lock_files_of_a_spreadsheet_program_are_left_alone(small):
    (small / ".bay-9.csv").write_text("x")
    (small / "~$bay-9.xlsx").write_text("x")
    assert cl.read_study(small).files["file"].tolist() == ["bay-3.csv"]


def test_a_wrong_settings_file_is_named(small):
    (small / "academy.toml").write_text("units = 'furlongs'\n")
    with pytest.raises(DataError, match="academy.toml"):
        cl.read_study(small)


def test_the_fingerprint_changes_with_a_name_or_a_byte_and_not_with_the_order(tmp_path):
    one, two = tmp_path / "one", tmp_path / "two"
    one.write_text("1")
    two.write_text("2")
    first = fingerprint([one, two])
    assert first == fingerprint([two, one]) and len(first) == 12
    two.write_text("3")
    assert fingerprint([one, two]) != first
    two.write_text("2")
    assert fingerprint([one, two]) == first
    two.rename(tmp_path / "three")
    assert fingerprint([one, tmp_path / "three"]) != first


def test_a_wrong_unit_in_a_map_raises_an_alarm_that_names_the_column(small):
    path = small / "bay-3.toml"
    text = path.read_text(encoding="utf-8")
    head = text.index("[column.club_speed_mps]")
    heading = text[head:].split("\n")[1]
    path.write_text(text.replace(heading, heading + '\nunit = "mps"', 1), encoding="utf-8")
    study = cl.read_study(small)
    assert any("check the unit" in warning and "speed" in warning for warning in study.warnings), study.warnings


def test_files_are_read_at_once_and_counted_as_they_are_done(demo, study):
    told = []
    again = cl.read_study(demo, set_aside_warned=False, progress=lambda done, of: told.append((done, of)))
    assert told == [(0, 3), (1, 3), (2, 3), (3, 3)]
    pd.testing.assert_frame_equal(again.shots.table, study.shots.table)


def test_the_first_file_that_cannot_be_read_is_the_error_however_many_are_read_at_once(tmp_path):
    for name in "abc":
        (tmp_path / f"{name}.csv").write_text("attack_up_deg\n-3\n" if name == "a" else f"nothing,of,{name}\n1,2,3\n")
    with pytest.raises(MapError, match=r"b\.csv"):
        cl.read_study(tmp_path)


def test_a_column_turned_round_in_one_map_is_told_at_load(demo, tmp_path):
    for name in ("bay-3.csv", "bay-3.toml", "bay-4.xlsx", "bay-4.toml"):
        shutil.copy(demo / name, tmp_path / name)
    path = tmp_path / "bay-3.toml"
    text = path.read_text(encoding="utf-8")
    head = text.index("[column.path_out_deg]")
    path.write_text(text[:head] + text[head:].replace('"left"', '"right"', 1), encoding="utf-8")
    warnings = cl.read_study(tmp_path).warnings
    assert len(warnings) == 1 and warnings[0].startswith("bay-3.csv: path runs against")


def test_a_file_with_a_map_of_its_name_is_read_whatever_its_ending_and_others_are_told(small):
    (small / "bay-3.csv").rename(small / "bay-3.dat")
    (small / "notes").write_text("bring more balls")
    (small / "plan.pdf").write_bytes(b"%PDF")
    study = cl.read_study(small)
    assert study.files["file"].tolist() == ["bay-3.dat"]
    assert "Left alone, as no export, map or log: notes, plan.pdf." in study.steps


def test_what_bring_laid_beside_its_table_is_no_export(tmp_path, demo):
    shots = cl.bring_shots([demo / "bay-3.csv"])
    cl.save_shots(shots, tmp_path, kind="parquet")
    study = cl.read_study(tmp_path)
    assert study.shots.counts["raw"] == len(shots.table)
