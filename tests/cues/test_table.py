import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.cues.blocks import block_table, cue_blocks, lessons_of
from coachlab.cues.pattern import named_patterns, screening_pattern
from coachlab.cues.table import flow


@pytest.fixture(scope="module")
def academy():
    return cl.simulate_academy(students=16, seed=3)


@pytest.fixture(scope="module")
def table(academy):
    return cl.model_table(academy.shots, outcome="attack_up_deg", club="iron-7", cues=academy.cues)


def test_only_plain_and_cue_blocks_of_lessons_with_a_cue_are_modelled(academy, table):
    shots = academy.shots.analysed
    test = shots[shots["phase"].isin(["plain", "cue", "sham"]) & shots["attack_up_deg"].notna()]
    lessons = shots.loc[shots["phase"] == "cue", "session"].unique()
    assert len(table) == test["session"].isin(lessons).sum()
    assert set(table["phase"]) <= {"plain", "cue", "sham"}


def test_the_pattern_comes_from_screening_blocks_only(academy, table):
    shots = academy.shots.analysed
    screen = shots[shots["phase"] == "screen"].groupby("student")["attack_up_deg"].mean()
    found = table.drop_duplicates("student").set_index("student")["pattern"]
    for student, value in found.items():
        assert value == pytest.approx(screen[student])
    assert table.drop_duplicates("student")["pat_c"].mean() == pytest.approx(0, abs=1e-12)


def test_families_split_the_cue_column(table):
    setup = table["cue"].astype(str).str.startswith("S")
    assert (table["on_setup"] == setup.astype(float)).all()
    assert ((table["on_setup"] + table["on_intent"]) == table["on"]).all()


def test_period_and_log_shot_are_centred_over_the_rows(table):
    assert table["per_c"].mean() == pytest.approx(0, abs=1e-9)
    assert table["lshot_c"].mean() == pytest.approx(0, abs=1e-9)


def test_baseline_rows_are_called_plain_and_come_first_among_the_levels(table):
    assert (table.loc[table["on"] == 0, "cue"] == "plain").all()
    assert table["cue"].cat.categories[0] == "plain"


def test_asking_for_one_cue_keeps_its_lessons_only(academy):
    table = cl.model_table(academy.shots, outcome="attack_up_deg", club="iron-7", cues=["I2"])
    assert set(table.loc[table["on"] > 0, "cue"].astype(str)) == {"I2"}
    assert table.groupby("session", observed=True)["on"].nunique().eq(2).mean() > 0.8


def test_a_cue_card_says_which_way_is_meant_for_the_outcomes_it_moves_and_none_for_others(academy, table):
    direction = table[table["on"] > 0].groupby("cue", observed=True)["direction"].first()
    assert direction["I1"] == -1
    assert direction["I2"] == 1
    path = cl.model_table(academy.shots, outcome="path_out_deg", club="iron-7", cues=academy.cues)
    assert path.loc[path["cue"].astype(str) == "I1", "direction"].eq(0).all()


def test_face_to_path_is_derived(academy):
    table = cl.model_table(academy.shots, outcome="face_to_path_deg", club="iron-7")
    assert np.isfinite(table["face_to_path_deg"]).all()


def test_a_block_without_a_logged_cue_was_silence(academy):
    shots = academy.shots.table.copy()
    shots.loc[shots["phase"] == "plain", "cue"] = None
    table = cl.model_table(shots, outcome="attack_up_deg", club="iron-7")
    assert (table.loc[table["on"] == 0, "comparator"] == "silence").all()
    assert cl.evidence_grade(table).grade == "B"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"outcome": "attack"}, "'attack' is no outcome"),
        ({"club": "7 iron"}, "'7 iron' is no club"),
        ({"club": "driver"}, "No analysed shot of driver"),
        ({"cues": ["Z9"]}, "lesson with Z9"),
    ],
)
def test_a_question_that_cannot_be_answered_says_why(academy, change, message):
    question = {"outcome": "attack_up_deg", "club": "iron-7"} | change
    with pytest.raises(cl.DataError, match=message):
        cl.model_table(academy.shots, **question)


def test_shots_without_a_log_are_sent_to_the_log(academy):
    bare = academy.shots.table.drop(columns=["phase", "cue", "block"])
    with pytest.raises(cl.DataError, match="Join the lesson log first"):
        cl.model_table(bare, outcome="attack_up_deg", club="iron-7")


def test_the_shots_are_not_changed(academy):
    before = academy.shots.table.copy()
    cl.model_table(academy.shots, outcome="path_out_deg", club="iron-7", cues=academy.cues)
    pd.testing.assert_frame_equal(academy.shots.table, before)


def test_blocks_hold_the_means_and_sizes_of_their_shots(table):
    blocks = block_table(table)
    plain = table.groupby(table["block"].astype(str))["attack_up_deg"].agg(["mean", "size", "std"])
    found = blocks.set_index("block").loc[plain.index]
    np.testing.assert_allclose(found["mean"], plain["mean"], rtol=1e-12)
    np.testing.assert_allclose(found["sd"], plain["std"], rtol=1e-9)
    assert (found["shots"] == plain["size"]).all()


def test_a_lesson_is_written_as_letters(table):
    lessons = lessons_of(cue_blocks(block_table(table), "I2"))
    full = {lesson.states for lesson in lessons if len(lesson.states) == 4}
    assert full
    assert full <= {"pcpc", "cpcp", "pccp", "cppc"}
    assert all(
        lesson.changes == sum(a != b for a, b in zip(lesson.states, lesson.states[1:], strict=False))
        for lesson in lessons
    )


def test_the_flow_ends_at_the_modelled_shots(academy, table):
    steps = flow(academy.shots, table).set_index("step")["shots"]
    counts = academy.shots.counts
    assert steps["rows in the files"] + steps["no shot (headings, totals, no reading)"] == counts.shots
    assert steps["in the models"] == len(table)
    assert steps["analysed"] + steps["not in a plain or cue block of this question"] == len(table)


def test_named_patterns_lie_one_sd_apart(table):
    places = named_patterns(table, "attack_up_deg")
    spread = table.drop_duplicates("student")["pattern"].std()
    assert list(places["pattern"]) == ["steep", "middle", "shallow"]
    np.testing.assert_allclose(np.diff(places["pat_c"]), spread)


def test_a_screening_mean_comes_with_its_error(academy):
    found = screening_pattern(academy.shots, "iron-7")
    assert (found["se"] > 0).all()
    assert list(found.columns) == ["student", "attack_up_deg", "shots", "se"]
