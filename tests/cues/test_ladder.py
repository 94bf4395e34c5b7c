"""The ladder of the model of one cue: broken data sets, simulated here, each with the rung that it must end on."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from studies import answer_of, crossover, part_of, values, with_outcome

import coachlab as cl
from coachlab.cues.blocks import paired_means
from coachlab.cues.compare import between_cues
from coachlab.cues.ladder import COLUMNS, PAIRED
from coachlab.mixed import solve


def study(seed, slope_sd=1.0, students=14, flat=False, order=None, r=0.0, block=0.6, session=0.8, shift=1.2, **layout):
    """The lessons of one cue; `flat`: a file that holds each block's mean in place of its shots; `order`: one for all."""
    rng = np.random.default_rng(seed)
    frame = crossover(students, **layout)
    if order is not None:
        frame = frame.assign(on=(frame["period"] > 1 if order == "plain first" else frame["period"] < 2).astype(float))
        frame = frame.assign(cue=pd.Categorical(np.where(frame["on"] > 0, "X", "plain"), categories=["plain", "X"]))
    outcome = values(frame, rng, slope_sd, shift, r=r, block=block, session=session)
    if flat:
        outcome = frame.assign(y=outcome).groupby("block", observed=True)["y"].transform("mean").to_numpy()
    return with_outcome(part_of(frame, rng), outcome), frame.assign(attack_up_deg=outcome)


def paired(part):
    shift = paired_means(part.blocks, "X")["shift"]
    return shift.mean(), stats.sem(shift), len(shift) - 1


def check(ladder, rungs, reason):
    """The table has its columns, passes these rungs and takes the last, for this reason."""
    assert tuple(ladder.table.columns) == COLUMNS
    assert list(ladder.table["rung"]) == rungs
    assert list(ladder.table["taken"]) == [False] * (len(rungs) - 1) + [True]
    assert reason in ladder.table["reason"].iloc[-1]
    assert reason in ladder.text()


def test_lessons_that_carry_the_full_model_stay_on_the_first_rung():
    answer = answer_of(study(8)[0])
    check(answer.ladder, ["a"], "The full model.")
    assert answer.model == ("attack_up_deg ~ on + per_c + lshot_c + (1 + on | student) + (1 | session) + (1 | block)")
    assert answer.ladder.reasons == ()


def test_a_perfect_correlation_of_start_and_shift_is_dropped_with_the_cue_coded_by_halves():
    answer = answer_of(study(2, slope_sd=0.5, students=8, r=1.0)[0])
    check(answer.ladder, ["a", "b"], "could not be told from ±1 or 0")
    assert answer.ladder.rung == "b"
    assert "(1 | student) + (0 + on_h | student)" in answer.model
    assert " ~ on + " in answer.model  # 0 and 1 everywhere else
    rows = answer.fit.problem.moments.coding.z_names
    assert "on_h" in rows and "on" not in rows


def test_students_who_came_once_have_no_term_for_the_day():
    answer = answer_of(study(3, sessions=1, pairs=2)[0])
    check(answer.ladder, ["a", "c"], "Each student came once")
    assert "(1 | session)" in answer.ladder.table["formula"].iloc[0]
    assert "session" not in answer.model
    assert answer.df == pytest.approx(13, abs=0.2)  # period and shot number take a little


def test_a_file_with_one_value_a_block_is_fitted_as_weighted_block_means():
    part, _ = study(4, flat=True)
    answer = answer_of(part)
    check(answer.ladder, ["a", "d"], "The shots of every block hold one value: block means, weighted by their shots")
    assert answer.model.endswith("(1 + on | student) + (1 | session), block means weighted by shots")
    assert answer.fit.problem.moments.rows == len(part.blocks)
    estimate, se, df = paired(part)
    # the same blocks: what differs is the slope of time, which the balanced order keeps small
    assert answer.estimate == pytest.approx(estimate, abs=0.2 * se)
    assert answer.se == pytest.approx(se, rel=0.1)
    assert answer.df <= df


