"""Means, differences and predictions keep their words."""

import numpy as np
import pandas as pd
import pytest
from mixed.references import fit, formula, table

import coachlab as cl


def test_contrasts_against_one_level_are_differences_of_means():
    means = cl.means(fit("cues"), "cue").table.set_index("level")["estimate"]
    table = cl.contrasts(fit("cues"), "cue", against="plain").table
    assert list(table.columns) == ["a", "b", "by", "estimate", "se", "df", "low", "high", "p", "p_adjusted"]
    assert list(table["b"].unique()) == ["plain"]
    assert table["estimate"].to_numpy() == pytest.approx(means[table["a"]].to_numpy() - means["plain"], abs=1e-12)


def test_pairwise_takes_every_pair_once():
    table = cl.contrasts(fit("cues"), "cue").table
    assert len({frozenset(pair) for pair in zip(table["a"], table["b"], strict=True)}) == len(table) == 6
    pd.testing.assert_frame_equal(table, cl.contrasts(fit("cues"), "cue", against="pairwise").table)


def test_holm_adjusts_p_within_the_family_and_leaves_intervals():
    raw = cl.contrasts(fit("cues"), "cue").table
    held = cl.contrasts(fit("cues"), "cue", adjust="holm").table
    from statsmodels.stats.multitest import multipletests

    assert held["p_adjusted"].to_numpy() == pytest.approx(multipletests(raw["p"], method="holm")[1], rel=1e-12)
    assert (raw["p_adjusted"] == raw["p"]).all()
    pd.testing.assert_frame_equal(raw[["low", "high"]], held[["low", "high"]])


def test_an_interaction_is_noted_unless_asked_by_it():
    assert any("interacts with on" in note for note in cl.means(fit("both"), "cue").notes)
    assert not cl.means(fit("both"), "cue", by="on").notes


def test_an_empty_combination_is_not_estimable_and_said_so():
    found = cl.means(fit("empty"), "cue", by="pattern")
    row = found.table.query("level == 'cedar' and by == 'level'")
    assert row["estimate"].isna().all()
    assert found.table["estimate"].isna().sum() == 1
    assert "not estimable" in found.text()


def test_a_column_of_zeros_and_ones_can_be_asked_for_as_a_factor():
    found = cl.contrasts(fit("balanced"), "on", against="0").table
    row = fit("balanced").coefficients().table.set_index("term").loc["on"]
    assert found["estimate"].item() == pytest.approx(row["estimate"])
    assert found["df"].item() == pytest.approx(row["df"])


@pytest.mark.parametrize(
    ("ask", "found"),
    [
        (lambda f: cl.means(f, "x"), "column of numbers"),
        (lambda f: cl.means(f, "coach"), "not in the fixed part"),
        (lambda f: cl.contrasts(f, "cue", against="oak"), "no level 'oak'"),
        (lambda f: cl.contrasts(f, "cue", adjust="tukey"), "adjust="),
        (lambda f: cl.means(f, "cue", level=95), "level is 95"),
        (lambda f: cl.predictions(f, table("both"), residual="all"), "residual="),
        (lambda f: cl.predictions(f, table("both"), residual="mean"), "shots=None"),
        (lambda f: cl.predictions(f, table("both"), include="item"), "'item' is no group"),
        (lambda f: cl.predictions(f, table("both").assign(cue="oak")), "holds 'oak'"),
        (lambda f: cl.predictions(f, table("both").assign(student="new"), include="student"), "has not seen"),
    ],
)
def test_questions_that_have_no_answer_are_refused(ask, found):
    with pytest.raises(cl.FitError, match=found):
        ask(fit("both"))


def dense(name):
    """Inverse of the mixed model equations of the unbalanced data, with the weights of its rows."""
    f, data = fit(name), table(name)
    X = np.column_stack([np.ones(len(data)), data["on"], data["per_c"], data["lshot_c"]])
    Z, inverse = [], []
    v = f.components["variance_or_cov"].to_numpy()
    student = np.array([[v[0], v[2]], [v[2], v[1]]])
    for group, covariance in (("student", student), ("session", v[3:4, None]), ("block", v[4:5, None])):
        for label in sorted(data[group].unique()):
            mine = (data[group] == label).to_numpy(float)
            Z.append(mine)
            if group == "student":
                Z.append(mine * data["on"])
            inverse.append(np.linalg.inv(covariance))
    W = np.column_stack([X, *Z])
    C = W.T @ W / v[5]
    at = X.shape[1]
    for block in inverse:
        C[at : at + len(block), at : at + len(block)] += block
        at += len(block)
    return W, np.linalg.inv(C), v, W.T @ data["y"].to_numpy() / v[5]


