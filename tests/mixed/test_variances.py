"""Residual SDs by group, SDs that are held, and prior weights."""

import numpy as np
import pandas as pd
import pytest
from mixed.references import by_term, expected, in_r, table

import coachlab as cl

STRATA = "y ~ cue + x + (1 + x | student)"


@pytest.mark.parametrize("kind", ["reml", "ml"])
def test_residual_sds_by_group_are_those_of_nlme(kind):
    fit = cl.fit_mixed(STRATA, table("weighted"), reml=kind == "reml", residual_by="pattern")
    theirs = expected("strata", f"criterion_{kind}")["value"][0]
    assert fit.criterion <= theirs + 1e-9 * abs(theirs)
    assert fit.criterion == pytest.approx(theirs, rel=1e-7)
    if kind == "ml":
        return
    ours = fit.coefficients().table
    ours = ours.set_index(ours["term"].map(in_r))
    # theirs is found by another search; the criterion above is the sharper check
    assert ours["estimate"].to_numpy() == pytest.approx(by_term("strata", "estimate")[ours.index].to_numpy(), rel=1e-3)
    assert ours["se"].to_numpy() == pytest.approx(by_term("strata", "se")[ours.index].to_numpy(), rel=1e-3)
    sds = fit.components.query("group == 'residual'").set_index("term")["sd_or_corr"]
    theirs = by_term("strata", "residual_sd")
    assert sds.to_numpy() == pytest.approx(theirs[sds.index].to_numpy(), rel=1e-3)
    assert fit.sigma == sds.iloc[0]


def value_by_definition(data, X, V):
    """-2 log restricted likelihood with covariance V."""
    inner = np.linalg.inv(V)
    beta = np.linalg.solve(X.T @ inner @ X, X.T @ inner @ data["y"])
    rest = data["y"].to_numpy() - X @ beta
    n, p = X.shape
    return (
        np.linalg.slogdet(V)[1]
        + np.linalg.slogdet(X.T @ inner @ X)[1]
        + rest @ inner @ rest
        + (n - p) * np.log(2 * np.pi)
    )


def membership(data, column):
    return (data[column].to_numpy()[:, None] == np.sort(data[column].unique())) * 1.0


@pytest.mark.parametrize(
    "extra", [{}, {"weights": "w"}, {"residual_by": "cue"}, {"residual_by": "cue", "weights": "w"}]
)
@pytest.mark.parametrize("fixed", [None, {"coach": 0.7}, {"coach": 0.7, "residual": 1.1}, {"student": 0.0}])
def test_the_criterion_is_that_of_the_definition(extra, fixed):
    data = table("crossed").assign(w=table("crossed")["w"])
    fit = cl.fit_mixed("y ~ x + (1 | student) + (0 + x | student) + (1 | coach)", data, fixed=fixed, **extra)
    sd = fit.components.set_index(["group", "term"])["sd_or_corr"]
    if fixed and "coach" in fixed:
        assert sd["coach", "Intercept"] == pytest.approx(0.7)
    if fixed and "residual" in fixed:
        assert fit.sigma == 1.1
    X = np.column_stack([np.ones(len(data)), data["x"]])
    own, coach = membership(data, "student"), membership(data, "coach")
    slope = own * X[:, [1]]
    residual = np.full(len(data), fit.sigma)
    if "residual_by" in extra:
        residual = data["cue"].map(sd["residual"]).to_numpy(float)
    noise = residual**2 / (data["w"].to_numpy() if "weights" in extra else 1.0)
    V = sd["student", "Intercept"] ** 2 * own @ own.T + sd["student", "x"] ** 2 * slope @ slope.T
    V = V + sd["coach", "Intercept"] ** 2 * coach @ coach.T + np.diag(noise)
    assert fit.criterion == pytest.approx(value_by_definition(data, X, V), rel=1e-10)


