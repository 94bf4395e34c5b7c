"""Profile intervals against lme4's, and against the criterion itself."""

import numpy as np
import pandas as pd
import pytest
from mixed.references import expected, fit

import coachlab as cl
from coachlab.mixed.boundary import spread_test


@pytest.mark.parametrize("name", ["nested", "crossed", "singular"])
def test_profile_intervals_are_those_of_lme4(name):
    theirs = expected(name, "profile_low").merge(expected(name, "profile_high"), on=["group", "term"])
    ours = cl.profile_spread(fit(name, reml=False)).table.fillna({"term": "sigma"})
    ours["key"] = [":".join(sorted(group.split(":"))) for group in ours["group"].replace("residual", "sigma")]
    for row in theirs.itertuples():
        key = ":".join(sorted(row.group.split(":")))
        own = ours[(ours["key"] == key) & (ours["term"] == row.term.replace("(Intercept)", "Intercept"))].iloc[0]
        assert own["low"] == pytest.approx(row.value_x, abs=2e-3)  # lme4 interpolates between points of its profile
        assert own["high"] == pytest.approx(row.value_y, abs=2e-3)


def test_at_the_ends_the_criterion_has_risen_by_the_quantile(rng):
    data = pd.DataFrame({"g": np.repeat(np.arange(14), 6), "x": [0.0, 1.0] * 42})
    data["y"] = rng.normal(0, 1, 14)[data["g"]] + data["x"] + rng.normal(0, 1, 84)
    free = cl.fit_mixed("y ~ x + (1 | g)", data)
    for level, rise in ((0.95, 3.841459), (0.8, 1.642374)):  # chi-square with one degree of freedom
        row = cl.profile_spread(free, level).table.iloc[0]
        for end in (row["low"], row["high"]):
            held = cl.fit_mixed("y ~ x + (1 | g)", data, fixed={"g": end})
            assert held.criterion - free.criterion == pytest.approx(rise, abs=1e-3)  # ends are found to 1e-6


def test_no_spread_at_all_is_within_an_interval_that_starts_at_zero(rng):
    data = pd.DataFrame({"g": np.repeat(np.arange(10), 5), "y": rng.normal(0, 1, 50)})
    table = cl.profile_spread(cl.fit_mixed("y ~ 1 + (1 | g)", data)).table
    assert table["low"][0] == 0.0
    assert 0.0 < table["high"][0] < 1.5


def test_profiles_need_no_rows_and_leave_fixed_spreads_out(rng):
    data = pd.DataFrame({"g": np.repeat(np.arange(10), 8), "h": np.tile(np.arange(4), 20)})
    data["y"] = rng.normal(0, 1, 10)[data["g"]] + rng.normal(0, 1, 4)[data["h"]] + rng.normal(0, 1, 80)
    formula = "y ~ 1 + (1 | g) + (1 | h)"
    table = cl.profile_spread(cl.fit_mixed(formula, cl.moments(formula, data), fixed={"h": 1.0})).table
    assert table["group"].to_list() == ["g", "residual"]
    assert ((table["low"] < table["sd"]) & (table["sd"] < table["high"])).all()


def test_profile_says_what_it_found_and_refuses_a_level_that_is_no_share(rng):
    found = cl.profile_spread(fit("nested"))
    assert "Residual SD" in found.text()
    assert "nan" not in found._repr_html_().lower()
    with pytest.raises(cl.FitError, match="level is 95"):
        cl.profile_spread(fit("nested"), 95)


def simulated(rng, slope_sd, students=16):
    data = pd.DataFrame({"student": np.repeat(np.arange(students), 20), "on": np.tile([0.0, 1.0], students * 10)})
    own, shift = rng.normal(0, 1, students), rng.normal(1, slope_sd, students)
    data["y"] = own[data["student"]] + data["on"] * shift[data["student"]] + rng.normal(0, 1, len(data))
    return data


def test_a_clear_spread_is_told_from_none_and_none_is_not(rng):
    clear = spread_test(cl.fit_mixed("y ~ on + (1 + on | student)", simulated(rng, 1.5)), "student", "on", 200, seed=1)
    assert clear.table["p"][0] == 1 / 201
    none = spread_test(cl.fit_mixed("y ~ on + (1 + on | student)", simulated(rng, 0.0)), "student", "on", 200, seed=1)
    assert none.table["p"][0] > 0.05
    assert "simulated without it" in none.text()


def test_the_ratio_is_the_difference_of_two_fits(rng):
    data = simulated(rng, 0.6)
    large = cl.fit_mixed("y ~ on + (1 + on | student)", data)
    small = cl.fit_mixed("y ~ on + (1 | student)", data)
    found = spread_test(large, "student", "on", refits=20, seed=1)
    assert found.table["ratio"][0] == pytest.approx(small.criterion - large.criterion, abs=1e-6)  # two searches


def test_p_is_uniform_where_there_is_no_spread():
    """Half of the simulated ratios of a single SD are 0, so that only small p-values can be uniform."""
    p = []
    for seed in range(120):
        rng = np.random.default_rng(seed)
        data = pd.DataFrame({"g": np.repeat(np.arange(12), 6), "y": rng.normal(0, 1, 72)})
        p.append(spread_test(cl.fit_mixed("y ~ 1 + (1 | g)", data), "g", refits=99, seed=seed).table["p"][0])
    share = np.mean(np.array(p) <= 0.2)
    assert 0.1 <= share <= 0.31  # .2 with a standard error of .037


def test_an_effect_that_is_not_there_or_held_cannot_be_tested(rng):
    data = simulated(rng, 0.6)
    fit = cl.fit_mixed("y ~ on + (1 | student)", data, fixed={"student": 1.0})
    with pytest.raises(cl.FitError, match="held fixed"):
        spread_test(fit, "student")
    with pytest.raises(cl.FitError, match="Intercept over student"):
        spread_test(fit, "student", "on")
    with pytest.raises(cl.FitError, match="refits=0"):
        spread_test(fit, "student", refits=0)
