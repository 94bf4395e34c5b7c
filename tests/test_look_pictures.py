"""Pictures of the twelve looks: read back from the axes and held against the value that was drawn."""

from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

import coachlab as cl
from coachlab.cues.diagnose import diagnose
from coachlab.cues.looks import GOOD, LOOK, NAMES
from coachlab.plots import LOOK_PICTURES, describe_diagnostics, describe_look, plot_diagnostics
from coachlab.plots.diagnostics import LAYOUT, draw_look
from coachlab.plots.looks import (
    plot_blocks,
    plot_ladder,
    plot_left_out,
    plot_lineup,
    plot_screening,
    plot_student_shifts,
)
from coachlab.plots.residuals import plot_drift, plot_effects, plot_neighbours, plot_residuals, plot_wobble

YARD_M = 0.9144


@pytest.fixture(scope="module", autouse=True)
def no_window():
    with mpl.rc_context({"backend": "agg"}):
        yield


@pytest.fixture(scope="module")
def academy():
    return cl.simulate_academy(students=18, seed=3, rogue=False, cues=["S1", "I2"], lessons=2)


@pytest.fixture(scope="module")
def found(academy):
    return diagnose(cl.model_table(academy.shots, cues=academy.cues), "S1", shots=academy.shots, sets=199, seed=1)


@pytest.fixture
def ax():
    return Figure(figsize=(6, 4)).subplots()


def points(ax):
    """All drawn marks as rows of x and y."""
    marked = [line.get_xydata() for line in ax.lines if line.get_linestyle() == "None" and len(line.get_xdata())]
    return np.concatenate(marked)


def bars(ax):
    """Ends of all intervals, across."""
    return [part for each in ax.collections if isinstance(each, LineCollection) for part in each.get_segments()]


def words(ax):
    legend = ax.get_legend()
    return [text.get_text() for text in legend.get_texts()] if legend else []


def test_each_block_is_a_mark_with_its_interval_and_a_students_blocks_are_joined(found, ax):
    plot_blocks(found, ax)
    blocks = found.seen.blocks
    np.testing.assert_allclose(np.sort(points(ax)[:, 1]), np.sort(blocks["mean"]), atol=1e-9)
    ends = np.array([sorted(segment[:, 1]) for segment in bars(ax)])
    np.testing.assert_allclose(np.sort(ends[:, 0]), np.sort(blocks["low"]), atol=1e-9)
    joined = [line for line in ax.lines if line.get_linestyle() == "-" and len(line.get_xdata()) > 1]
    assert len(joined) == blocks["student"].nunique()
    assert {"plain block", "with S1 ball-forward", "95 % interval of a block's mean"} == set(words(ax))


def test_raw_and_shrunken_shifts_stand_in_one_row_a_student(found, ax):
    plot_student_shifts(found, ax)
    students = found.seen.students.sort_values("shift")
    raw, drawn = (line.get_xdata() for line in ax.lines if len(line.get_xdata()) == len(students))
    np.testing.assert_allclose(raw, students["shift"])
    np.testing.assert_allclose(drawn, students["shrunken"])
    assert len(bars(ax)) == 2 * len(students)
    assert ax.get_yticklabels() == []


@pytest.mark.parametrize("plot", [plot_residuals])
def test_the_quantiles_are_those_of_the_envelope_and_those_outside_are_marked(found, ax, plot):
    plot(found, ax)
    table = found.seen.residual.table
    assert len(points(ax)) == len(table)
    outside = ((table["observed"] < table["low"]) | (table["observed"] > table["high"])).sum()
    diamonds = sum(len(line.get_xdata()) for line in ax.lines if line.get_marker() == "D")
    assert diamonds == outside
    assert "95 % band of simulated studies" in words(ax)
    assert len(ax.collections) == 1


def test_the_wobble_has_a_row_for_club_plain_cue_and_each_student(found, ax):
    plot_wobble(found, ax)
    students = found.seen.spreads["student"].table
    assert len(points(ax)) == len(students) + 3
    assert len(bars(ax)) == len(students) + 3
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert labels == ["7-iron", "plain", "with cue", f"{len(students)} students"]
    assert ax.get_xlim()[0] == 0


def test_the_drift_has_its_slope_band_and_the_means_of_runs(found, ax):
    plot_drift(found, ax)
    runs = found.seen.by_shot
    means = next(line for line in ax.lines if line.get_marker() == "o" and len(line.get_xdata()) == len(runs))
    np.testing.assert_allclose(means.get_ydata(), runs["mean"])
    made = found.seen.by_slope
    slope = next(line for line in ax.lines if len(line.get_xdata()) == len(made) and line.get_linestyle() == "-")
    np.testing.assert_allclose(slope.get_ydata(), made["mean"])
    assert any("band" in text for text in words(ax))


def test_neighbours_are_pairs_of_one_block_with_the_line_of_their_correlation(found, ax):
    plot_neighbours(found, ax)
    assert len(points(ax)) == found.seen.neighbours.pairs
    lines = {round(line.get_ydata()[-1] / line.get_xdata()[-1], 6) for line in ax.lines if len(line.get_xdata()) == 3}
    assert lines == {round(found.seen.neighbours.rho, 6), 0.3, -0.3}


