import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.audit import audit_logging
from coachlab.privacy import process_key, pseudonym

LOG = pd.DataFrame(
    {
        "session": ["v1", "v1", "v1", "v2"],
        "first_shot": [1, 3, 6, 1],
        "last_shot": [2, 5, 7, 3],
        "phase": ["warmup", "plain", "cue", "plain"],
        "cue": ["plain", "plain", "S1", "plain"],
    }
)
SHOTS = pd.DataFrame(
    {
        "session": ["v1"] * 8 + ["v2"] * 3,
        "shot": [1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3],
        "attack_up_deg": [-3.0 - place / 10 for place in range(11)],
    }
)
CARDS = """
[S1]
family = "setup"
moves = ["attack_up_deg"]
direction = 1
"""


@pytest.fixture
def shots():
    return cl.clean_shots(SHOTS)


def refused(shots, log, *args):
    with pytest.raises(cl.DataError) as caught:
        cl.join_log(shots, log, *args)
    error = caught.value
    assert error.asked and error.found and error.do
    return error


def test_each_shot_gets_the_block_that_holds_its_number(shots):
    table = cl.join_log(shots, LOG).table
    assert table["phase"].fillna("").tolist() == ["warmup"] * 2 + ["plain"] * 3 + ["cue"] * 2 + [""] + ["plain"] * 3
    assert table["block"].fillna("").tolist() == ["v1/1"] * 2 + ["v1/2"] * 3 + ["v1/3"] * 2 + [""] + ["v2/1"] * 3
    assert table["period"].fillna(0).tolist() == [0, 0, 1, 1, 1, 2, 2, 0, 1, 1, 1]
    assert table["cue"].iloc[5] == "S1"


def test_shots_outside_every_block_are_counted_and_kept(shots):
    joined = cl.join_log(shots, LOG)
    assert len(joined) == len(shots)
    assert any(note.startswith("1 shots stand in no block") for note in joined.notes)


def test_joining_again_replaces_the_columns(shots):
    once = cl.join_log(shots, LOG)
    twice = cl.join_log(once, LOG)
    pd.testing.assert_frame_equal(once.table, twice.table)
    assert once.notes == twice.notes
    assert "phase" not in shots.table
    corrected = cl.join_log(once, LOG.replace("S1", "I2"))
    assert corrected.table["cue"].iloc[5] == "I2"


def test_logs_may_be_joined_one_after_the_other(shots):
    one, other = LOG[LOG["session"] == "v1"], LOG[LOG["session"] == "v2"]
    pd.testing.assert_frame_equal(
        cl.join_log(cl.join_log(shots, one), other).table[["block", "phase", "cue", "shots_logged"]],
        cl.join_log(shots, LOG).table[["block", "phase", "cue", "shots_logged"]],
        check_dtype=False,
    )


@pytest.mark.parametrize("kind", ["csv", "semicolon", "xlsx", "parquet", "folder", "list"])
def test_a_log_may_come_in_any_form(shots, tmp_path, kind):
    log = LOG.assign(session_day="2026-11-03", feedback_shown="no", followed_0_10=[None, None, 7.5, None])
    if kind in ("csv", "folder", "list"):
        (tmp_path / "log.csv").write_text("# A log.\n# One row a block.\n" + log.to_csv(index=False))
    if kind == "semicolon":
        (tmp_path / "log.csv").write_text(log.to_csv(index=False, sep=";", decimal=","))
    if kind == "xlsx":
        log.to_excel(tmp_path / "log.xlsx", index=False)
    if kind == "parquet":
        log.to_parquet(tmp_path / "log.parquet")
    path = {
        "folder": tmp_path,
        "list": [tmp_path / "log.csv"],
        "xlsx": tmp_path / "log.xlsx",
        "parquet": tmp_path / "log.parquet",
    }
    table = cl.join_log(shots, path.get(kind, tmp_path / "log.csv")).table
    expected = cl.join_log(shots, LOG).table
    assert table["block"].equals(expected["block"])
    assert table["period"].equals(expected["period"])
    assert table["session_day"].tolist() == [pd.Timestamp("2026-11-03")] * 11
    assert table["feedback_shown"].tolist() == [False] * 11
    assert table["followed_0_10"].iloc[5] == 7.5


