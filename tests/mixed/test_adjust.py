"""Kenward-Roger against its definition with dense matrices, and what it refuses."""

import numpy as np
import pandas as pd
import pytest
from mixed.references import formula, table

import coachlab as cl


def by_definition(X, parts, gamma):
    """Adjusted standard errors and degrees of freedom of each coefficient, covariance sum of gamma times parts."""
    inner = np.linalg.inv(sum(g * G for g, G in zip(gamma, parts, strict=True)))
    phi = np.linalg.inv(X.T @ inner @ X)
    P = [-X.T @ inner @ G @ inner @ X for G in parts]
    n = len(parts)
    information, U = np.empty((n, n)), 0
    Q = [[X.T @ inner @ F @ inner @ G @ inner @ X for G in parts] for F in parts]
    for r in range(n):
        for s in range(n):
            first = np.trace(inner @ parts[r] @ inner @ parts[s])
            information[r, s] = first - 2 * np.trace(phi @ Q[r][s]) + np.trace(phi @ P[r] @ phi @ P[s])
    W = 2 * np.linalg.inv(information)
    for r in range(n):
        for s in range(n):
            U = U + W[r, s] * (Q[r][s] - P[r] @ phi @ P[s])
    change = np.array([np.diag(phi @ p @ phi) for p in P])
    df = 2 * np.diag(phi) ** 2 / np.einsum("rk,rs,sk->k", change, W, change)
    return np.sqrt(np.diag(phi + 2 * phi @ U @ phi)), df


def test_prior_weights_enter_as_the_definition_says():
    data = table("weighted")
    fit = cl.fit_mixed("y ~ x + (1 + x | student) + (1 | coach)", data, weights="w")
    X = np.column_stack([np.ones(len(data)), data["x"]])
    own = (data["student"].to_numpy()[:, None] == np.sort(data["student"].unique())) * 1.0
    slope = own * X[:, [1]]
    coach = (data["coach"].to_numpy()[:, None] == np.sort(data["coach"].unique())) * 1.0
    parts = [own @ own.T, slope @ slope.T, own @ slope.T + slope @ own.T, coach @ coach.T, np.diag(1 / data["w"])]
    se, df = by_definition(X, parts, fit.components["variance_or_cov"])
    found = fit.coefficients(df="kenward-roger").table
    assert found["se"].to_numpy() == pytest.approx(se, rel=1e-6)
    assert found["df"].to_numpy() == pytest.approx(df, rel=1e-6)


def test_held_sds_are_not_counted_as_estimated():
    data = table("crossed")
    text = "y ~ on + (1 | student) + (1 | coach)"
    sds = cl.fit_mixed(text, data).components.set_index("group")["sd_or_corr"]
    free = cl.fit_mixed(text, data).coefficients(df="kenward-roger").table
    held = cl.fit_mixed(text, data, fixed={"coach": sds["coach"]}).coefficients(df="kenward-roger").table
    assert held["estimate"].to_numpy() == pytest.approx(free["estimate"].to_numpy(), rel=1e-5)  # two searches
    assert held["df"][0] > 1.2 * free["df"][0]  # the intercept's uncertainty is mostly that of the coaches' SD
    assert held["se"][0] < free["se"][0]


def test_residual_sds_by_group_are_refused():
    fit = cl.fit_mixed("y ~ on + (1 | student)", table("crossed"), residual_by="cue")
    with pytest.raises(cl.FitError, match="satterthwaite"):
        fit.coefficients(df="kenward-roger")


def test_crossed_factors_too_large_for_a_dense_matrix_are_refused(rng):
    n = 20000
    data = pd.DataFrame({"a": rng.integers(0, 8000, n), "b": rng.integers(0, 20, n), "y": rng.normal(0, 1, n)})
    data["y"] += rng.normal(0, 1, 8000)[data["a"]]
    fit = cl.fit_mixed("y ~ 1 + (1 | a) + (1 | b)", data)
    with pytest.raises(cl.FitError, match="dense blocks"):
        fit.coefficients(df="kenward-roger")


def test_it_works_on_many_students(rng):
    n = 40000
    data = pd.DataFrame({"g": np.arange(n) // 20, "on": np.arange(n) % 2, "s": np.arange(n) // 10})
    data["y"] = rng.normal(0, 1, 2000)[data["g"]] + data["on"] * (1 + rng.normal(0, 0.5, 2000)[data["g"]])
    data["y"] += rng.normal(0, 0.3, 4000)[data["s"]] + rng.normal(0, 1, n)
    found = cl.fit_mixed("y ~ on + (1 + on | g) + (1 | s)", data).coefficients(df="kenward-roger").table
    assert found["df"].to_numpy() == pytest.approx([1999, 1999], rel=1e-4)  # balanced: one less than the levels


def test_all_three_kinds_of_df_agree_on_the_estimate():
    fit = cl.fit_mixed(formula("crossed"), table("crossed"))
    tables = [fit.coefficients(df=df).table for df in ("satterthwaite", "kenward-roger", "residual")]
    assert tables[0]["estimate"].to_list() == tables[1]["estimate"].to_list() == tables[2]["estimate"].to_list()
    assert (tables[2]["df"] == 300 - 3).all()


def test_kenward_roger_of_a_maximum_likelihood_fit_rests_on_the_restricted_likelihood():
    data = table("crossed")
    by_ml = cl.fit_mixed(formula("crossed"), data, reml=False)
    found = by_ml.coefficients(df="kenward-roger").table
    restricted = cl.fit_mixed(formula("crossed"), data).coefficients(df="kenward-roger").table
    np.testing.assert_allclose(found[["se", "df"]], restricted[["se", "df"]], rtol=1e-9)  # the same model, solved twice
    np.testing.assert_allclose(found["estimate"], by_ml.coefficients().table["estimate"])
