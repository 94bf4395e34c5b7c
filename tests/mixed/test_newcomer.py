"""The range of an effect in a level yet to come."""

import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats
from studies import answer_of, crossover, part_of, values, with_outcome

import coachlab as cl
from coachlab.mixed import newcomer

ROOT = Path(__file__).resolve().parents[2]
M1 = "y ~ on + (1 + on | student) + (1 | block)"


@pytest.fixture(scope="module")
def data():
    frame = crossover(12, sessions=1, pairs=2)
    return frame.assign(y=values(frame, np.random.default_rng(2), 1.0, 1.2))


@pytest.fixture(scope="module")
def fit(data):
    return cl.fit_mixed(M1, data)


def dense_range(data, scale, level):
    """The range by brute force: the restricted likelihood with dense matrices over a grid, the rest optimised at each."""
    from scipy.optimize import minimize

    X = np.column_stack([np.ones(len(data)), data["on"]])
    own = pd.get_dummies(data["student"]).to_numpy(float)
    block = pd.get_dummies(data["block"]).to_numpy(float)
    y = data["y"].to_numpy()
    slope = own * data["on"].to_numpy()[:, None]

    def fitted(tau, rest):
        start, cross, omega, sigma = rest
        V = (start**2 + cross**2) * own @ own.T + tau**2 * slope @ slope.T
        V += cross * tau * (own @ slope.T + slope @ own.T) + omega**2 * block @ block.T + sigma**2 * np.eye(len(y))
        chol = np.linalg.cholesky(V)
        a, b = np.linalg.solve(chol, X), np.linalg.solve(chol, y)
        C = np.linalg.inv(a.T @ a)
        beta = C @ a.T @ b
        value = 2 * np.log(np.diag(chol)).sum() - np.linalg.slogdet(C)[1] + np.sum((b - a @ beta) ** 2)
        return value, beta[1], np.sqrt(C[1, 1])

    grid = np.linspace(0.01, 6.0, 50)
    rows, rest = [], np.array([2.5, 0.0, 0.6, 1.8])
    for tau in grid:
        rest = minimize(lambda r, tau=tau: fitted(tau, r)[0], rest, method="BFGS", options={"gtol": 1e-4}).x
        rows.append(fitted(tau, rest))
    value, mean, se = np.array(rows).T
    weight = np.exp(-0.5 * (value - value.min())) * (1 + (grid / scale) ** 2 / 3) ** -2
    weight /= integrate.trapezoid(weight, grid)
    df = data["student"].nunique() - 1

    def below(x):
        return integrate.trapezoid(weight * stats.t.cdf((x - mean) / np.hypot(grid, se), df), grid)

    at = np.linspace(-10, 10, 4001)
    share = np.array([below(x) for x in at])
    return np.interp([0.5 - level / 2, 0.5 + level / 2], share, at)


def test_the_range_is_that_of_the_definition_with_dense_matrices(data, fit):
    small = data.groupby(["student", "block"], observed=True).head(2)  # the dense way takes a cube of the rows
    found = cl.new_level(cl.fit_mixed(M1, small), "on", "student", 1.0, level=0.9)
    # the dense way holds the spread itself, ours its ratio to the residual: a hundredth of the width apart
    assert (found.low, found.high) == pytest.approx(dense_range(small, 1.0, 0.9), abs=0.04)
    assert found.table["levels"].item() == 12 and fit.problem.moments.rows > len(small)


def test_more_spreads_or_longer_searches_move_no_end_by_a_hundredth_of_the_width(fit, monkeypatch):
    usual = cl.new_level(fit, "on", "student", 1.0)
    fine = cl.new_level(fit, "on", "student", 1.0, nodes=80)
    monkeypatch.setattr(newcomer, "STEPS", 40)
    long = cl.new_level(fit, "on", "student", 1.0, nodes=80)
    for other in (fine, long):
        assert abs(other.low - usual.low) + abs(other.high - usual.high) < 0.02 * (usual.high - usual.low)


