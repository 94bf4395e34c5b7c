"""Moments add, travel and stand in for the table they were made of."""

import re

import numpy as np
import pandas as pd
import pytest
from mixed.references import formula, table

import coachlab as cl

# what adding in another order may change: rounding only
SAME = 1e-9


def same(one, two):
    assert one.criterion == pytest.approx(two.criterion, rel=SAME)
    ours, theirs = (f.coefficients().table.set_index("term")[["estimate", "se"]] for f in (one, two))
    np.testing.assert_allclose(ours, theirs.loc[ours.index], rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("name", ["unbalanced", "cues", "crossed", "nested", "large", "both"])
def test_moments_of_parts_sum_to_the_fit_of_the_whole(name):
    data, text = table(name), formula(name)
    part = np.random.default_rng(0).integers(0, 3, len(data))
    total = sum(cl.moments(text, data[part == k]) for k in range(3))
    assert total.rows == len(data)
    same(cl.fit_mixed(text, total), cl.fit_mixed(text, data))


def test_parts_with_other_students_and_weights_and_strata_add(rng):
    data, text = table("both"), formula("both")
    options = {"weights": "w", "residual_by": "pattern"}
    total = cl.moments(text, data[data["student"] < "s06"], **options) + cl.moments(
        text, data[data["student"] >= "s06"], **options
    )
    same(cl.fit_mixed(text, total), cl.fit_mixed(text, data, **options))


def test_a_part_that_lacks_levels_still_adds_as_long_as_the_base_is_there():
    text = "y ~ cue + per_c + (1 + on | student) + (1 | block)"
    data = table("cues").assign(cue=lambda d: d["cue"].astype(str).replace("plain", "a plain"))
    parts = [data[data["cue"].isin(["a plain", "birch"])], data[data["cue"].isin(["a plain", "alder"])][60:]]
    total = sum(cl.moments(text, part) for part in parts)
    assert total.coding.factors["cue"] == ("a plain", "alder", "birch")
    same(cl.fit_mixed(text, total), cl.fit_mixed(text, pd.concat(parts)))


def test_parts_with_another_base_are_refused():
    data = table("crossed")
    text = formula("crossed")
    with pytest.raises(cl.FitError, match="same categories"):
        cl.moments(text, data) + cl.moments(text, data[data["cue"] != "alder"])


def test_declared_categories_let_any_part_add():
    data, text = table("crossed"), formula("crossed")
    data = data.assign(cue=pd.Categorical(data["cue"]))
    total = cl.moments(text, data[data["cue"] != "alder"]) + cl.moments(text, data[data["cue"] == "alder"])
    same(cl.fit_mixed(text, total), cl.fit_mixed(text, data))


def test_moments_of_another_formula_do_not_add():
    data = table("crossed")
    with pytest.raises(cl.FitError, match="Only moments of one formula add"):
        cl.moments(formula("crossed"), data) + cl.moments("y ~ 1 + (1 | student)", data)
    with pytest.raises(cl.FitError):
        cl.moments(formula("crossed"), data) + 3


@pytest.mark.parametrize("name", ["cues", "nested", "curved"])
def test_saved_moments_come_back_the_same(name, tmp_path):
    made = cl.moments(formula(name), table(name))
    made.save(tmp_path / "part.npz")
    back = cl.Moments.load(tmp_path / "part.npz")
    assert back.rows == made.rows
    assert repr(back) == repr(made)
    one, two = cl.fit_mixed(formula(name), made), cl.fit_mixed(formula(name), back)
    assert one.criterion == two.criterion
    group = made.coding.formula.bars[0].name
    pd.testing.assert_frame_equal(one.effects(group), two.effects(group))


def test_loaded_moments_answer_questions_about_means(tmp_path):
    cl.moments(formula("cues"), table("cues")).save(tmp_path / "part.npz")
    fit = cl.fit_mixed(formula("cues"), cl.Moments.load(tmp_path / "part.npz"))
    direct = cl.means(cl.fit_mixed(formula("cues"), table("cues")), "cue").table
    pd.testing.assert_frame_equal(cl.means(fit, "cue").table, direct, rtol=1e-6)


def test_a_file_of_something_else_is_refused(tmp_path):
    path = tmp_path / "notes.npz"
    path.write_text("not moments")
    with pytest.raises(cl.FitError, match="does not hold moments"):
        cl.Moments.load(path)
    with pytest.raises(cl.FitError, match="no such file"):
        cl.Moments.load(tmp_path / "absent.npz")


def test_functions_of_all_rows_are_refused_in_moments():
    with pytest.raises(cl.FitError, match="depends on all rows at once"):
        cl.moments("y ~ center(x) + (1 | student)", table("curved"))


def test_the_fit_must_ask_for_the_moments_own_formula():
    made = cl.moments("y ~ x + (1 | student)", table("curved"))
    assert cl.fit_mixed("y~x+(1|student)", made).converged  # blanks do not matter
    with pytest.raises(cl.FitError, match="moments are of"):
        cl.fit_mixed("y ~ 1 + (1 | student)", made)
    with pytest.raises(cl.FitError, match="part of the moments"):
        cl.fit_mixed("y ~ x + (1 | student)", made, weights="w")
    with pytest.raises(cl.FitError, match="made from moments"):
        cl.fit_mixed("y ~ x + (1 | student)", made).refit([1.0])


def test_rows_dropped_in_parts_are_counted_together():
    data = table("curved").copy()
    data.loc[[1, 200], "y"] = np.nan
    text = "y ~ x + (1 | student)"
    total = cl.moments(text, data[:130]) + cl.moments(text, data[130:])
    assert any(check.startswith("2 of 260 rows") for check in cl.fit_mixed(text, total).checks)


def test_the_size_is_said_for_a_student_and_does_not_grow_with_shots(rng):
    def lesson(shots):
        n = 6 * 4 * shots
        data = pd.DataFrame({"student": np.arange(n) % 6, "on": np.arange(n) // 6 % 2, "y": rng.normal(0, 1, n)})
        return cl.moments("y ~ on + (1 + on | student)", data)

    few, many = lesson(5), lesson(500)
    assert few.size_bytes == many.size_bytes
    each = re.search(r"([\d.]+) kB a student>$", repr(many))
    assert float(each[1]) == pytest.approx(many.size_bytes / 6 / 1000, abs=0.05)


def test_a_saved_file_is_about_as_large_as_said(rng, tmp_path):
    n = 200 * 40
    data = pd.DataFrame({"student": np.arange(n) % 200, "on": np.arange(n) // 200 % 2, "y": rng.normal(0, 1, n)})
    held = cl.moments("y ~ on + (1 + on | student)", data)
    held.save(tmp_path / "held.npz")
    assert (tmp_path / "held.npz").stat().st_size < 1.2 * held.size_bytes + 8000  # names and the archive's own headers