def test_each_part_of_the_model_has_small_axes_with_a_band(found, ax):
    plot_effects(found, ax)
    assert len(ax.child_axes) == len(found.seen.effects)
    for small, each in zip(ax.child_axes, found.seen.effects.values(), strict=True):
        assert len(points(small)) == len(each.table)
        assert len(small.collections) == 1


def test_each_student_left_out_is_a_row_and_another_verdict_has_another_mark(found, ax):
    plot_left_out(found, ax)
    without = found.seen.without
    np.testing.assert_allclose(np.sort(points(ax)[:, 0]), np.sort(without["estimate"]))
    ends = np.array([segment[:, 0] for segment in bars(ax)])
    np.testing.assert_allclose(np.sort(ends[:, 0]), np.sort(without["low"]))
    other = Figure().subplots()
    plot_left_out(replace(found, verdict="none of these"), other)
    assert "another verdict" in words(other)
    assert {line.get_marker() for line in other.lines if len(line.get_xdata()) > 2} == {"D"}


def test_the_screening_picture_has_the_level_line_the_fit_with_its_band_and_regression_to_the_mean(found, ax):
    plot_screening(found, ax)
    s = found.seen.screening
    lines = [line for line in ax.lines if len(line.get_xdata()) == len(s.line)]
    slopes = [np.diff(line.get_ydata())[0] / np.diff(line.get_xdata())[0] for line in lines]
    assert slopes == pytest.approx([s.slope, s.alone])
    assert any(list(line.get_ydata()) == [0, 0] for line in ax.lines)
    assert "regression to the mean" in words(ax)
    assert len(points(ax)) == s.students


def test_the_ladder_marks_the_rung_taken(found, ax):
    plot_ladder(found, ax)
    full = [
        line.get_ydata()[0] for line in ax.lines if line.get_markerfacecolor() != "white" and line.get_marker() == "o"
    ]
    assert full == ["abcde".index(found.answer.ladder.rung)]
    text = " ".join(text.get_text() for text in ax.texts)
    assert "search ended at a minimum: yes" in text
    assert "single shots" in text


def test_the_line_up_shows_nine_alike_panels_and_no_word_on_which_is_real(found, ax):
    plot_lineup(found, ax)
    assert [small.get_title() for small in ax.child_axes] == [str(number) for number in range(1, 10)]
    blocks = len(found.seen.blocks)
    assert {len(points(small)) for small in ax.child_axes} == {blocks}
    assert len({small.get_ylim() for small in ax.child_axes}) == 1


def test_units_of_the_academy_are_those_of_the_axes(academy):
    table = cl.model_table(academy.shots, outcome="carry_m", cues=academy.cues)
    one = diagnose(table, "S1", sets=199, seed=1)
    ax = plot_blocks(one, Figure().subplots())
    assert "(yd)" in ax.get_ylabel()
    np.testing.assert_allclose(np.sort(points(ax)[:, 1]), np.sort(one.seen.blocks["mean"] / YARD_M))


def test_the_page_has_twelve_pictures_in_their_order_with_the_signs_of_the_table(found):
    figure = plot_diagnostics(found)
    heads = [part._suptitle.get_text() for row in figure.subfigs for part in row.subfigs]
    assert heads == [f"{number}  {name}" for number, name in enumerate(NAMES, 1)]
    raised = sum(text.get_text() == "▲ look" for row in figure.subfigs for part in row.subfigs for text in part.texts)
    assert raised == (found.table["sign"] == LOOK).sum()


def test_the_first_look_is_as_wide_as_the_page():
    assert LAYOUT[1][0] == 6
    assert sorted(LAYOUT) == list(range(1, 13))
    assert draw_look.__doc__


@pytest.mark.parametrize("number", range(1, 13))
def test_every_picture_has_words_for_whoever_does_not_see_it(found, number):
    said = describe_look(found, number)
    assert GOOD[number - 1] in said
    assert found.table["remark"].iloc[number - 1] in said
    assert NAMES[number - 1] in said
    assert "7-iron attack with S1 ball-forward" in describe_diagnostics(found)


@pytest.mark.parametrize("number", range(1, 13))
def test_where_a_look_is_not_to_be_had_the_picture_says_so(found, number):
    bare = replace(
        found,
        seen=replace(
            found.seen, screening=None, shots=None, by_shot=None, residual=None, effects=None, spreads=None, drift=None, by_slope=None,
            neighbours=None, without=None, lineup=None, panels=None,
        ),
    )  # fmt: skip
    ax = LOOK_PICTURES[number - 1](bare, ax=Figure().subplots())
    said = " ".join(text.get_text() for text in ax.texts)
    if number in (3, 4, 5, 6, 7, 8, 12):
        assert "not to be had from this model" in said
    if number == 9:
        assert "fewer than six screened students" in said


def test_no_picture_names_a_student(found, academy):
    names = set(academy.shots.table["student"].astype("str"))
    for plot in LOOK_PICTURES:
        ax = plot(found, ax=Figure().subplots())
        shown = {text.get_text() for text in ax.findobj(mpl.text.Text)}
        assert shown.isdisjoint(names)