def test_a_spread_estimated_at_zero_still_leaves_room_for_a_spread():
    frame = crossover(12)
    for seed in range(20):
        part = with_outcome(
            part_of(frame, np.random.default_rng(0)), values(frame, np.random.default_rng(seed), 0.3, 1.2)
        )
        answer = answer_of(part)
        if answer.slope_sd < 1e-6:
            break
    assert answer.slope_sd < 1e-6
    found = cl.new_level(answer.fit, "on", "student", 1.0, "on_h" if "on_h" in answer.model else "on", level=0.9)
    plugged = 2 * stats.t.ppf(0.95, 11) * answer.se
    assert found.high - found.low > 1.2 * plugged
    assert found.spreads["spread"] @ found.spreads["weight"] > 0.1


def test_a_larger_scale_widens_the_range_and_many_levels_make_it_of_no_consequence(fit):
    narrow, usual, wide = (cl.new_level(fit, "on", "student", scale) for scale in (0.2, 1.0, 5.0))
    assert narrow.high - narrow.low < usual.high - usual.low < wide.high - wide.low
    frame = crossover(150, sessions=1, pairs=2)
    many = cl.fit_mixed(M1, frame.assign(y=values(frame, np.random.default_rng(1), 1.0, 1.2)))
    one, two = (cl.new_level(many, "on", "student", scale) for scale in (0.5, 5.0))
    assert one.high - one.low == pytest.approx(two.high - two.low, rel=0.04)
    sd = many.components.query("group == 'student' and term == 'on' and other != other")["sd_or_corr"].item()
    assert one.high - one.low == pytest.approx(2 * 1.96 * sd, rel=0.05)  # the spread is all but known


def test_the_range_does_not_hang_on_scale_or_coding(data, fit):
    usual = cl.new_level(fit, "on", "student", 1.0)
    large = cl.new_level(cl.fit_mixed(M1, data.assign(y=1000 * data["y"] + 1e5)), "on", "student", 1000.0)
    assert [large.low / 1000, large.high / 1000] == pytest.approx([usual.low, usual.high], abs=2e-3)
    ml = cl.new_level(cl.fit_mixed(M1, data, reml=False), "on", "student", 1.0)
    # the same restricted likelihood, searched from another start
    assert [ml.low, ml.high] == pytest.approx([usual.low, usual.high], abs=0.02)
    apart = "y ~ on + (1 | student) + (0 + on_h | student) + (1 | block)"
    half = cl.new_level(cl.fit_mixed(apart, data.assign(on_h=data["on"] - 0.5)), "on", "student", 1.0, slope="on_h")
    assert half.high - half.low == pytest.approx(usual.high - usual.low, rel=0.15)


def test_asking_leaves_the_fit_as_it_was(fit):
    before = fit.criterion, tuple(fit.record.end), fit.coefficients().table
    cl.new_level(fit, "on", "student", 1.0)
    assert (fit.criterion, tuple(fit.record.end)) == before[:2]
    pd.testing.assert_frame_equal(fit.coefficients().table, before[2])


def test_a_spread_that_is_held_is_not_weighed(data):
    apart = "y ~ on + (0 + on | student) + (1 | block)"
    held = cl.fit_mixed(apart, data, fixed={"student": 0.8})
    found = cl.new_level(held, "on", "student", 1.0)
    assert found.spreads["spread"].to_numpy() == pytest.approx([0.8])
    se = held.coefficients().table.set_index("term").loc["on", "se"]
    half = stats.t.ppf(0.975, 11) * np.hypot(0.8, se)
    assert (found.high - found.low) / 2 == pytest.approx(half, rel=1e-6)


def test_the_chance_above_a_value_belongs_to_the_range(fit):
    found = cl.new_level(fit, "on", "student", 1.0)
    assert found.chance(found.low) == pytest.approx(0.975, abs=1e-6)
    assert found.chance(found.high) == pytest.approx(0.025, abs=1e-6)
    assert found.ends(0.5)[0] > found.low and found.ends(0.5)[1] < found.high