def test_missing_numbers_are_counted_and_no_reading_is_not_one(shots):
    table = SHOTS.drop(index=[3, 9])
    table.loc[4, "attack_up_deg"] = np.nan
    joined = cl.join_log(cl.clean_shots(table), LOG)
    assert joined.rejects["shot"].tolist() == [5]
    blocks = joined.table.drop_duplicates("block").set_index("block")
    assert blocks["shots_logged"].dropna().to_dict() == {"v1/1": 2, "v1/2": 3, "v1/3": 2, "v2/1": 3}
    assert blocks["shots_missing"].dropna().to_dict() == {"v1/1": 0, "v1/2": 1, "v1/3": 0, "v2/1": 1}


def test_shots_without_a_number_are_counted_in_the_order_of_the_file(read):
    columns = '[column.session]\nheading = "Visit"\n[column.attack_up_deg]\nheading = "Attack"\nunit = "deg"\n'
    shots = read("Visit,Attack\nv1,-1\nv2,-2\nv1,no read\nv1,-3\nv2,-4\nv1,-5\n", columns)
    log = pd.DataFrame(
        {"session": ["v1", "v2"], "first_shot": 1, "last_shot": [3, 2], "phase": "plain", "cue": "plain"}
    )
    joined = cl.join_log(shots, log)
    assert joined.table["shot"].tolist() == [1, 1, 3, 2, 4]
    assert joined.rejects["shot"].tolist() == [2]
    assert joined.table["phase"].isna().tolist() == [False] * 4 + [True]


def test_the_order_of_rows_changes_nothing(shots):
    mixed = cl.clean_shots(SHOTS.sample(frac=1, random_state=2))
    one = cl.join_log(shots, LOG).table.set_index(["session", "shot"])["block"].sort_index()
    other = cl.join_log(mixed, LOG.iloc[::-1]).table.set_index(["session", "shot"])["block"].sort_index()
    pd.testing.assert_series_equal(one, other)


def test_ids_of_the_log_are_used_as_they_stand(shots):
    log = LOG.assign(block=["a", "b", "c", "d"], block_index=[2, 3, 4, 1], period=[None, 5, 6, 1])
    table = cl.join_log(shots, log).table
    assert table["block"].iloc[[0, 2, 5, 8]].tolist() == ["a", "b", "c", "d"]
    assert table["block_index"].iloc[0] == 2
    assert table["period"].iloc[2] == 5


# who


def test_a_student_of_the_log_becomes_the_pseudonym_of_the_export(read):
    columns = (
        '[column.student]\nheading = "Name"\n[column.session]\nheading = "Visit"\n[column.shot]\nheading = "No"\n'
        '[column.attack_up_deg]\nheading = "Attack"\nunit = "deg"\n'
    )
    shots = read("Name,Visit,No,Attack\nRobin Doe,v1,1,-3\nRobin Doe,v1,2,-4\n", columns)
    log = LOG.iloc[:1].assign(student="robin doe", coach="Kim Roe")
    joined = cl.join_log(shots, log)
    assert (
        joined.table["student"].tolist()
        == shots.table["student"].tolist()
        == [pseudonym("Robin Doe", process_key())] * 2
    )
    assert "Roe" not in joined.table.to_csv()
    assert joined.table["coach"].str.startswith("c-").all()


def test_a_student_whom_only_the_log_names_is_taken_from_there(shots):
    table = cl.join_log(shots, LOG.assign(student=["Ann", "Ann", "Ann", "Bo"])).table
    assert table["student"].nunique() == 2
    assert not set(table["student"]) & {"Ann", "Bo"}


def test_ids_that_stand_in_shots_and_log_alike_are_left_alone():
    shots = cl.clean_shots(SHOTS.assign(student="Q001", coach="c1"))
    table = cl.join_log(shots, LOG.assign(student="Q001", coach="c1")).table
    assert set(table["student"]) == {"Q001"}
    assert set(table["coach"]) == {"c1"}


def test_a_simulated_academy_joins_with_its_own_log():
    academy = cl.simulate_academy(students=6, seed=1)
    again = cl.join_log(academy.shots, academy.log)
    same = [name for name in academy.shots.table.columns]
    for name in same:
        assert again.table[name].astype("str").equals(academy.shots.table[name].astype("str")), name


def test_two_students_in_one_session_are_refused(shots):
    error = refused(shots, LOG.assign(student=["Ann", "Bo", "Ann", "Cy"]))
    assert "'v1' has two students" in error.found and "Ann" not in str(error)
    named = cl.clean_shots(SHOTS.assign(student="Q001"))
    assert "two students" in refused(named, LOG.assign(student="Q002")).found


