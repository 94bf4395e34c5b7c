"""What happens where data or model are at fault: an error in three parts or a sentence, never a raw warning."""

import warnings

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.mixed import solve

MODEL = "y ~ on + x + cue + (1 + on | student)"


@pytest.fixture
def data(rng):
    n = 240
    student = np.arange(n) // 20
    frame = pd.DataFrame({"student": pd.Series(student).map("s{:02d}".format), "on": np.tile([0, 1], n // 2)})
    frame["x"], frame["cue"] = rng.normal(0, 1, n), rng.choice(["alder", "beech", "cedar"], n)
    return frame.assign(y=rng.normal(0, 1, 12)[student] + frame["on"] + rng.normal(0, 1, n))


@pytest.fixture(autouse=True)
def no_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield


REFUSED = {
    "one shot per student": (lambda d: d.iloc[::20].assign(on=[0, 1] * 6), "cannot be told from the residual", "Leave"),
    "one student": (lambda d: d[d["student"] == "s03"], "single level, 's03'", "leave out"),
    "constant": (lambda d: d.assign(y=4.0), "same value in all 240 rows", "check the column"),
    "computed": (lambda d: d.assign(y=3.0 * d["on"] + 1), "reproduces the response", "computed from these columns"),
    "infinite column": (lambda d: d.assign(x=d["x"].where(d.index != 7, -np.inf)), "infinite number in row 7", "missing"),
    "huge response": (lambda d: d.assign(y=1e200 * d["y"]), "too large to be squared", "another unit"),
    "tiny response": (lambda d: d.assign(y=1e-200 * d["y"]), "too small to be squared", "another unit"),
    "huge column": (lambda d: d.assign(x=1e200 * d["x"]), "x holds numbers too large", "another unit"),
    "complex": (lambda d: d.assign(y=d["y"] + 0j), "complex numbers", "real"),
    "a column twice": (lambda d: pd.concat([d, d[["x"]]], axis=1), "several columns 'x'", "Rename"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_data_that_cannot_be_fitted_are_refused_in_words(data, case):
    change, found, do = REFUSED[case]
    with pytest.raises((cl.FitError, cl.FormulaError)) as caught:
        cl.fit_mixed(MODEL, change(data))
    assert MODEL in caught.value.asked
    assert found in caught.value.found
    assert do in caught.value.do


@pytest.mark.parametrize(
    ("response", "found"),
    [
        (lambda d: np.full(len(d), 3.0), "same value"),
        (lambda d: 2.0 * d["on"] + 1, "reproduces the response"),
        (lambda d: ["a"] * len(d), "not all numbers"),
        (lambda d: d["y"].where(d.index != 3), "gaps"),
        (lambda d: d["y"][:-1], "shape"),
    ],
)
def test_a_refit_refuses_what_a_fit_refuses(data, response, found):
    fit = cl.fit_mixed(MODEL, data)
    with pytest.raises(cl.FitError, match=found) as caught:
        fit.refit(response(data))
    assert "refitting" in caught.value.asked or "fitting" in caught.value.asked


@pytest.mark.parametrize("factor", [1e12, 1e-12])
def test_columns_and_responses_of_extreme_scale_are_fitted_as_others(data, factor):
    plain = cl.fit_mixed(MODEL, data)
    table = plain.coefficients().table.set_index("term")
    wide = cl.fit_mixed(MODEL, data.assign(x=factor * data["x"])).coefficients().table.set_index("term")
    # two searches end within 1e-6 of each other; the scaled column's coefficient scales the other way
    assert wide["estimate"].mul(np.where(wide.index == "x", factor, 1.0)).to_numpy() == pytest.approx(
        table["estimate"].to_numpy(), rel=1e-6
    )
    high = cl.fit_mixed(MODEL, data.assign(y=factor * data["y"])).coefficients().table.set_index("term")
    assert high["se"].to_numpy() == pytest.approx(factor * table["se"].to_numpy(), rel=1e-6)
    moved = cl.fit_mixed(MODEL, data.assign(y=1e12 + data["y"])).coefficients().table.set_index("term")
    # a number of 1e12 holds four decimals
    assert moved["se"].to_numpy() == pytest.approx(table["se"].to_numpy(), rel=1e-3)


def test_a_slope_of_extreme_scale_has_the_same_criterion(data):
    formula = "y ~ x + (1 + x | student)"
    plain = cl.fit_mixed(formula, data)
    for factor in (1e12, 1e-12):
        wide = cl.fit_mixed(formula, data.assign(x=factor * data["x"]))
        # REML adds the logarithm of the column's own size
        assert wide.criterion - 2 * np.log(factor) == pytest.approx(plain.criterion, rel=1e-9)


def test_a_search_cut_short_says_not_to_use_it(data, monkeypatch):
    monkeypatch.setattr(solve, "MOST_STEPS", 1)
    monkeypatch.setattr(solve, "APPROACHES", 0)
    fit = cl.fit_mixed(MODEL, data)
    assert not fit.converged
    assert "no end after 1 steps" in fit.record.why
    assert any("did not end at a minimum" in c and "Do not use" in c and "simplify" in c for c in fit.checks)
    assert "not converged" in repr(fit) or fit.singular


def test_a_response_that_students_reproduce_is_remarked_on(data):
    computed = data.assign(y=2.0 * data["on"] + data["student"].str[1:].astype(int))
    for formula in ("y ~ on + (1 | student)", MODEL):
        checks = cl.fit_mixed(formula, computed).checks
        assert any("reproduce the response all but exactly" in c and "computed" in c for c in checks)
    high = data.assign(y=1e5 + data["y"])  # without a constant the mean is part of the response
    assert not any("exactly" in c for c in cl.fit_mixed("y ~ 0 + x + (1 | student)", high).checks)


def test_two_factors_that_divide_the_rows_alike_are_named(data):
    fit = cl.fit_mixed("y ~ on + (1 | student) + (1 | coach)", data.assign(coach="c" + data["student"]))
    assert any("student and coach divide the rows in the same way" in c and "Leave one" in c for c in fit.checks)
    assert not any("same way" in c for c in cl.fit_mixed("y ~ on + (1 | student) + (1 | cue)", data).checks)


def test_a_rank_deficient_model_keeps_the_rest_and_says_what_it_left_out(data):
    data = data.assign(off=1 - data["on"])
    fit = cl.fit_mixed("y ~ on + off + cue + (1 | student)", data)
    table = fit.coefficients(df="kenward-roger").table.set_index("term")
    assert table.loc["off"].isna().all()
    assert table.drop("off").notna().all().all()
    assert any("Not estimable" in c and "off" in c and "merge levels or drop" in c for c in fit.checks)


def test_gaps_in_any_column_are_counted(data):
    holes = data.astype({"x": float})
    holes.loc[[0, 1], "x"], holes.loc[2, "y"] = np.nan, np.nan
    holes.loc[3, "student"], holes.loc[[4, 0], "cue"] = None, None
    fit = cl.fit_mixed(MODEL, holes)
    assert fit.problem.moments.rows == 235
    assert fit.checks[0].startswith("5 of 240 rows have a gap")
    assert fit.criterion == pytest.approx(cl.fit_mixed(MODEL, data.drop(index=range(5))).criterion, rel=1e-12)


def test_new_rows_with_words_for_numbers_or_unseen_levels_are_refused(data):
    fit = cl.fit_mixed(MODEL, data)
    with pytest.raises(cl.FitError, match="'far', where the fit had numbers"):
        cl.predictions(fit, data.head(2).assign(x=["1.5", "far"]))
    with pytest.raises(cl.FitError, match=r"'oak', which the fit has not seen.*\s.*Known: alder, beech, cedar"):
        cl.predictions(fit, data.head(2).assign(cue="oak"))
    with pytest.raises(cl.FitError, match=r"(?s)level of student that the fit has not seen.*new_levels"):
        cl.predictions(fit, data.head(2).assign(student="s99"), include="student")


def test_the_order_of_categories_in_new_rows_is_of_no_consequence(data):
    fit = cl.fit_mixed(MODEL, data)
    some = data.tail(6)
    turned = some.assign(cue=pd.Categorical(some["cue"], categories=["oak", "cedar", "beech", "alder"]))
    pd.testing.assert_frame_equal(cl.predictions(fit, turned).table, cl.predictions(fit, some).table)


def test_a_singular_fit_answers_every_question_without_a_warning(data):
    flat = data.assign(y=data["y"] - data.groupby("student")["y"].transform("mean"))
    fit = cl.fit_mixed("y ~ on + (1 | student)", flat)
    assert fit.singular
    assert any("estimated as 0" in c and "Estimates hold" in c and "simplified" in c for c in fit.checks)
    for df in ("satterthwaite", "kenward-roger", "residual"):
        assert np.isfinite(fit.coefficients(df=df).table.iloc[:, 1:].to_numpy(float)).all()
    assert fit.effects("student")["estimate"].abs().max() < 1e-3  # all shrunken to the mean
    assert np.isfinite(cl.predictions(fit, flat.head(2), include="student").table.to_numpy()).all()


def test_a_factor_that_the_fixed_part_tells_apart_is_named(rng):
    data = pd.DataFrame({"g": np.repeat(np.arange(10), 8), "club": np.tile([0, 1], 40)})
    data["y"] = rng.normal(0, 1, 10)[data["g"]] + data["club"] + rng.normal(0, 1, 80)
    fit = cl.fit_mixed("y ~ club + (1 | g) + (1 | club)", data)
    assert "tells the 2 levels of club apart" in fit.text()
    assert np.isfinite(fit.criterion)
    assert "apart" not in cl.fit_mixed("y ~ club + (1 | g)", data).text()
    crossed = data.assign(coach=np.arange(80) // 3 % 4)
    assert "apart" not in cl.fit_mixed("y ~ club + (1 | g) + (1 | coach)", crossed).text()
