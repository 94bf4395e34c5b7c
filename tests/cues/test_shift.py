import numpy as np
import pandas as pd
import pytest
from scipy import stats

import coachlab as cl
from coachlab import claims
from coachlab.cues.compare import between_cues, pattern_shifts
from coachlab.cues.shift import COLUMNS


@pytest.fixture(scope="module")
def academy():
    return cl.simulate_academy(students=38, seed=1, rogue=False)


@pytest.fixture(scope="module")
def table(academy):
    return cl.model_table(academy.shots, outcome="attack_up_deg", club="iron-7", cues=academy.cues)


@pytest.fixture(scope="module")
def shifts(table):
    return cl.cue_shifts(table)


def balanced(students=12, seed=5, shots=9, shift=1.0):
    """A complete study of one cue without trends: every student hits plain, X, plain, X or the reverse."""
    rng = np.random.default_rng(seed)
    rows = []
    for student in range(students):
        own, slope = rng.normal(-4, 2), rng.normal(shift, 1.0)
        for period in range(4):
            on = float((period + student) % 2)
            block = rng.normal(0, 0.6)
            values = own + on * slope + block + rng.normal(0, 1.8, shots)
            plan = "X plain X plain" if student % 2 else "plain X plain X"
            rows += [
                (f"s{student}", "c1", f"v{student}", f"v{student}/{period}", period + 1.0, on, value, plan)
                for value in values
            ]
    names = ["student", "coach", "session", "block", "period", "on", "attack_up_deg", "order_plan"]
    frame = pd.DataFrame(rows, columns=names)
    frame["cue"] = pd.Categorical(np.where(frame["on"] > 0, "X", "plain"), categories=["plain", "X"])
    # no trend in these data: constant covariates would be aliased, so that centred noise stands in their place
    frame["per_c"], frame["lshot_c"] = 0.0, 0.0
    return frame.assign(club="iron-7", order_seed="1", offered="drawn", screened=True, pattern=np.nan, pat_c=np.nan)


def test_the_columns_are_those_promised(shifts):
    assert tuple(shifts.table.columns) == COLUMNS


def test_a_balanced_study_gives_the_paired_answer():
    study = balanced()
    found = cl.cue_shifts(study).table.iloc[0]
    means = study.groupby(["student", "on"])["attack_up_deg"].mean().unstack()
    difference = means[1.0] - means[0.0]
    # a complete balanced crossover: the mixed model's answer is the paired one, to the digits of the optimiser
    assert found["estimate"] == pytest.approx(difference.mean(), abs=1e-8)
    assert found["se"] == pytest.approx(stats.sem(difference), rel=1e-4)
    assert found["df"] == pytest.approx(11, rel=1e-3)
    assert found["high"] - found["estimate"] == pytest.approx(stats.t.ppf(0.975, found["df"]) * found["se"], rel=1e-9)


def test_degrees_of_freedom_never_exceed_the_students_less_one(shifts):
    assert (shifts.table["df"] <= shifts.table["students"] - 1 + 1e-9).all()
    assert {"df_model", "slope_sd", "see_low", "see_high"} <= set(shifts.spread.columns)


def test_shuffled_rows_give_the_same_answer(table, shifts):
    shuffled = cl.cue_shifts(table.sample(frac=1, random_state=3)).table
    np.testing.assert_allclose(shuffled["estimate"], shifts.table["estimate"], atol=1e-7)
    np.testing.assert_allclose(shuffled["se"], shifts.table["se"], rtol=1e-5)


def test_a_mirrored_outcome_gives_the_mirrored_shift(table, shifts):
    mirrored = cl.cue_shifts(table.assign(attack_up_deg=-table["attack_up_deg"])).table
    np.testing.assert_allclose(mirrored["estimate"], -shifts.table["estimate"], atol=1e-7)


def test_every_model_keeps_the_cue_slope_of_each_student(shifts):
    for model in shifts.spread["model"]:
        assert "on | student)" in model or "on_h | student)" in model


def test_the_wanted_direction_turns_the_verdict():
    study = balanced(students=20, shift=2.0)
    assert cl.cue_shifts(study, direction=1).table.loc[0, "verdict"] == "useful"
    assert cl.cue_shifts(study, direction=-1).table.loc[0, "verdict"] == "wrong way"