# sessions that no file names


def test_the_only_session_of_a_log_holds_for_a_file_without_sessions():
    shots = cl.clean_shots(SHOTS.iloc[:8].drop(columns="session"))
    table = cl.join_log(shots, LOG.iloc[:3]).table
    assert set(table["session"]) == {"v1"}
    assert table["phase"].iloc[5] == "cue"


def test_otherwise_student_and_day_tell_the_session():
    day = pd.to_datetime(["2026-11-03"] * 8 + ["2026-11-04"] * 3)
    shots = cl.clean_shots(SHOTS.drop(columns="session").assign(struck_at=day + pd.Timedelta(hours=9)))
    log = LOG.assign(session_day=["2026-11-03"] * 3 + ["2026-11-04"])
    assert cl.join_log(shots, log).table["session"].tolist() == SHOTS["session"].tolist()
    assert "more than one session" in refused(shots, log.assign(session_day="2026-11-03")).found
    assert "neither session nor day" in refused(cl.clean_shots(SHOTS.drop(columns="session")), log).found


# what does not fit


def test_a_missing_column_shows_what_is_close(shots):
    error = refused(shots, LOG.rename(columns={"first_shot": "frist_shot"}))
    assert "'first_shot'" in error.found and "'frist_shot' is close" in error.found


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ({"phase": ["warmup", "plian", "cue", "plain"]}, "'plian'"),
        ({"first_shot": [1, 2, 6, 1]}, "overlap"),
        ({"last_shot": [2, 2, 7, 3]}, "before first_shot"),
        ({"first_shot": [1, "x", 6, 1]}, "'x' is no number"),
        ({"first_shot": [1, 3.5, 6, 1]}, "no shot number"),
        ({"session": ["v1", "v1", None, "v2"]}, "blank"),
        ({"cue": ["plain", "plain", None, "plain"]}, "blank in a block of phase cue"),
        ({"session": ["v1", "v1", "v1", "v22"]}, "'v2' is close"),
        ({"last_shot": [2, 5, 7, 99]}, "the device has 1 to 3"),
        ({"first_shot": [1, 3, 6, 11], "last_shot": [2, 5, 7, 12]}, "the log names shots 11 to 12"),
        ({"block": ["a", "a", "b", "c"]}, "stands in row"),
        ({"followed_0_10": [None, None, 11, None]}, "outside 0 to 10"),
        ({"feedback_shown": ["no", "perhaps", "no", "no"]}, "neither yes nor no"),
        ({"session_day": ["2026-11-03", "soon", "2026-11-03", "2026-11-03"]}, "no day"),
    ],
)  # fmt: skip
def test_a_log_that_does_not_fit_is_refused_and_says_where(shots, change, found):
    error = refused(shots, LOG.assign(**change))
    assert found in error.found
    assert "row" in error.facts


def test_an_error_names_line_and_file_of_the_log(shots, tmp_path):
    path = tmp_path / "log-a.csv"
    path.write_text("# notes\n" + LOG.assign(phase="plian").to_csv(index=False))
    assert "3 of log-a.csv" in str(refused(shots, path))


def test_an_empty_log_and_an_empty_folder_are_refused(shots, tmp_path):
    assert "no rows" in refused(shots, LOG.iloc[:0]).found
    assert "none of" in refused(shots, tmp_path).found


def test_a_last_ball_that_is_not_there_is_missing_and_told(shots):
    joined = cl.join_log(shots, LOG.assign(last_shot=[2, 5, 7, 4]))
    assert joined.table.drop_duplicates("block").set_index("block").loc["v2/1", "shots_missing"] == 1
    assert any("beyond the device's last shot" in note for note in joined.notes)


# cards


def test_cards_give_family_moves_and_direction(shots, tmp_path):
    path = tmp_path / "cues.toml"
    path.write_text(CARDS)
    for cues in (path, cl.read_cues(path)):
        table = cl.join_log(shots, LOG, cues=cues).table
        assert table.loc[5, ["family", "moves", "direction"]].tolist() == ["setup", "attack_up_deg", 1]
        assert table.loc[2, "family"] == "none"