def test_predictions_with_known_effects_are_those_of_the_mixed_model_equations():
    W, C, v, right = dense("unbalanced")
    data = table("unbalanced")
    found = cl.predictions(fit("unbalanced"), data, include=["student", "session", "block"], residual="one").table
    assert found["estimate"].to_numpy() == pytest.approx(W @ C @ right, rel=1e-6)
    assert found["se"].to_numpy() == pytest.approx(np.sqrt(np.einsum("ij,jk,ik->i", W, C, W) + v[5]), rel=1e-6)
    students = 2 * data["student"].nunique()
    W[:, 4 + students :] = 0  # sessions and blocks at their mean
    found = cl.predictions(fit("unbalanced"), data, include="student").table
    assert found["se"].to_numpy() == pytest.approx(np.sqrt(np.einsum("ij,jk,ik->i", W, C, W)), rel=1e-6)


def test_new_levels_and_the_mean_of_some_shots_add_their_variance():
    new = table("unbalanced").head(3)
    plain = cl.predictions(fit("unbalanced"), new).table
    wide = cl.predictions(fit("unbalanced"), new, new_levels=["student", "block"], residual="mean", shots=10).table
    v = fit("unbalanced").components["variance_or_cov"].to_numpy()
    on = new["on"].to_numpy()
    more = v[0] + 2 * on * v[2] + on * v[1] + v[4] + v[5] / 10
    assert wide["se"].to_numpy() ** 2 == pytest.approx(plain["se"].to_numpy() ** 2 + more, rel=1e-9)
    assert (wide["estimate"] == plain["estimate"]).all()
    assert (wide["df"] > 2).all()


def test_predictions_stand_in_the_order_and_index_of_the_new_rows():
    new = table("cues").sample(20, random_state=0)
    found = cl.predictions(fit("cues"), new).table
    assert list(found.index) == list(new.index)
    assert list(found.columns) == ["estimate", "se", "df", "low", "high"]
    direct = cl.predictions(fit("cues"), new.iloc[[7]]).table
    pd.testing.assert_frame_equal(found.iloc[[7]], direct)


def test_new_rows_are_coded_as_the_old_ones():
    new = table("cues").query("cue == 'cedar'").head(2).assign(cue="cedar")  # a plain column without other levels
    old = table("cues").query("cue == 'cedar'").head(2)
    pd.testing.assert_frame_equal(cl.predictions(fit("cues"), new).table, cl.predictions(fit("cues"), old).table)
    data = table("curved")
    f = cl.fit_mixed("y ~ poly(x, 2) + (1 | student)", data)
    whole, part = cl.predictions(f, data).table, cl.predictions(f, data[:3]).table
    pd.testing.assert_frame_equal(whole[:3], part)  # the polynomial stays that of the old rows


def test_levels_that_never_met_are_refused():
    data = table("unbalanced")
    new = data.head(1).assign(session=data["session"].iloc[-1])
    with pytest.raises(cl.FitError, match="never met"):
        cl.predictions(fit("unbalanced"), new, include=["student", "session"])


def test_a_row_with_a_gap_has_no_prediction():
    new = table("unbalanced").head(2).astype({"per_c": float})
    new.iloc[0, new.columns.get_loc("per_c")] = np.nan
    found = cl.predictions(fit("unbalanced"), new)
    assert found.table.iloc[0].isna().all()
    assert found.table.iloc[1].notna().all()
    assert found.notes


def test_answers_show_as_sentences_and_tables():
    found = cl.contrasts(fit("cues"), "cue", against="plain")
    assert "alder against plain" in found.text()
    assert "95 % interval" in found.text()
    assert "<table" in found._repr_html_()
    assert formula("cues") in fit("cues").text()