def test_a_cue_meant_to_lower_is_useful_when_it_lowers(table):
    cue = table["cue"].astype(str) == "I1"
    lowered = table.assign(attack_up_deg=table["attack_up_deg"] - np.where(cue, 1.5, 0.0))
    found = cl.cue_shifts(lowered).table.set_index("cue")
    assert found.loc["I1", "verdict"] == "useful"
    assert found.loc["I1", "estimate"] < -1.5


def test_fewer_than_six_students_get_no_mean_and_a_sentence():
    found = cl.cue_shifts(balanced(students=5))
    assert found.table.loc[0, ["estimate", "low", "high"]].isna().all()
    assert "at least 6 are needed" in found.text()


def test_six_students_get_an_interval_and_no_verdict():
    found = cl.cue_shifts(balanced(students=6)).table.iloc[0]
    assert np.isfinite(found["low"])
    assert found["verdict"] == ""


def test_a_log_without_baseline_is_counted_and_not_compared():
    study = balanced()
    found = cl.cue_shifts(study[study["on"] > 0])
    assert found.table.loc[0, "grade"] == "D"
    assert found.table["estimate"].isna().all()
    assert found.table.loc[0, "students"] == 12
    assert "counted and not compared" in found.text()


def test_plain_before_cue_leaves_time_out_of_the_model_and_says_so():
    study = balanced()
    study = study[study["block"].str.endswith(("/0", "/1")) & (study["student"].str[1:].astype(int) % 2 == 0)]
    study = pd.concat(
        [
            study,
            balanced(seed=9)
            .assign(student=lambda t: "t" + t["student"])
            .query("student.str[2:].astype('int') % 2 == 0"),
        ]
    )
    study = study[study["block"].str.endswith(("/0", "/1"))].assign(
        session=lambda t: t["student"], block=lambda t: t["student"] + t["block"], order_seed="", order_plan=""
    )
    found = cl.cue_shifts(study)
    assert "per_c" not in found.spread.loc[0, "model"]
    assert "(1 | block)" not in found.spread.loc[0, "model"]
    assert found.table.loc[0, "grade"] == "C"
    assert any("not separable from time" in note for note in found.notes["X"])


def test_a_short_block_is_left_out_with_a_note(table):
    block = table.loc[table["cue"].astype(str) == "S1", "block"].iloc[0]
    rows = table["block"] == block
    cut = table[~rows | (rows.cumsum() <= 4)]
    found = cl.cue_shifts(cut)
    assert any("1 blocks with fewer than 5 shots" in note for note in found.notes["S1"])


def test_every_sentence_is_on_the_list_of_its_grade(academy, shifts):
    for cue, grade in zip(shifts.table["cue"], shifts.table["grade"], strict=True):
        assert all(claims.matches(sentence, grade) for sentence in shifts.claim(cue))
    for sentence in shifts.sentences():
        assert claims.matches(sentence, "A"), sentence
    chosen = cl.simulate_academy(students=20, seed=2, design="chosen", rogue=False)
    found = cl.cue_shifts(cl.model_table(chosen.shots, outcome="path_out_deg", club="iron-7", cues=chosen.cues))
    assert set(found.table["grade"]) == {"C"}
    assert all(claims.matches(sentence, "C") for sentence in found.sentences())


@pytest.mark.parametrize("seed", range(6))
def test_the_words_never_contradict_the_verdict(seed):
    academy = cl.simulate_academy(students=24, seed=seed, rogue=False)
    for outcome in ("attack_up_deg", "path_out_deg"):
        found = cl.cue_shifts(cl.model_table(academy.shots, outcome=outcome, club="iron-7", cues=academy.cues))
        for cue, verdict in zip(found.table["cue"], found.table["verdict"], strict=True):
            said = found.claim(cue)[0]
            if verdict in ("useful", "wrong way", "too small"):
                assert "not yet clear" not in said
            if verdict == "too small":
                assert "no useful effect" in said


