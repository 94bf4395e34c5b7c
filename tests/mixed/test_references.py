"""Mixed models against lme4, lmerTest, pbkrtest and emmeans; see tests/reference/mixed for data, scripts and versions."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from mixed.references import MODELS, NAMES, by_term, expected, fit, in_r

import coachlab as cl
from coachlab.mixed.infer import Inference
from coachlab.mixed.solve import stand_at

# lme4 stops its search at a parameter tolerance, so that its criterion is within 1e-9 of the minimum from above.
ABOVE = 1e-9
AT_OTHER_OPTIMUM = {
    "estimate": 1e-3,
    "se": 1e-3,
    "df": 2e-3,
}  # engine's floors, theirs and ours not quite the same theta
MODE = 1e-5  # of the SD of the effects
FACTORS = [name for name in NAMES if MODELS.loc[name, "factor"]]


def coefficients(name):
    table = fit(name).coefficients().table
    return table.set_index(table["term"].map(in_r))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", ["reml", "ml"])
def test_the_criterion_is_never_above_that_of_lme4(name, kind):
    theirs = expected(name, f"criterion_{kind}")["value"][0]
    ours = fit(name, kind == "reml").criterion
    assert ours <= theirs + ABOVE * abs(theirs)
    assert ours == pytest.approx(theirs, rel=1e-7)  # nor is it another criterion


@pytest.mark.parametrize("name", NAMES)
def test_estimates_errors_and_degrees_of_freedom_are_those_of_lmertest(name):
    ours, se = coefficients(name), by_term(name, "se")
    ours = ours.loc[se.index]
    assert np.abs((ours["estimate"] - by_term(name, "estimate")) / se).max() < AT_OTHER_OPTIMUM["estimate"]
    assert np.abs(ours["se"] / se - 1).max() < AT_OTHER_OPTIMUM["se"]
    assert np.abs(ours["df"] / by_term(name, "df") - 1).max() < AT_OTHER_OPTIMUM["df"]


@pytest.mark.parametrize("name", NAMES)
def test_coefficients_that_lme4_drops_are_not_estimable_here(name):
    ours = coefficients(name)
    assert set(ours.index[ours["estimate"].isna()]) == set(ours.index) - set(by_term(name, "se").index)


@pytest.mark.parametrize("name", NAMES)
def test_components_are_those_of_lme4(name):
    ours = fit(name).components
    scale = ours["variance_or_cov"].abs().max()
    theirs = expected(name, "variance")
    assert len(ours) == len(theirs)
    for row in theirs.itertuples():
        group = {"Residual": "residual", "session:student": "student:session"}.get(row.group, row.group)
        mine = ours[ours["group"] == group.removesuffix(".1").replace(".", ":")]
        if group != "residual":
            mine = mine[mine["term"].map(in_r) == row.term]
            mine = mine[mine["other"].fillna("").map(in_r) == row.level]
        # variances move with the square root of what the criteria differ by: 1e-9 leaves four digits
        assert mine["variance_or_cov"].item() == pytest.approx(row.value, rel=1e-3, abs=1e-4 * scale)


@pytest.mark.parametrize("name", NAMES)
def test_random_effects_and_their_conditional_sds_are_those_of_lme4(name):
    modes, sds = expected(name, "mode"), expected(name, "mode_sd")
    scale = modes["value"].abs().max()
    for group, rows in modes.groupby("group"):
        ours = fit(name).effects("student:session" if group == "session:student" else group)
        level = ours["level"]
        if group == "session:student":
            level = level.str.split(":").str[1] + ":" + level.str.split(":").str[0]
        ours = ours.set_index([level, ours["term"].map(in_r)])
        theirs = pd.MultiIndex.from_arrays([rows["level"].astype(str), rows["term"]])
        assert np.abs(ours["estimate"].loc[theirs].to_numpy() - rows["value"].to_numpy()).max() < MODE * scale
        apart = np.abs(ours["sd"].loc[theirs].to_numpy() - sds["value"].loc[rows.index].to_numpy())
        assert apart.max() < MODE * scale


@pytest.mark.parametrize("name", FACTORS)
def test_marginal_means_are_those_of_emmeans(name):
    factor, by = MODELS.loc[name, ["factor", "by"]]
    ours = cl.means(fit(name), factor, by=by or None).table
    check(ours, ours["level"], name, "mean")


@pytest.mark.parametrize("name", FACTORS)
def test_pairwise_contrasts_are_those_of_emmeans(name):
    ours = cl.contrasts(fit(name), MODELS.loc[name, "factor"], by=MODELS.loc[name, "by"] or None).table
    check(ours, ours["a"] + " - " + ours["b"], name, "contrast")


@pytest.mark.parametrize("name", [name for name in FACTORS if not MODELS.loc[name, "weights"]])
def test_means_and_contrasts_with_kenward_roger_are_those_of_emmeans(name):
    factor, by = MODELS.loc[name, ["factor", "by"]]
    ours = cl.means(fit(name), factor, by=by or None, df="kenward-roger").table
    check(ours, ours["level"], name, "mean", "_kr")
    ours = cl.contrasts(fit(name), factor, by=by or None, df="kenward-roger").table
    check(ours, ours["a"] + " - " + ours["b"], name, "contrast", "_kr")


def check(ours, label, name, what, kind=""):
    theirs = {part: expected(name, f"{what}{part}{kind}") for part in ("", "_se", "_df")}
    ours = ours.set_index([ours["by"].fillna("").astype(str), label.astype(str)])
    rows = pd.MultiIndex.from_frame(theirs[""][["group", "term"]].astype(str))
    assert len(rows) == len(ours)
    ours = ours.loc[rows]
    se = theirs["_se"]["value"].to_numpy()
    np.testing.assert_array_equal(ours["estimate"].isna(), np.isnan(theirs[""]["value"]))
    assert (
        np.nanmax(np.abs(ours["estimate"].to_numpy() - theirs[""]["value"].to_numpy()) / se)
        < AT_OTHER_OPTIMUM["estimate"]
    )
    assert np.nanmax(np.abs(ours["se"].to_numpy() / se - 1)) < AT_OTHER_OPTIMUM["se"]
    assert np.nanmax(np.abs(ours["df"].to_numpy() / theirs["_df"]["value"].to_numpy() - 1)) < AT_OTHER_OPTIMUM["df"]


def at_their_theta(name):
    """The answers of the engine held at the parameters where lme4 stopped."""
    theirs = by_term(name, "theta")
    problem = replace(fit(name).problem)
    theta = []
    for term in problem.terms:
        group = "session:student" if term.group == "student:session" else term.group
        names = [in_r(each) for each in term.names]
        for j in range(len(names)):
            theta += [theirs[".".join([group, names[i]] + [names[j]] * (i > j))] for i in range(j, len(names))]
    return Inference(problem, stand_at(problem, np.array(theta)))


# pbkrtest takes no account of prior weights; test_adjust.py checks those against the definition
@pytest.mark.parametrize("name", [name for name in NAMES if not MODELS.loc[name, "weights"]])
def test_kenward_roger_is_that_of_pbkrtest_at_its_own_parameters(name):
    kept = fit(name).problem.kept
    terms = fit(name).terms
    ours = at_their_theta(name).linear(np.eye(len(terms))[kept], "kenward-roger", 0.95, checked=True)
    rows = [in_r(terms[k]) for k in kept]
    assert ours["se"] == pytest.approx(by_term(name, "se_kr")[rows].to_numpy(), rel=LARGE.get(name, 1e-6))
    assert ours["df"] == pytest.approx(by_term(name, "df_kr")[rows].to_numpy(), rel=LARGE.get(name, 1e-6))


# theirs forms sums of squares of a response at 1e6 and keeps six digits less
LARGE = {"large": 1e-5}