@pytest.mark.parametrize(
    ("ask", "found"),
    [
        ({"term": "off"}, "'off' is no estimable coefficient"),
        ({"group": "block"}, "no random term lets 'on' vary over block"),
        ({"group": "coach"}, "no random term"),
        ({"scale": 0.0}, "scale=0.0"),
        ({"scale": np.inf}, "scale=inf"),
        ({"level": 90}, "level is 90"),
    ],
)
def test_questions_without_an_answer_are_refused(fit, ask, found):
    with pytest.raises(cl.FitError) as caught:
        cl.new_level(fit, **({"term": "on", "group": "student", "scale": 1.0} | ask))
    assert found.replace("'", "") in str(caught.value).replace("'", "")
    assert len(str(caught.value).splitlines()) == 3


# What labels say of coverage -------------------------------------------------------------------------------------------


def test_every_label_of_coverage_comes_from_the_table():
    row = (
        newcomer.tested()
        .query("kind == 'new level' and nominal == .9 and levels == 12")
        .set_index("spread")["coverage"]
    )
    usual, least, most, levels = newcomer.tested_coverage("new level", 0.9, 17)
    assert (usual, least, most, levels) == (row[1.0], row.min(), row.max(), 12)
    assert (
        f"held {100 * row[1.0]:.0f} % of new levels in simulated data of 12 levels"
        in newcomer.tested_words("new level", 0.9, 17)[0]
    )
    assert newcomer.tested_coverage("new level", 0.8, 17) is None
    assert newcomer.tested_words("new level", 0.9, 5) == ()


def test_the_table_holds_every_cell_with_its_error():
    table = newcomer.tested()
    cells = table.groupby(["kind", "nominal"])[["levels", "spread"]].apply(lambda t: len(t.drop_duplicates()))
    assert (cells == 15).all() and len(cells) == 5
    assert (table["studies"] >= 400).all()
    assert table["error"].between(0.0001, 0.01).all()


def test_ranges_hold_new_levels_as_often_as_is_asked_of_them():
    # nominal 90 %, twelve levels or more, spreads from .4 to 1.8 of the scale: .86 to .97, two Monte-Carlo errors allowed
    mine = newcomer.tested().query("kind == 'new level' and nominal == .9 and levels >= 12")
    assert (mine["coverage"] + 2 * mine["error"] >= 0.86).all()
    assert (mine["coverage"] - 2 * mine["error"] <= 0.97).all()


def test_predictions_for_a_new_level_state_their_tested_coverage(data, fit):
    new = pd.DataFrame({"on": [1.0]})
    said = cl.predictions(fit, new, new_levels="student")
    assert said.notes == newcomer.tested_words("predictions", 0.95, 12) and said.notes
    assert said.notes[0] in said.text() and said.notes[0] in said._repr_html_().replace("\u00a0", " ")
    assert cl.predictions(fit, new).notes == ()
    assert cl.new_level(fit, "on", "student", 1.0).text().endswith(newcomer.tested_words("new level", 0.95, 12)[0])


@pytest.mark.slow
@pytest.mark.parametrize("spread", [0.4, 1.0, 1.8])
def test_the_table_is_what_its_script_counts(spread):
    where = ROOT / "tests" / "reference" / "make_coverage.py"
    spec = importlib.util.spec_from_file_location("make_coverage", where)
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    own = pd.DataFrame(script.count(12, spread, 150, seed=7), columns=["kind", "nominal", "coverage"])
    held = newcomer.tested().query("levels == 12 and spread == @spread").set_index(["kind", "nominal"])
    for key, found in own.groupby(["kind", "nominal"])["coverage"]:
        error = np.hypot(held.loc[key, "error"], found.std() / np.sqrt(len(found)))
        # other studies than the table's: four standard errors of the difference
        assert found.mean() == pytest.approx(held.loc[key, "coverage"], abs=4 * error)