def test_one_value_a_block_and_one_block_a_condition_leave_a_paired_t():
    part, _ = study(5, flat=True, sessions=1, pairs=1)
    answer = answer_of(part)
    check(answer.ladder, ["a", "one block", "c", "d", "e"], "one difference for each student stands in")
    assert answer.model == PAIRED
    assert answer.fit is None
    assert (answer.estimate, answer.se, answer.df) == pytest.approx(paired(part), rel=1e-12)


def test_one_block_a_condition_puts_block_noise_into_the_spread_and_says_so():
    answer = answer_of(study(6, sessions=1, pairs=1)[0])
    check(answer.ladder, ["a", "one block", "c"], "Each student came once")
    assert "(1 | block)" not in answer.model
    assert any("spread between students includes block-to-block noise" in reason for reason in answer.ladder.reasons)
    # sqrt(1.0^2 + 2 x .6^2) = 1.31 in place of 1.0; 12 studies, a tenth of error
    sds = [answer_of(study(seed, sessions=1, pairs=1, students=20)[0]).slope_sd for seed in range(12)]
    assert np.mean(np.square(sds)) == pytest.approx(1.31**2, rel=0.3)


@pytest.mark.parametrize(
    ("order", "said"), [("plain first", "Plain always came"), ("cue first", "The cue always came")]
)
def test_one_order_for_all_leaves_time_out_says_so_and_has_grade_c_at_most(order, said):
    part, frame = study(7, order=order, sessions=2, pairs=1)
    answer = answer_of(part)
    assert list(answer.ladder.table["rung"]) == ["a", "time"]
    assert said in answer.ladder.text() and "not separable from time" in answer.ladder.text()
    assert "per_c" not in answer.model and "lshot_c" not in answer.model
    assert not any("Not estimable" in check for check in answer.fit.checks)  # nothing was left to a pivot
    assert cl.evidence_grade(frame).grade in "CD"


def test_plain_plain_cue_cue_in_a_drawn_order_is_still_not_separable_from_time():
    rng = np.random.default_rng(0)
    frame = crossover(14, sessions=1, pairs=2)
    frame["on"] = (frame["period"] > 2).astype(float)
    frame["cue"] = pd.Categorical(np.where(frame["on"] > 0, "X", "plain"), categories=["plain", "X"])
    frame["attack_up_deg"] = values(frame, rng, 1.0)
    grade = cl.evidence_grade(frame)
    assert grade.grade == "C"
    assert "not separable from time" in grade.text()


def test_covariates_that_do_not_vary_are_named_and_not_left_to_a_pivot():
    part, frame = study(8)
    rng = np.random.default_rng(8)
    still = frame.assign(per_c=0.0)
    answer = answer_of(with_outcome(part_of(still, rng), still["attack_up_deg"].to_numpy()))
    check(answer.ladder, ["a", "time"], "Period cannot be told from the cue or do")
    assert "per_c" not in answer.model and "lshot_c" in answer.model


def test_a_search_that_does_not_end_steps_down_to_the_students_differences(monkeypatch):
    part, _ = study(9)
    monkeypatch.setattr(solve, "MOST_STEPS", 1)
    monkeypatch.setattr(solve, "APPROACHES", 0)
    answer = answer_of(part)
    check(answer.ladder, ["a", "b", "d", "e"], "did not end at a minimum")
    assert (answer.estimate, answer.se, answer.df) == pytest.approx(paired(part), rel=1e-12)


def test_a_spread_between_students_of_zero_keeps_their_number_less_one_df():
    flat = [answer_of(study(seed, slope_sd=0.0, students=8)[0]) for seed in range(6)]
    none = [answer for answer in flat if answer.slope_sd < 1e-6]
    assert none
    for answer in none:
        assert answer.df == 7 < answer.df_model
        assert any("estimated at zero; the interval keeps N - 1 df" in reason for reason in answer.ladder.reasons)


