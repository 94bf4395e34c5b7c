"""Looks at a fit: each number beside one found in another way, planted faults found, clean data left in peace."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from mixed.references import MODELS, NAMES, fit, formula, table
from scipy import stats

import coachlab as cl
from coachlab.mixed.envelope import effect_envelopes, envelope_of, lineup, residual_envelope, simulated
from coachlab.mixed.influence import leave_out
from coachlab.mixed.residuals import added_slope, residuals
from coachlab.mixed.rows import rows_of
from coachlab.mixed.scatter import neighbours, spread_by

MODEL = "y ~ on + x + (1 + on | student) + (1 | block)"
# two solutions of one linear system: rounding only
SAME = 1e-8


def lessons(seed, students=20, blocks=4, shots=9, rho=0.0, sd=1.8, tau=1.0):
    """Blocks of plain and cue in turn, with a start and a shift for each student, and residuals of a given kind."""
    rng = np.random.default_rng(seed)
    n = students * blocks * shots
    student, block = np.arange(n) // (blocks * shots), np.arange(n) // shots
    on, shot = ((block + student) % 2).astype(float), np.arange(n) % (blocks * shots) + 1.0
    e = rng.standard_normal((students * blocks, shots))
    for i in range(1, shots):
        e[:, i] = rho * e[:, i - 1] + np.sqrt(1 - rho**2) * e[:, i]
    y = rng.normal(0, 2, students)[student] + on * rng.normal(1, tau, students)[student]
    y = y + rng.normal(0, 0.6, students * blocks)[block] + sd * e.ravel()
    frame = pd.DataFrame({"student": student, "block": block})
    frame["student"], frame["block"] = frame["student"].map("s{:02d}".format), frame["block"].map("b{:03d}".format)
    return frame.assign(on=on, shot=shot, x=np.log(shot) - 2.5, y=y)


@pytest.fixture(scope="module")
def data():
    return lessons(4)


@pytest.fixture(scope="module")
def plain(data):
    return cl.fit_mixed(MODEL, data)


def dense(fitted, data):
    """V, X and y of the small study, written out in full."""
    z = {name: pd.get_dummies(data[name]).to_numpy(float) for name in ("student", "block")}
    on = data["on"].to_numpy()
    part = fitted.components.set_index(["group", "term", "other"])["variance_or_cov"]
    s0, s1, s01 = (
        part[("student", "Intercept", np.nan)],
        part[("student", "on", np.nan)],
        part[("student", "Intercept", "on")],
    )
    same = z["student"] @ z["student"].T
    covariance = same * (s0 + s01 * (on[:, None] + on) + s1 * np.outer(on, on))
    covariance += part[("block", "Intercept", np.nan)] * z["block"] @ z["block"].T + fitted.sigma**2 * np.eye(len(on))
    x = np.column_stack([np.ones(len(on)), on, data["x"]])
    return covariance, x, data["y"].to_numpy()


# Residuals ------------------------------------------------------------------------------------------------------------


def test_residuals_and_their_sds_are_those_of_the_model_written_out_in_full(plain, data):
    covariance, x, y = dense(plain, data)
    inverse = np.linalg.inv(covariance)
    hat = np.linalg.solve(x.T @ inverse @ x, x.T @ inverse)
    beta = hat @ y
    projection = inverse - inverse @ x @ hat
    sigma2 = plain.sigma**2
    found = residuals(plain).table
    np.testing.assert_allclose(found["marginal"], y - x @ beta, atol=SAME)
    np.testing.assert_allclose(found["conditional"], sigma2 * inverse @ (y - x @ beta), atol=SAME)
    np.testing.assert_allclose(found["fixed"] + found["marginal"], y, atol=SAME)
    own = np.sqrt(sigma2**2 * np.diag(projection))
    np.testing.assert_allclose(found["standardised"], found["conditional"] / own, atol=1e-6)
    whole = np.sqrt(np.diag(covariance - x @ np.linalg.inv(x.T @ inverse @ x) @ x.T))
    np.testing.assert_allclose(found["standardised_marginal"], found["marginal"] / whole, atol=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_effects_of_the_sparse_system_are_those_of_the_fit(name):
    fitted = fit(name)
    rows = rows_of(fitted, "residuals")
    effects = rows.effects(rows.solve(rows.response[:, None])[0])
    for ours, theirs in zip(effects, fitted.inference.modes, strict=True):
        # responses at 1e6 leave fewer digits: relative to the residual SD
        np.testing.assert_allclose(ours[:, :, 0], theirs, atol=1e-6 * max(fitted.sigma, 1e-12))


@pytest.mark.parametrize("name", ["both", "unbalanced", "crossed"])
def test_leverages_are_those_of_the_sparse_system(name):
    rows = rows_of(fit(name), "residuals")
    whole, factored = rows._system
    direct = np.einsum("ij,ji->i", whole.toarray(), factored.solve(whole.T.toarray()))
    np.testing.assert_allclose(rows.leverage, direct, atol=1e-7)


def test_rows_with_gaps_keep_their_place_in_the_table(data):
    gaps = data.assign(y=data["y"].where(~data.index.isin([3, 50])))
    assert list(residuals(cl.fit_mixed(MODEL, gaps)).table.index[:4]) == [0, 1, 2, 4]


def test_with_residual_sds_by_group_each_row_is_measured_by_its_own():
    wild = lessons(1).assign(club=lambda d: np.where(d["block"].str[-1].astype(int) % 2, "iron", "wood"))
    rng = np.random.default_rng(0)
    wild["y"] += np.where(wild["club"] == "wood", rng.normal(0, 4, len(wild)), 0.0)
    fitted = cl.fit_mixed(MODEL, wild, residual_by="club")
    by = residuals(fitted).table["standardised"].groupby(wild["club"].to_numpy()).std()
    # SD of 360 values: within 8 % in all but one of 100
    assert by.to_numpy() == pytest.approx([1.0, 1.0], abs=0.1)


# Neighbours -----------------------------------------------------------------------------------------------------------


def test_the_correlation_of_neighbours_is_that_of_a_plain_loop(plain, data):
    left = residuals(plain).table["conditional"].to_numpy()
    products, pairs = 0.0, 0
    for block in data["block"].unique():
        mine = left[(data["block"] == block).to_numpy()]
        for one, two in zip(mine, mine[1:], strict=False):
            products, pairs = products + one * two, pairs + 1
    found = neighbours(left, data["block"])
    assert found.pairs == pairs
    assert found.r == pytest.approx((products / pairs) / np.mean(left**2), rel=1e-12)


def test_order_is_the_one_that_is_given(plain, data):
    left = residuals(plain).table["conditional"].to_numpy()
    mixed = np.random.default_rng(2).permutation(len(left))
    again = neighbours(
        left[mixed], data["block"].to_numpy()[mixed], data["shot"].to_numpy()[mixed], data["student"].to_numpy()[mixed]
    )
    one = neighbours(left, data["block"], by=data["student"])
    assert (again.rho, again.low) == pytest.approx((one.rho, one.low), rel=1e-9)


@pytest.mark.parametrize("rho", [0.0, 0.2, 0.5])
def test_the_correlation_is_found_though_each_block_has_lost_its_mean(rho):
    found = []
    for seed in range(6):
        frame = lessons(seed, students=30, rho=rho)
        left = residuals(cl.fit_mixed(MODEL, frame)).table["conditional"]
        found.append(neighbours(left, frame["block"], frame["shot"], frame["student"]))
    # SE of one is about .045 with 1,080 shots, of the mean of six .02
    assert np.mean([each.rho for each in found]) == pytest.approx(rho, abs=0.06)
    assert sum(each.low < rho < each.high for each in found) >= 5
    assert all(each.r < each.rho for each in found)


def test_groups_of_one_row_have_no_neighbours():
    with pytest.raises(cl.FitError, match="no group has two rows"):
        neighbours([1.0, 2.0], ["a", "b"])


# Spread ---------------------------------------------------------------------------------------------------------------


def test_the_whole_as_one_level_has_the_residual_sd_of_the_fit(plain, data):
    found = spread_by(plain, np.full(len(data), "all"))
    # the df of all rows are those of REML only where all variances are known; close in a sound study
    assert found.table["sd"].iloc[0] == pytest.approx(plain.sigma, rel=2e-3)
    assert np.isnan(found.p)


def test_intervals_of_the_spread_hold_the_truth_and_clean_levels_are_rarely_called_unlike():
    inside, called = [], 0
    for seed in range(20):
        frame = lessons(100 + seed)
        found = spread_by(cl.fit_mixed(MODEL, frame), frame["student"], "student")
        inside.append(((found.table["low"] < 1.8) & (found.table["high"] > 1.8)).mean())
        called += found.p < 0.01
    # 400 intervals at 95 %; two or more of 20 at 1 % has a chance of .017
    assert np.mean(inside) > 0.91
    assert called <= 1


def test_one_level_twice_as_wild_is_found():
    frame = lessons(7)
    club = np.where(frame["block"].str[1:].astype(int) % 4 < 2, "iron-7", "driver")
    wild = frame.assign(
        y=frame["y"] + np.where(club == "driver", np.sqrt(3) * np.random.default_rng(1).normal(0, 1.8, len(frame)), 0)
    )
    found = spread_by(cl.fit_mixed(MODEL, wild), club, "club")
    sd = found.table.set_index("level")["sd"]
    assert found.p < 1e-6
    assert sd["driver"] / sd["iron-7"] == pytest.approx(2.0, rel=0.15)


def test_labels_must_be_one_a_row(plain):
    with pytest.raises(cl.FitError, match="one label for each row"):
        spread_by(plain, ["a", "b"])


# A further slope ------------------------------------------------------------------------------------------------------


def test_a_further_slope_is_that_of_the_fit_with_the_column(data):
    held = cl.fit_mixed(MODEL, data)
    found = added_slope(held, data["shot"], "student")
    whole = cl.fit_mixed(MODEL.replace("x +", "x + shot +"), data).coefficients().table.set_index("term").loc["shot"]
    # the variances move a little when the column enters
    assert found.estimate == pytest.approx(whole["estimate"], rel=0.02)
    assert found.se == pytest.approx(whole["se"], rel=0.35)
    assert found.df == 19


def test_drift_is_found_and_clean_lessons_rarely_have_one():
    called = 0
    for seed in range(30):
        frame = lessons(200 + seed)
        called += added_slope(cl.fit_mixed(MODEL, frame), frame["shot"], "student").p < 0.01
    assert called <= 2  # three or more of 30 at 1 % has a chance of .003
    frame = lessons(3)
    drifting = frame.assign(y=frame["y"] + 0.08 * frame["shot"])
    found = added_slope(cl.fit_mixed(MODEL, drifting), frame["shot"], "student")
    assert found.p < 0.001
    assert found.low < 0.08 < found.high


def test_a_column_that_is_in_the_fit_is_refused(plain, data):
    with pytest.raises(cl.FitError, match="sum of those in the fit"):
        added_slope(plain, 2 * data["x"] + 1, "student")


# Envelopes ------------------------------------------------------------------------------------------------------------


def test_a_band_holds_normal_samples_whole_as_often_as_it_says():
    rng = np.random.default_rng(5)
    inside, small = 0, 0
    for _ in range(200):
        found = envelope_of(rng.normal(3, 2, 40) - 3, rng.standard_normal((40, 399)))
        inside += found.outside == 0
        small += found.p <= 0.05
    # 200 at 95 %: 181 to 198 in all but one of 100
    assert 181 <= inside <= 198
    assert 2 <= small <= 19


@pytest.mark.parametrize("size", [200, 1500])
def test_heavy_tails_leave_the_band(size):
    rng = np.random.default_rng(8)
    drawn = rng.standard_normal((size, 299))
    heavy = envelope_of(rng.standard_t(2, size), drawn)
    assert heavy.p < 0.01
    assert heavy.outside > 0
    assert len(heavy.table) == min(size, 400)
    assert (heavy.table["low"] < heavy.table["high"]).all()
    assert heavy.table["observed"].is_monotonic_increasing


def test_residuals_and_effects_of_clean_studies_stay_inside():
    called = 0
    for seed in range(12):
        fitted = cl.fit_mixed(MODEL, lessons(300 + seed))
        called += residual_envelope(fitted, 199, seed).p < 0.01
        called += min(each.p for each in effect_envelopes(fitted, 399, seed).values()) < 0.01 / 3
    assert called <= 2  # 24 looks at 1 %: three or more have a chance of .002


def test_mishits_are_seen_in_the_residuals_and_an_odd_student_in_the_effects():
    frame, rng = lessons(11), np.random.default_rng(3)
    wild = frame.assign(y=frame["y"] + np.where(rng.random(len(frame)) < 0.06, rng.normal(0, 6, len(frame)), 0.0))
    assert residual_envelope(cl.fit_mixed(MODEL, wild), 399, 1).p < 0.01
    odd = frame.assign(y=frame["y"] + 14.0 * frame["on"] * (frame["student"] == "s05"))
    found = effect_envelopes(cl.fit_mixed(MODEL, odd), 999, 1)
    assert found["student", "on"].p < 0.01
    assert found["student", "on"].table["observed"].iloc[-1] > found["student", "on"].table["high"].iloc[-1]


def test_effects_in_the_band_are_those_of_the_fit_in_order(plain):
    found = effect_envelopes(plain, 99, 1)["student", "on"]
    modes = plain.effects("student").query("term == 'on'")["estimate"].to_numpy()
    drawn = found.table["observed"].to_numpy()
    assert np.sqrt((drawn**2).mean()) == pytest.approx(1.0)
    # balanced: each student's mode has one and the same SD, so that only the size differs
    np.testing.assert_allclose(drawn, np.sort(modes) / np.sqrt((modes**2).mean()), atol=1e-6)
    assert found.table["normal"].to_numpy() == pytest.approx(stats.norm.ppf((np.arange(20) + 0.5) / 20))


def test_an_effect_without_spread_has_no_envelope():
    frame = lessons(2, tau=0.0)
    none = frame.assign(y=frame["y"] - frame.groupby("block")["y"].transform("mean") + frame["on"])
    fitted = cl.fit_mixed("y ~ on + x + (1 | student) + (1 | block)", none)
    assert effect_envelopes(fitted, 99, 1) == {}


def test_a_seed_gives_the_same_band_and_another_one_another(plain):
    one, two, three = (residual_envelope(plain, 199, seed).table["high"] for seed in (1, 1, 2))
    assert one.equals(two)
    assert not one.equals(three)


def test_draws_have_the_covariance_of_the_model(plain, data):
    rows = rows_of(plain, "a test")
    drawn = rows.draw(4000, np.random.default_rng(1))
    covariance, _, _ = dense(plain, data)
    mine = [0, 1, 9, 20, 36, 400]
    # 4,000 draws: SE of a variance of 9 is .2, of a covariance less
    np.testing.assert_allclose(np.cov(drawn[mine]), covariance[np.ix_(mine, mine)], atol=0.7)
    np.testing.assert_allclose(rows.marginal_variance, np.diag(covariance), rtol=1e-9)


# The line-up ----------------------------------------------------------------------------------------------------------


def test_the_real_data_stand_in_one_panel_and_nothing_shown_says_which(plain, data):
    places = set()
    for seed in range(8):
        hidden = lineup(plain, 8, seed)
        place = hidden.reveal()
        places.add(place)
        np.testing.assert_allclose(hidden.responses[:, place - 1], data["y"], atol=1e-9)
        assert hidden.responses.shape == (len(data), 9)
        others = np.delete(hidden.responses, place - 1, axis=1)
        assert np.abs(others - data["y"].to_numpy()[:, None]).max(axis=0).min() > 1
        assert f"_place={place - 1}" not in repr(hidden)
    assert len(places) > 2
    assert lineup(plain, 8, 3).reveal() == lineup(plain, 8, 3).reveal()


def test_statistics_of_simulated_sets_surround_those_of_clean_data(plain):
    def spread(rows, responses):
        return rows.solve(responses)[1].std(axis=0)[None]

    real, drawn = simulated(plain, spread, 199, 1)
    assert drawn.shape == (1, 199)
    assert drawn.min() < real[0] < drawn.max()


# One group left out ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["unbalanced", "crossed", "both", "nested", "weighted"])
def test_each_part_is_that_of_a_fit_without_the_rows(name):
    data, fitted = table(name), fit(name)
    term = fitted.terms[1]
    found = leave_out(fitted, "student", term).table.set_index("level")
    weights = MODELS.loc[name, "weights"] or None
    for student in found.index[:4]:
        rest = data[data["student"].astype(str) != student]
        again = cl.fit_mixed(formula(name), rest, weights=weights).coefficients().table.set_index("term").loc[term]
        # both searches end where the criterion is flat to its last digits
        assert found.loc[student, "estimate"] == pytest.approx(again["estimate"], abs=1e-6 * max(1, abs(again["se"])))
        assert found.loc[student, "se"] == pytest.approx(again["se"], rel=1e-5)
        assert found.loc[student, "df"] == pytest.approx(again["df"], rel=1e-3)
        assert found.loc[student, "rows"] == len(data) - len(rest)


def test_a_residual_sd_by_group_stays_in_the_parts():
    data = lessons(5).assign(half=lambda d: np.where(d["shot"] < 18, "early", "late"))
    fitted = cl.fit_mixed(MODEL, data, residual_by="half", reml=False)
    found = leave_out(fitted, "student", "on").table.set_index("level")
    again = cl.fit_mixed(MODEL, data[data["student"] != "s03"], residual_by="half", reml=False)
    assert found.loc["s03", "estimate"] == pytest.approx(again.coefficients().table["estimate"][1], abs=1e-6)


def test_a_level_without_which_there_is_no_model_is_a_row_of_nan():
    data = lessons(6, students=2)
    fitted = cl.fit_mixed("y ~ on + (1 | student)", data)
    found = leave_out(fitted, "student", "on")
    assert found.table["estimate"].isna().all()
    assert "cannot be found" in found.text()


def test_the_odd_student_is_the_one_without_whom_the_estimate_moves_most(data):
    odd = data.assign(y=data["y"] + 9.0 * data["on"] * (data["student"] == "s05"))
    found = leave_out(cl.fit_mixed(MODEL, odd), "student", "on")
    assert found.table.loc[found.table["change"].abs().idxmax(), "level"] == "s05"
    assert "farthest without s05" in found.text()


@pytest.mark.parametrize(("group", "term"), [("coach", "on"), ("student", "cue")])
def test_unknown_groups_and_terms_are_named(plain, group, term):
    with pytest.raises(cl.FitError, match="'coach'|'cue'"):
        leave_out(plain, group, term)


# Moments alone --------------------------------------------------------------------------------------------------------

NEED_ROWS = {
    "residuals": residuals,
    "residual envelope": residual_envelope,
    "effect envelopes": effect_envelopes,
    "spread": lambda fitted: spread_by(fitted, ["a"]),
    "slope": lambda fitted: added_slope(fitted, [1.0], "student"),
    "leave out": lambda fitted: leave_out(fitted, "student", "on"),
    "line-up": lineup,
}


@pytest.mark.parametrize("look", NEED_ROWS)
def test_a_fit_of_moments_says_which_looks_need_rows(look, data):
    fitted = cl.fit_mixed(MODEL, cl.moments(MODEL, data))
    with pytest.raises(cl.FitError, match="hold sums and no rows") as caught:
        NEED_ROWS[look](fitted)
    assert MODEL in caught.value.asked
    assert "Fit the table itself" in caught.value.do


def test_no_look_changes_the_fit_or_the_table(data):
    before = data.copy()
    fitted = cl.fit_mixed(MODEL, data)
    criterion = fitted.criterion
    leave_out(fitted, "student", "on")
    residual_envelope(fitted, 99, 1)
    assert fitted.criterion == criterion
    pd.testing.assert_frame_equal(data, before)
    assert replace(fitted).coefficients().table.equals(fitted.coefficients().table)


def test_every_look_says_itself_in_a_sentence(plain, data):
    said = [
        residuals(plain),
        neighbours(data["y"], data["block"]),
        spread_by(plain, data["student"], "student"),
        added_slope(plain, data["shot"], "student"),
        residual_envelope(plain, 99, 1),
        leave_out(plain, "student", "on"),
        lineup(plain, 2, 1),
    ]
    for each in said:
        assert each.text().endswith(".")
        assert "<" in each._repr_html_()