def test_the_range_for_the_next_student_is_that_of_the_raw_differences(shifts):
    own = shifts.students.query("cue == 'S1'")["shift"]
    half = stats.t.ppf(0.95, len(own) - 1) * own.std() * np.sqrt(1 + 1 / len(own))
    row = shifts.spread.set_index("cue").loc["S1"]
    assert row["see_high"] - row["see_low"] == pytest.approx(2 * half)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [({"direction": 2}, "direction is 2"), ({"level": 95}, "level is 95"), ({"level": 0.0}, "level is 0.0")],
)
def test_an_argument_out_of_range_is_refused(table, arguments, message):
    with pytest.raises(cl.DataError, match=message):
        cl.cue_shifts(table, **arguments)


def test_a_table_without_cue_shots_is_refused(table):
    with pytest.raises(cl.DataError, match="no cue shots"):
        cl.cue_shifts(table[table["on"] == 0])


def test_a_planted_pattern_slope_is_found(table):
    cue = (table["cue"].astype(str) == "S2").astype(float)
    planted = table.assign(attack_up_deg=table["attack_up_deg"] - 0.8 * cue * table["pat_c"])
    found = pattern_shifts(planted, ["S2"])
    row = found.slopes.iloc[0]
    assert row["low"] < -0.8 < row["high"]
    assert row["high"] < 0
    steep, middle, shallow = found.table["estimate"]
    assert steep > middle > shallow
    assert all(claims.matches(sentence, "A") for sentence in found.sentences())


def test_too_few_screened_students_get_a_sentence_and_no_slope(academy):
    table = cl.model_table(academy.shots, outcome="attack_up_deg", club="iron-7", cues=["I2"])
    few = table[table["student"].isin(table["student"].unique()[:15])]
    found = pattern_shifts(few)
    assert found.table.empty
    assert "15 also have a screening block, and 20 are needed" in found.text()


def test_cues_are_compared_in_one_model_with_a_term_for_each_family(table, shifts):
    found = between_cues(table)
    assert "(0 + on_setup | student:cue) + (0 + on_intent | student:cue)" in found.fit.formula
    assert len(found.table) == 21
    row = found.table.query("a == 'S1' and b == 'I1'").iloc[0]
    single = shifts.table.set_index("cue")["estimate"]
    # the same contrast from two models of the same lessons: alike to a fraction of its own error
    assert row["estimate"] == pytest.approx(single["S1"] - single["I1"], abs=row["se"])


def test_one_cue_cannot_be_compared_with_itself(academy):
    table = cl.model_table(academy.shots, outcome="attack_up_deg", club="iron-7", cues=["S1"])
    with pytest.raises(cl.FitError, match="holds 1 cue"):
        between_cues(table)


def test_the_range_of_a_students_own_shift_states_its_tested_coverage(shifts):
    from coachlab.mixed.newcomer import tested

    row = shifts.spread.set_index("cue").loc["S1"]
    students = shifts.table.set_index("cue").loc["S1", "students"]
    assert row["see_low"] < row["own_low"] < row["own_high"] < row["see_high"]  # the chance of blocks is left out
    size = max(level for level in tested()["levels"] if level <= students)
    held = (
        tested().query("kind == 'new level' and nominal == .9 and levels == @size and spread == 1")["coverage"].item()
    )
    assert f"(90 % nominal, about {100 * held:.0f} % in tests at N = {size})" in shifts.text()


def test_a_larger_scale_widens_the_range_of_a_students_own_shift():
    study = balanced(students=12)
    narrow, wide = (cl.cue_shifts(study, scale=scale).spread.iloc[0] for scale in (0.2, 5.0))
    assert wide["own_high"] - wide["own_low"] > narrow["own_high"] - narrow["own_low"]
    assert wide["see_high"] == narrow["see_high"]
    with pytest.raises(cl.DataError, match="scale is 0"):
        cl.cue_shifts(study, scale=0)


def test_eleven_students_or_one_block_a_condition_give_no_range_of_the_own_shift():
    assert np.isfinite(cl.cue_shifts(balanced(students=12)).spread.loc[0, "own_low"])
    assert np.isnan(cl.cue_shifts(balanced(students=11)).spread.loc[0, "own_low"])
    study = balanced(students=14)
    once = study[study["block"].str.endswith(("/0", "/1"))]
    assert np.isnan(cl.cue_shifts(once).spread.loc[0, "own_low"])