def test_a_spread_between_blocks_of_zero_keeps_the_students_shift_and_says_so():
    answer = answer_of(study(1)[0])
    assert "on | student)" in answer.model
    assert answer.fit.components.set_index("group")["sd_or_corr"]["block"] < 1e-3
    assert any("block SD estimated at zero" in reason for reason in answer.ladder.reasons)


def test_five_coaches_bring_their_spread_into_the_model_and_four_a_sentence():
    five, four = (study(10, students=20, coaches=coaches) for coaches in (5, 4))
    assert "(0 + on | coach)" in answer_of(five[0]).model
    assert "coach" not in answer_of(four[0]).model
    said = "With 4 coaches the spread between coaches is not in the interval."
    assert said in cl.cue_shifts(four[1]).sentences()
    assert not any("coaches" in sentence for sentence in cl.cue_shifts(five[1]).sentences())
    turned = cl.cue_shifts(four[1])
    turned = replace(
        turned, table=turned.table.iloc[::-1], spread=turned.spread.reset_index(drop=True).set_index([[7]])
    )
    assert said in turned.sentences()  # whatever the order of the rows
    assert any("one coach" in sentence for sentence in cl.cue_shifts(study(10, coaches=1)[1]).sentences())


def test_five_coaches_of_one_student_each_are_no_group_of_their_own():
    assert "coach" not in answer_of(study(11, students=8, coaches=8)[0]).model


def test_the_cues_spread_from_day_to_day_is_asked_only_of_lessons_that_can_tell_it():
    assert "(0 + on | session)" in answer_of(study(12, sessions=2, pairs=2)[0]).model
    assert "(0 + on | session)" not in answer_of(study(12, sessions=2, pairs=1)[0]).model  # it would be the block's
    assert "(0 + on | session)" not in answer_of(study(12, sessions=1, pairs=2)[0]).model


@pytest.mark.parametrize("seed", range(4))
def test_a_balanced_study_without_covariates_keeps_the_paired_answer_on_the_first_rung(seed):
    part, frame = study(seed + 20, sessions=2, pairs=2, slope_sd=1.5)
    still = frame.assign(per_c=0.0, lshot_c=0.0)
    answer = answer_of(with_outcome(part_of(still, np.random.default_rng(0)), still["attack_up_deg"].to_numpy()))
    assert answer.ladder.rung == "a"
    assert (answer.estimate, answer.se, answer.df_model) == pytest.approx(paired(part), rel=1e-5)


def test_no_rung_drops_the_shift_of_each_student():
    for seed, layout in enumerate(
        ({}, {"sessions": 1}, {"flat": True}, {"r": 1.0, "students": 8}, {"order": "plain first"})
    ):
        for formula in answer_of(study(seed, **layout)[0]).ladder.table["formula"]:
            assert "on | student)" in formula or "on_h | student)" in formula


def test_students_with_no_difference_at_all_are_refused_in_words():
    part, frame = study(0, flat=True, sessions=1, pairs=1)
    same = with_outcome(part, part.rows["student"].cat.codes.to_numpy(float))
    with pytest.raises(cl.FitError, match="All 14 students have the same difference, 0"):
        answer_of(same)


def test_the_rung_stands_where_the_answer_is_shown():
    _, frame = study(3, sessions=1, pairs=2)
    found = cl.cue_shifts(frame)
    assert found.spread.loc[0, "rung"] == "c"
    assert found.ladders["X"].rung == "c"
    assert "Each student came once" in found._repr_html_()
    assert any("Each student came once" in note for note in found.notes["X"])


def test_models_of_several_cues_stay_as_they_were():
    academy = cl.simulate_academy(students=24, seed=3, rogue=False, cues=["S1", "I2"], lessons=2)
    fit = between_cues(cl.model_table(academy.shots, cues=academy.cues)).fit
    assert "(1 + on | student)" in fit.formula and "(1 | session)" in fit.formula and "per_c + lshot_c" in fit.formula
