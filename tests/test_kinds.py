"""Wrong kinds of things, and values out of range: each gets one error of three lines that names what was given."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import coachlab as cl


@pytest.fixture(scope="module")
def given():
    """Shots, a model table, a fit, its moments, and one student's costs, all simulated."""
    academy = cl.simulate_academy(students=12, seed=3)
    table = cl.model_table(academy.shots, cues=["I2"])
    return SimpleNamespace(
        academy=academy,
        shots=academy.shots,
        cards=academy.cues,
        table=table,
        fit=cl.fit_mixed("attack_up_deg ~ on + (1 + on | student)", table),
        sums=cl.moments("attack_up_deg ~ on + (1 | student)", table),
        costs=cl.costliest(academy.shots),
    )


@pytest.mark.parametrize(
    ("call", "parts"),
    [
        # another kind of object
        (lambda g: cl.bootstrap(g.table), ["fit", "DataFrame", "fit_mixed"]),
        (lambda g: cl.profile_spread(g.table), ["fit", "DataFrame", "fit_mixed"]),
        (lambda g: cl.spread_test(g.table, "student"), ["fit", "DataFrame", "fit_mixed"]),
        (lambda g: cl.new_level(g.table, "on", "student", 1.0), ["fit", "DataFrame", "fit_mixed"]),
        (lambda g: cl.means(g.table, "on"), ["fit", "DataFrame", "fit_mixed"]),
        (lambda g: cl.contrasts(g.table, "cue"), ["fit", "DataFrame", "fit_mixed"]),
        (lambda g: cl.predictions(g.table, g.table), ["fit", "DataFrame", "fit_mixed"]),
        (lambda g: g.sums + g.table, ["adding moments", "DataFrame", "moments(formula, rows)"]),
        (lambda g: 1.5 + g.sums, ["adding moments", "1.5"]),
        (lambda g: cl.model_table(SimpleNamespace(shots=g.shots)), ["shots is of the kind", "study.shots"]),
        (lambda g: cl.free_and_earned("data/demo"), ["'data/demo'", "read_study(folder).shots"]),
        (lambda g: cl.costliest("data/demo"), ["'data/demo'", "read_study(folder).shots"]),
        (lambda g: cl.infer_delivery(None), ["shots is None"]),
        (lambda g: cl.diagnose(g.shots, "I2"), ["Shots", "model_table(shots, outcome=...)"]),
        (lambda g: cl.evidence_grade("log.csv"), ["'log.csv'", "model_table"]),
        (lambda g: cl.cue_shifts(g.table.drop(columns="on")), ["no column on", "model_table"]),
        (lambda g: cl.cue_worth("s-1", g.shots, "I2"), ["costs is 's-1'", "costliest"]),
        (lambda g: cl.cue_worth(g.costs, "s-1", "I2"), ["shots is 's-1'"]),
        # values
        (lambda g: cl.new_level(g.fit, "on", "student", scale="1"), ["scale='1'"]),
        (lambda g: cl.cue_shifts(g.table, scale="1"), ["scale is '1'"]),
        (lambda g: cl.second_opinion(g.table, "I2", level=-1), ["level is -1", "between 0 and 1"]),
        (lambda g: cl.second_opinion(g.table, "I2", level=95), ["level is 95", "between 0 and 1"]),
        (lambda g: cl.costliest(g.shots, level=-1), ["level is -1", "between 0 and 1"]),
        (lambda g: cl.model_table(g.shots, pattern="atack"), ["pattern is 'atack'", "attack_up_deg, path_out_deg"]),
        (lambda g: cl.model_table(g.shots, cues="I2"), ["cues is 'I2'", "cues=['I2']"]),
        (lambda g: cl.free_and_earned(g.shots, cues="I2"), ["cues is 'I2'", "cues=['I2']"]),
        (lambda g: cl.model_table(g.shots, cues=[]), ["empty list", "leave it out for all"]),
        (lambda g: cl.model_table(g.shots, cues=3), ["cues is 3"]),
        (lambda g: cl.evidence_grade(g.table.iloc[:0]), ["no shot", "model_table"]),
        (lambda g: cl.cue_worth(g.costs, g.shots, "Z1", g.cards), ["'Z1'", "I1, I2, I3, I4, S1, S2, S3"]),
        (lambda g: cl.cue_worth(g.costs, g.shots, "Z1"), ["'Z1'", "I1, I2, I3, I4, S1, S2, S3"]),
        (lambda g: cl.model_table(g.shots, club="wood-3"), ["wood-3", "Clubs with such lessons: iron-7."]),
        (lambda g: cl.model_table(g.shots, club="7iron"), ["'7iron'", "'iron-7' is close"]),
        (lambda g: cl.free_and_earned(g.shots, "irn-7"), ["'irn-7'", "'iron-7' is close"]),
        (lambda g: cl.costliest(g.shots, club="7 iron"), ["'7 iron'", "'iron-7' is close"]),
    ],
)
def test_what_is_wrong_gets_one_error_of_three_lines(given, call, parts):
    with pytest.raises(cl.CoachlabError) as caught:
        call(given)
    said = str(caught.value)
    assert len(said.splitlines()) == 3, said
    assert caught.value.asked and caught.value.found and caught.value.do
    for part in parts:
        assert part in said, said


def test_moments_are_not_saved_into_a_folder_that_is_not_there(given, tmp_path):
    with pytest.raises(cl.FitError) as caught:
        given.sums.save(tmp_path / "none" / "sums.npz")
    assert "No such file or directory" in str(caught.value) and len(str(caught.value).splitlines()) == 3


def test_moments_still_add_up_by_sum(given):
    assert sum([given.sums, given.sums]).rows == 2 * given.sums.rows


def test_cards_without_a_row_mean_all_cues_that_the_log_names(given):
    none = given.cards.iloc[:0]
    table = cl.model_table(given.shots, cues=none)
    pd.testing.assert_frame_equal(table, cl.model_table(given.shots))
    assert set(cl.cue_shifts(table).table["cue"]) == set(given.cards["cue"]) - {"plain"}
    ours, theirs = (cl.free_and_earned(given.shots, cues=cues) for cues in (none, None))
    pd.testing.assert_frame_equal(ours.table, theirs.table)
    costs = cl.costliest(given.shots)
    assert cl.cue_worth(costs, given.shots, "I2", none).table.equals(cl.cue_worth(costs, given.shots, "I2").table)


def test_costs_are_asked_with_the_club_that_was_hit_most(given):
    table = given.shots.analysed.copy()
    own = table[table["phase"].astype("str").isin(["screen", "plain"])]
    assert given.costs.club == own["club"].astype("str").value_counts().index[0] == "iron-7"
    mine = own["student"].astype("str") == given.costs.student
    some = own.assign(club=np.where(mine & (np.arange(len(own)) % 4 > 0), "iron-6", own["club"].astype("str")))
    assert cl.costliest(some, given.costs.student).club == "iron-6"


def test_the_panels_show_a_study_without_cards(given):
    none = given.cards.iloc[:0]
    panel = cl.explore_cues(given.shots, none)
    assert not panel.trouble.value and len(panel.view.shifts.table) == len(given.cards) - 1
    assert not cl.explore_trust(given.shots, none, seed=1).trouble.value
