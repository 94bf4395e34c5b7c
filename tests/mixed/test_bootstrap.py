"""Bootstrap: what is drawn, that refits made together are those made alone, and that failures are counted."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import coachlab as cl
from coachlab.mixed.bootstrap import made_fit, standard, truth_of
from coachlab.mixed.cases import Levels, split
from coachlab.mixed.draw import draw, source
from coachlab.mixed.many import Responses, fit_many
from coachlab.mixed.solve import minimise

FORMULA = "y ~ on + (1 + on | student) + (1 | block)"


def study(rng, students=12, uneven=False):
    """Blocks of plain and cue; with `uneven` some shots are missing."""
    n = students * 4 * 6
    student, block = np.arange(n) // 24, np.arange(n) // 6
    data = pd.DataFrame({"student": student, "block": block, "on": block % 2, "club": rng.integers(0, 2, n)})
    data["y"] = rng.normal(0, 1, students)[student] + data["on"] * (1 + rng.normal(0, 0.8, students)[student])
    data["y"] += rng.normal(0, 0.6, block[-1] + 1)[block] + rng.normal(0, 2, n)
    return data[rng.random(n) < 0.8].reset_index(drop=True) if uneven else data


def drawn(fit, count, seed=0):
    problem = fit.problem
    return Responses(*draw(source(problem), truth_of(problem, fit.inference), count, np.random.default_rng(seed)))


def test_drawn_products_have_the_moments_of_drawn_shots(rng):
    """Least squares on sums of products drawn directly, against its known law under independent errors."""
    data = study(rng, uneven=True)
    data["y"] = 2.0 + rng.normal(0, 3, len(data))
    fit = cl.fit_mixed("y ~ on + (1 | student)", data, fixed={"student": 0.0, "residual": 3.0})
    top = drawn(fit, 4000).top[:, 0]
    xx, xy, yy = top[:, :2, :2], top[:, :2, 2], top[:, 2, 2]
    beta = np.linalg.solve(xx, xy[:, :, None])[:, :, 0]
    rest = yy - (beta * xy).sum(axis=1)
    assert stats.kstest(rest / 9.0, stats.chi2(len(data) - 2).cdf).pvalue > 0.001
    slope = (beta[:, 1] - fit.inference.beta[1]) / (3.0 * np.sqrt(np.linalg.inv(xx[0])[1, 1]))
    assert stats.kstest(slope, stats.norm.cdf).pvalue > 0.001
    assert abs(np.corrcoef(rest, slope)[0, 1]) < 4 / np.sqrt(4000)  # independent, as they must be


def test_drawn_products_spread_over_students_and_blocks_as_the_model_says(rng):
    fit = cl.fit_mixed(FORMULA, study(rng, students=40))
    sums = drawn(fit, 3000).cross[:, 0]  # 1'y of each block of six, less 6 times the centre
    sds = fit.components.set_index(["group", "term"])["sd_or_corr"]
    plain = (fit.problem.moments.cross[:, 0, 1] == 0).nonzero()[0]
    expected = 36 * (sds["student", "Intercept"].iloc[0] ** 2 + sds["block", "Intercept"] ** 2) + 6 * fit.sigma**2
    assert sums[plain].var(axis=1).mean() == pytest.approx(
        expected, rel=0.02
    )  # 80 blocks x 3000: a standard error of 0.4 %


@pytest.mark.parametrize("formula", [FORMULA, "y ~ on + club + (1 | student) + (1 | club)"])
def test_refits_made_together_are_those_made_alone(rng, formula):
    fit = cl.fit_mixed(formula, study(rng, uneven=True))
    batch = drawn(fit, 40)
    many = fit_many(fit.problem, fit.inference.optimum.x, batch)
    assert not many.failed
    alone = [minimise(batch.alone(fit.problem, i)).point.value[0] for i in range(40)]
    np.testing.assert_allclose(many.point.value, alone, atol=1e-6)  # a reader sees the criterion to two decimals


def test_refits_from_a_singular_fit_leave_the_boundary(rng):
    data = study(rng, students=10)
    data["y"] -= data.groupby("student")["y"].transform("mean")  # no spread between students left
    fit = cl.fit_mixed("y ~ on + (1 | student) + (1 | block)", data)
    assert fit.singular
    data["y"] += rng.normal(0, 2, 10)[data["student"]]
    truth = truth_of(fit.problem, fit.inference)
    truth.factors[0][:] = 2.0
    batch = Responses(*draw(source(fit.problem), truth, 20, rng))
    many = fit_many(fit.problem, fit.inference.optimum.x, batch)
    sds = [made_fit(many, i).components["sd_or_corr"][0] for i in range(20)]
    assert np.mean(sds) == pytest.approx(2.0, abs=0.5)  # 20 SDs of 10 students each


def test_residual_sds_by_group_are_drawn_and_found_again(rng):
    data = study(rng, students=20)
    data["y"] += data["club"] * rng.normal(0, 4, len(data))
    fit = cl.fit_mixed(FORMULA, data, residual_by="club")
    found = cl.bootstrap(fit, refits=200, seed=1).table.set_index("name")
    for name in ("sd residual 0", "sd residual 1"):
        assert found.loc[name, "low"] < found.loc[name, "estimate"] < found.loc[name, "high"]
    assert found.loc["sd residual 1", "low"] > found.loc["sd residual 0", "high"]


def test_levels_drawn_together_are_fitted_as_each_by_itself(rng):
    fit = cl.fit_mixed(FORMULA, study(rng, uneven=True))
    parts = split(fit.problem, fit.design, "student")
    assert parts.widest
    batch = Levels(parts, rng.integers(0, 12, (15, 12)))
    many = fit_many(fit.problem, fit.inference.optimum.x, batch)
    alone = [minimise(batch.alone(fit.problem, i)) for i in range(15)]
    np.testing.assert_allclose(many.point.value, [each.point.value[0] for each in alone], atol=1e-6)


def test_levels_drawn_are_those_of_the_table_drawn(rng):
    """Fit the table with whole students repeated under new names, without any of the code that gathers moments."""
    data = study(rng, uneven=True)
    fit = cl.fit_mixed(FORMULA, data)
    which = rng.integers(0, 12, 12)
    rows = [
        data[data["student"] == s].assign(student=i, block=lambda t, i=i: i * 1000 + t["block"])
        for i, s in enumerate(which)
    ]
    direct = cl.fit_mixed(FORMULA, pd.concat(rows))
    batch = Levels(split(fit.problem, fit.design, "student"), which[None])
    many = fit_many(fit.problem, fit.inference.optimum.x, batch)
    assert many.point.value[0] == pytest.approx(direct.criterion, abs=1e-6)
    assert list(standard(made_fit(many, 0)).values())[:2] == pytest.approx(
        list(standard(direct).values())[:2], rel=1e-4
    )


def test_levels_of_a_factor_that_shares_others_are_drawn_too(rng):
    data = study(rng, students=16)
    data["coach"] = np.where(rng.random(len(data)) < 0.5, data["student"] % 3, 1)
    data["y"] += np.array([0.0, 1.5, -1.5])[data["coach"]]
    fit = cl.fit_mixed("y ~ on + (1 + on | student) + (1 | coach)", data)
    assert not split(fit.problem, fit.design, "student").widest
    found = cl.bootstrap(fit, by="student", refits=40, seed=2)
    assert len(found.draws) + found.failed["refits"].sum() == 40
    on = found.table.set_index("name").loc["on"]
    assert on["low"] < on["estimate"] < on["high"]


def test_the_bootstrap_covers_and_spreads_like_the_standard_error(rng):
    fit = cl.fit_mixed(FORMULA, study(rng, students=30))
    table = fit.coefficients().table.set_index("term")
    for by in (None, "student"):
        found = cl.bootstrap(fit, by=by, refits=600, seed=4).table.set_index("name")
        assert found.loc["on", "se"] == pytest.approx(table.loc["on", "se"], rel=0.15)  # 600 draws: 3 % by chance


def test_any_function_of_the_fit_is_bootstrapped(rng):
    fit = cl.fit_mixed(FORMULA, study(rng))
    ratio = cl.bootstrap(fit, lambda f: f.inference.beta[1] / f.sigma, refits=50, seed=3)
    named = cl.bootstrap(fit, lambda f: {"effect": f.inference.beta[1], "scale": f.sigma}, refits=50, seed=3)
    assert ratio.table["name"].to_list() == ["value"]
    assert named.table["name"].to_list() == ["effect", "scale"]
    np.testing.assert_allclose(named.draws["effect"] / named.draws["scale"], ratio.draws["value"])
    usual = cl.bootstrap(fit, refits=50, seed=3)
    np.testing.assert_allclose(named.draws["effect"], usual.draws["on"], rtol=1e-9)  # the same draws, the other way


def test_the_seed_is_kept_and_gives_the_same_numbers(rng):
    fit = cl.fit_mixed(FORMULA, study(rng))
    first = cl.bootstrap(fit, refits=20)
    again = cl.bootstrap(fit, refits=20, seed=first.seed)
    pd.testing.assert_frame_equal(first.draws, again.draws)


def test_moments_alone_are_enough_to_draw_responses(rng):
    data = study(rng)
    fit = cl.fit_mixed(FORMULA, cl.moments(FORMULA, data))
    pd.testing.assert_frame_equal(
        cl.bootstrap(fit, refits=20, seed=1).table, cl.bootstrap(cl.fit_mixed(FORMULA, data), refits=20, seed=1).table
    )
    with pytest.raises(cl.FitError, match="made from moments"):
        cl.bootstrap(fit, by="student", refits=20)


def test_failures_are_counted_and_shown(rng):
    fit = cl.fit_mixed(FORMULA, study(rng))

    def fragile(refit):
        if refit is not fit and refit.inference.beta[1] > fit.inference.beta[1]:
            raise ValueError("too large")
        return refit.sigma

    found = cl.bootstrap(fit, fragile, refits=40, seed=5)
    assert 0 < found.failed["refits"].sum() < 40
    assert len(found.draws) + found.failed["refits"].sum() == 40
    assert "failed" in found.text()
    assert "too large" in found.text()
    assert "too large" in found._repr_html_()
    gaps = cl.bootstrap(fit, lambda f: np.nan if f is not fit and f.sigma > fit.sigma else 1.0, refits=40, seed=5)
    assert "not a finite number" in gaps.text()


def test_bootstrap_refuses_what_it_cannot_do(rng):
    fit = cl.fit_mixed(FORMULA, study(rng))
    with pytest.raises(cl.FitError, match="refits=1"):
        cl.bootstrap(fit, refits=1)
    with pytest.raises(cl.FitError, match="level is 95"):
        cl.bootstrap(fit, refits=10, level=95)
    with pytest.raises(cl.FitError, match="It has: student, block"):
        cl.bootstrap(fit, by="coach", refits=10)
    with pytest.raises(cl.FitError, match="number"):
        cl.bootstrap(fit, lambda f: {"a": "word"}, refits=10)
    with pytest.raises(cl.FitError, match="none of 10 refits"):
        cl.bootstrap(fit, lambda f: 1.0 if f is fit else np.nan, refits=10)


def test_a_progress_bar_counts_the_refits(rng, monkeypatch):
    steps = []
    monkeypatch.setattr("rich.progress.Progress.advance", lambda bar, task, step=1: steps.append(step))
    fit = cl.fit_mixed(FORMULA, study(rng))
    shown = cl.bootstrap(fit, refits=20, seed=1, progress=True)
    pd.testing.assert_frame_equal(shown.table, cl.bootstrap(fit, refits=20, seed=1).table)
    assert sum(steps) == 20  # of the run with the bar; the other shows none


@pytest.mark.slow
def test_percentile_intervals_of_a_spread_hold_the_truth_about_as_often_as_they_say():
    held = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        fit = cl.fit_mixed(FORMULA, study(rng, students=24))
        row = cl.bootstrap(fit, refits=300, seed=seed).table.set_index("name").loc["on"]
        held += row["low"] <= 1.0 <= row["high"]
    assert 0.89 <= held / 200 <= 0.99  # 95 % nominal, percentiles are a little short; two standard errors are 3 %