def test_a_cue_without_a_card_is_refused(shots, tmp_path):
    path = tmp_path / "cues.toml"
    path.write_text(CARDS)
    error = refused(shots, LOG.replace("S1", "S2"), path)
    assert "'S2' has no card" in error.found and "there are cards for: S1, plain" in error.found


def test_a_logs_own_columns_for_the_card_are_used(shots):
    log = LOG.assign(family=["none", "none", "intent", "none"], moves="", direction=[1, 1, -1, 1])
    table = cl.join_log(shots, log).table
    assert table.loc[5, ["family", "direction"]].tolist() == ["intent", -1]


# best shots only


def academy_of_gaps(rng, cue_share, plain_share=0.0, blocks=60, size=10):
    """Return joined shots of one coach whose cue and plain blocks lack these shares of their numbers."""
    rows, log = [], []
    for block in range(blocks):
        phase = "cue" if block % 2 else "plain"
        kept = rng.random(size) >= (cue_share if phase == "cue" else plain_share)
        kept[0] = True
        rows += [{"session": "v1", "shot": block * size + shot + 1} for shot in np.flatnonzero(kept)]
        log.append({"session": "v1", "first_shot": block * size + 1, "last_shot": (block + 1) * size, "phase": phase, "cue": "S1" if block % 2 else "plain"})  # fmt: skip
    table = pd.DataFrame(rows).assign(attack_up_deg=-3.0 - rng.random(len(rows)))
    return cl.join_log(cl.clean_shots(table), pd.DataFrame(log).assign(coach="c-00000001"))


def test_a_coach_who_keeps_only_the_best_is_warned(rng):
    found = audit_logging(academy_of_gaps(rng, 0.2))
    assert found.table["warned"].tolist() == [True]
    assert found.table["cue_shots"].tolist() == [300]
    assert "best shots only" in found.text()


def test_honest_coaches_are_rarely_warned(rng):
    """Gaps at random, as many in cue blocks as in plain ones: at most one in twenty by the level of the test."""
    runs = 60
    warned = sum(
        audit_logging(academy_of_gaps(rng, share, share)).table["warned"].iloc[0] for share in [0.02, 0.1] * (runs // 2)
    )
    # 3 expected at most; 9 or more would happen four times in a thousand
    assert warned <= 8


def test_the_simulated_coach_who_drops_the_worst_fifth_is_the_one_who_is_warned():
    for seed in range(3):
        academy = cl.simulate_academy(students=24, seed=seed)
        found = audit_logging(academy.shots).table.set_index("coach")["warned"]
        assert found.to_dict() == academy.coaches.set_index("coach")["rogue"].to_dict()


def test_an_audit_needs_a_log_and_a_level(shots):
    with pytest.raises(cl.DataError, match="Join the lesson log"):
        audit_logging(shots)
    with pytest.raises(cl.DataError, match="level"):
        audit_logging(cl.join_log(shots, LOG), level=95)


def test_an_audit_without_gaps_says_what_that_may_mean(shots):
    assert "no counter" in audit_logging(cl.join_log(shots, LOG)).text()


# the demo


def test_the_three_exports_of_the_demo_join_with_their_logs(demo):
    parts = [
        cl.clean_shots(cl.read_shots(export, cl.ColumnMap.from_toml(demo / f"{export.stem}.toml")))
        for export in sorted(demo.iterdir())
        if export.suffix in (".csv", ".xlsx") and not export.name.startswith("log")
    ]
    assert len(parts) == 3
    logs = sorted(demo.glob("log-*.csv"))
    shots = cl.join_log(cl.combine_shots(parts), logs, cues=demo / "cues.toml")
    n = shots.counts
    assert n.raw == sum(part.counts["raw"] for part in parts) == n.shots + n.rejects
    assert n.shots == n.analysed + n.set_aside
    assert shots.table["phase"].notna().all()
    blocks = shots.table.drop_duplicates("block")
    log = pd.concat([pd.read_csv(path, comment="#") for path in logs])
    assert len(blocks) == len(log)
    assert blocks["shots_logged"].sum() == (log["last_shot"] - log["first_shot"] + 1).sum()
    numbered = shots.rejects["shot"].notna().sum()
    assert n.shots + numbered + blocks["shots_missing"].sum() == blocks["shots_logged"].sum()
    assert not set(pd.concat([pd.read_csv(path, comment="#")["student"] for path in logs])) & set(
        shots.table["student"]
    )
    assert audit_logging(shots).table["warned"].sum() == 1