@pytest.mark.parametrize("fixed", [None, {"coach": 0.7}, {"residual": 1.1}])
@pytest.mark.parametrize("by", [None, "cue"])
def test_the_gradient_is_exact_for_every_kind_of_parameter(fixed, by):
    fit = cl.fit_mixed("y ~ x + (1 + x | student) + (1 | coach)", table("crossed"), fixed=fixed, residual_by=by)
    x, h = fit.inference.optimum.x + 0.1, 1e-5
    slope = [
        (fit.problem.evaluate((x + h * e)[None]).value[0] - fit.problem.evaluate((x - h * e)[None]).value[0]) / (2 * h)
        for e in np.eye(len(x))
    ]
    assert fit.problem.evaluate(x[None]).gradient[0] == pytest.approx(slope, rel=1e-5, abs=1e-4)


def test_an_sd_held_at_its_estimate_changes_no_estimate():
    data, text = table("crossed"), "y ~ cue + (1 | student) + (1 | coach)"
    free = cl.fit_mixed(text, data)
    sd = free.components.set_index("group")["sd_or_corr"]
    held = cl.fit_mixed(text, data, fixed={"coach": sd["coach"]})
    assert held.criterion == pytest.approx(free.criterion, rel=1e-10)
    assert held.components["sd_or_corr"].to_numpy() == pytest.approx(free.components["sd_or_corr"].to_numpy(), rel=1e-4)
    assert held.components.set_index("group")["sd_or_corr"]["coach"] == pytest.approx(sd["coach"], rel=1e-12)


def test_a_held_sd_lets_a_factor_of_few_levels_stand():
    data = table("crossed")
    fit = cl.fit_mixed("y ~ 1 + (1 | student) + (1 | coach)", data[data["coach"] == "c0"], fixed={"coach": 0.7})
    wide = fit.coefficients().table["se"][0]
    without = cl.fit_mixed("y ~ 1 + (1 | student)", data[data["coach"] == "c0"]).coefficients().table["se"][0]
    assert wide**2 == pytest.approx(without**2 + 0.7**2, rel=1e-6)


def test_whole_weights_weigh_as_much_as_repeated_means(rng):
    """Rows that are means of n shots, weighted by n, give the fixed effects and variances of the shots themselves."""
    n = 240
    data = pd.DataFrame({"g": np.arange(n) // 12, "b": np.arange(n) // 4, "on": (np.arange(n) // 4) % 2})
    data["y"] = rng.normal(0, 1, 20)[data["g"]] + data["on"] + rng.normal(0, 1, n)
    data = data[rng.random(n) < 0.8]
    blocks = data.groupby(["g", "b", "on"], as_index=False).agg(y=("y", "mean"), shots=("y", "size"))
    sds = cl.fit_mixed("y ~ on + (1 | g)", data).components["sd_or_corr"]
    held = {"g": sds[0], "residual": sds[1]}
    one = cl.fit_mixed("y ~ on + (1 | g)", data, fixed=held).coefficients().table
    two = cl.fit_mixed("y ~ on + (1 | g)", blocks, fixed=held, weights="shots").coefficients().table
    np.testing.assert_allclose(two[["estimate", "se"]], one[["estimate", "se"]], rtol=1e-9)


def test_a_weight_of_zero_leaves_the_row_out():
    data = table("weighted").assign(w=lambda d: d["w"].where(d.index % 10 > 0, 0.0))
    fit, clean = cl.fit_mixed(STRATA, data, weights="w"), cl.fit_mixed(STRATA, data[data["w"] > 0], weights="w")
    assert fit.criterion == pytest.approx(clean.criterion, rel=1e-12)
    assert any("25 of 250 rows" in check for check in fit.checks)


@pytest.mark.parametrize(
    ("options", "found"),
    [
        ({"weights": [1.0, 2.0]}, "2 weights for 300 rows"),
        ({"weights": -np.ones(300)}, "negative"),
        ({"weights": "heft"}, "no column 'heft'"),
        ({"residual_by": "clob"}, "no column 'clob'"),
        ({"fixed": {"cue": 0.7}}, "'cue', which is no group"),
        ({"fixed": {"coach": -1}}, "is -1"),
        ({"fixed": {"residual": 0}}, "is 0"),
        ({"fixed": {"student": 1.0}}, "one SD, the term has 2 effects"),
    ],
)
def test_options_that_make_no_sense_are_refused(options, found):
    with pytest.raises((cl.FitError, cl.FormulaError), match=found):
        cl.fit_mixed("y ~ x + (1 + x | student) + (1 | coach)", table("crossed"), **options)
