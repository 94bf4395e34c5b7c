"""Pictures: labels, limits and data are read back from the axes and held against the value that was drawn."""

from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

import coachlab as cl
from coachlab.cues.compare import pattern_shifts
from coachlab.cues.table import flow
from coachlab.plots import (
    describe_flow,
    describe_paired,
    describe_patterns,
    describe_shift_against_pattern,
    describe_shifts,
    plot_flow,
    plot_paired,
    plot_patterns,
    plot_shift_against_pattern,
    plot_shifts,
)
from coachlab.settings import Settings
from coachlab.units import shown

YARD_M = 0.9144


@pytest.fixture(scope="module", autouse=True)
def no_window():
    with mpl.rc_context({"backend": "agg"}):
        yield


@pytest.fixture(scope="module")
def academy():
    return cl.simulate_academy(students=30, seed=3, rogue=False, cues=["S1", "S2", "I1", "I2"], lessons=4)


@pytest.fixture(scope="module")
def table(academy):
    return cl.model_table(academy.shots, cues=academy.cues)


@pytest.fixture(scope="module")
def shifts(table):
    return cl.cue_shifts(table)


@pytest.fixture(scope="module")
def patterns(table):
    return pattern_shifts(table)


@pytest.fixture
def ax():
    return Figure(figsize=(9, 4)).subplots()


# The average shifts ---------------------------------------------------------------------------------------------------


def test_each_row_shows_the_estimate_and_the_interval_of_its_cue(shifts, academy, ax):
    plot_shifts(shifts, academy.cues, ax)
    drawn = intervals(ax)
    for row in shifts.table.itertuples():
        place = rows(ax).index(shifts.names[row.cue])
        assert drawn[place] == pytest.approx((row.low, row.high))
        assert points(ax)[place] == pytest.approx(row.estimate)


def test_rows_go_by_family_and_id_and_never_by_estimate(shifts, academy, ax):
    plot_shifts(shifts, academy.cues, ax)
    turned = replace(shifts, table=shifts.table.assign(estimate=-shifts.table["estimate"]).iloc[::-1])
    other = plot_shifts(turned, academy.cues, Figure().subplots())
    assert rows(ax) == ["S1 ball-forward", "S2 foot-back", "I1 coin-ahead", "I2 rafter"]
    assert rows(other) == rows(ax)


def test_marker_and_colour_both_tell_the_family(shifts, academy, ax):
    plot_shifts(shifts, academy.cues, ax)
    words = {label.get_text() for label, _ in legend(ax)}
    setup, intent = (
        {(line.get_marker(), line.get_color()) for line in ax.lines if place in line.get_ydata()} for place in (0, 2)
    )
    assert setup.isdisjoint(intent)
    assert {marker for marker, _ in setup}.isdisjoint({marker for marker, _ in intent})
    assert {colour for _, colour in setup}.isdisjoint({colour for _, colour in intent})
    assert {"setup cue", "intent cue"} <= words


def test_the_band_is_the_smallest_useful_shift_around_no_shift(table, academy, ax):
    settings = Settings(smallest_useful={"attack_up_deg": 0.8})
    plot_shifts(cl.cue_shifts(table, settings), academy.cues, ax)
    assert band(ax) == pytest.approx((-0.8, 0.8))
    assert any(list(line.get_xdata()) == [0, 0] for line in ax.lines)
    assert "too small to matter (within 0.8°)" in [label.get_text() for label, _ in legend(ax)]


def test_grade_students_and_verdict_stand_beside_the_row_in_words(shifts, academy, ax):
    plot_shifts(shifts, academy.cues, ax)
    beside = {round(text.get_position()[1]): text.get_text() for text in ax.texts}
    for row in shifts.table.itertuples():
        words = beside[rows(ax).index(shifts.names[row.cue])]
        assert words == f"{row.verdict or 'no verdict yet'}\ngrade {row.grade}, {row.students} students"


def test_a_cue_without_an_estimate_keeps_its_row_and_says_why(shifts, academy, ax):
    some = shifts.table.copy()
    some.loc[some["cue"] == "S2", ["estimate", "low", "high"]] = np.nan
    some.loc[some["cue"] == "I1", ["estimate", "low", "high", "grade"]] = [np.nan, np.nan, np.nan, "D"]
    poorer = replace(shifts, table=some)
    plot_shifts(poorer, academy.cues, ax)
    beside = [text.get_text() for text in ax.texts]
    assert len(rows(ax)) == 4
    assert beside[1].startswith("too few for a mean\n")
    assert beside[2].startswith("counted, not compared\n")
    said = describe_shifts(poorer, academy.cues)
    assert "S2 foot-back: no estimate, too few for a mean" in said
    assert "I1 coin-ahead: no estimate, counted, not compared" in said


@pytest.mark.parametrize(("system", "unit", "factor"), [("yards", "yd", 1 / YARD_M), ("metres", "m", 1.0)])
def test_carry_is_shown_in_the_academys_unit(academy, system, unit, factor):
    settings = Settings(units=system)
    carry = cl.cue_shifts(cl.model_table(academy.shots, "carry_m", cues=academy.cues), settings)
    ax = plot_shifts(carry, academy.cues, Figure().subplots())
    first = carry.table.set_index("cue").loc["S1"]
    assert intervals(ax)[0] == pytest.approx((first["low"] * factor, first["high"] * factor))
    assert ax.get_xlabel() == f"shift of 7-iron carry ({unit}; plus is longer)"
    assert f" {unit} " in describe_shifts(carry, academy.cues)
    paired = plot_paired(carry, "S1", academy.cues, Figure().subplots())
    assert paired.get_ylabel() == f"7-iron carry ({unit})"


# For whom -------------------------------------------------------------------------------------------------------------


def test_patterns_stand_in_the_rows_of_the_shifts_with_their_intervals(shifts, patterns, academy, ax):
    plot_patterns(patterns, academy.cues, ax)
    assert rows(ax) == rows(plot_shifts(shifts, academy.cues, Figure().subplots()))
    drawn = intervals(ax)
    assert len(drawn) == len(patterns.table) == 12
    for row in patterns.table.itertuples():
        place = rows(ax).index(patterns.names[row.cue])
        near = {y: ends for y, ends in drawn.items() if abs(y - place) < 0.5}
        assert any(ends == pytest.approx((row.low, row.high)) for ends in near.values())


def test_the_legend_says_where_on_the_scale_each_pattern_stands(patterns, academy, ax):
    plot_patterns(patterns, academy.cues, ax)
    at = patterns.table.drop_duplicates("pattern")
    assert [label.get_text() for label, _ in legend(ax)] == [
        f"{row.pattern}, {row.at:.1f}°".replace("-", "−") for row in at.itertuples()
    ]
    assert ax.get_legend().get_title().get_text() == "students whose screening attack is"


def test_a_pattern_is_not_drawn_below_grade_a_or_from_few_screened_students(patterns, table, academy, ax):
    lesser = replace(patterns, grades={**patterns.grades, "I2": "B"})
    plot_patterns(lesser, academy.cues, ax)
    assert [text.get_text().strip() for text in ax.texts] == ["not asked at grade B"]
    assert len(intervals(ax)) == 9
    few = pattern_shifts(table, settings=Settings(pattern_students=99))
    other = plot_patterns(few, academy.cues, Figure().subplots())
    assert {text.get_text().strip() for text in other.texts} == {"fewer than 99 have a screening block"}
    assert intervals(other) == {}
    assert "S1 ball-forward: fewer than 99 have a screening block" in describe_patterns(few, academy.cues)


def test_shift_against_pattern_shows_every_student_and_the_fitted_line_with_its_band(shifts, patterns, academy, ax):
    plot_shift_against_pattern(shifts, "I2", patterns, academy.cues, ax)
    students = shifts.students[shifts.students["cue"] == "I2"]
    dots = next(line for line in ax.lines if len(line.get_xdata()) == len(students))
    assert list(dots.get_xdata()) == pytest.approx(list(students["pattern"]), nan_ok=True)
    assert list(dots.get_ydata()) == pytest.approx(list(students["shift"]))
    line = patterns.table[patterns.table["cue"] == "I2"]
    fitted = next(found for found in ax.lines if len(found.get_xdata()) == 3)
    assert list(fitted.get_ydata()) == pytest.approx(list(line["estimate"]))
    edge = ax.collections[0].get_paths()[0].vertices
    assert edge[:, 1].min() == pytest.approx(line["low"].min())
    assert edge[:, 1].max() == pytest.approx(line["high"].max())
    assert ax.get_xlabel() == "screening 7-iron attack (°)"
    assert any(list(found.get_ydata()) == [0, 0] for found in ax.lines)


def test_without_a_fitted_line_the_picture_says_so(shifts, table, academy, ax):
    few = pattern_shifts(table, settings=Settings(pattern_students=99))
    plot_shift_against_pattern(shifts, "I2", few, academy.cues, ax)
    assert ax.texts[0].get_text() == "no line: fewer than 99 have a screening block"
    assert "no line: fewer than 99" in describe_shift_against_pattern(shifts, "I2", few)


def test_a_slope_is_told_in_words_with_the_sign_that_its_claim_has(shifts, patterns):
    slope = patterns.slopes.set_index("cue").loc["I2"]
    told = describe_shift_against_pattern(shifts, "I2", patterns)
    said = shown("attack_up_deg").text(-slope["estimate"], sign=True)
    assert f"changes by {said} for each degree steeper" in told


# Every student --------------------------------------------------------------------------------------------------------


def test_each_student_is_a_line_from_plain_to_cue_in_order_of_the_pattern(shifts, academy, ax):
    plot_paired(shifts, "S1", academy.cues, ax)
    students = shifts.students[shifts.students["cue"] == "S1"].sort_values("pattern")
    lines = [path.vertices for path in line_collections(ax)[0].get_paths()]
    assert [line[0][1] for line in lines] == pytest.approx(list(students["plain"]))
    assert [line[1][1] for line in lines] == pytest.approx(list(students["cued"]))
    assert ax.get_xlabel() == f"{len(students)} students, lowest to highest at screening"


def test_the_mean_shift_stands_on_the_mean_plain_value_with_its_interval(shifts, academy, ax):
    plot_paired(shifts, "S1", academy.cues, ax)
    plain = shifts.students.loc[shifts.students["cue"] == "S1", "plain"].mean()
    answer = shifts.table.set_index("cue").loc["S1"]
    (ends,) = (path.vertices[:, 1] for path in line_collections(ax)[1].get_paths())
    assert list(ends) == pytest.approx([plain + answer["low"], plain + answer["high"]])


def test_no_picture_and_no_sentence_bears_a_students_pseudonym(shifts, patterns, academy):
    figure = Figure()
    first, second = figure.subplots(1, 2)
    plot_paired(shifts, "S1", academy.cues, first)
    plot_shift_against_pattern(shifts, "S1", patterns, academy.cues, second)
    words = " ".join(text.get_text() for text in figure.findobj(mpl.text.Text))
    words += describe_paired(shifts, "S1") + describe_shift_against_pattern(shifts, "S1", patterns)
    assert "students" in words
    assert not [student for student in shifts.students["student"].unique() if student in words.split()]


# The flow -------------------------------------------------------------------------------------------------------------


def test_the_flow_shows_what_is_left_and_every_loss(academy, table, ax):
    steps = flow(academy.shots, table)
    plot_flow(steps, ax)
    bars = {round(bar.get_y() + bar.get_height() / 2): bar for bar in ax.patches}
    for place, row in enumerate(steps.itertuples()):
        assert bars[place].get_width() == abs(row.shots)
        if row.shots > 0:
            assert bars[place].get_x() == 0
    # a loss hangs where the bar above ends, so that what is left can be seen to follow
    loss = steps.index[(steps["shots"] < 0)][-1]
    assert bars[loss].get_x() + bars[loss].get_width() == steps["shots"][loss - 1]
    assert rows(ax) == list(steps["step"])
    counts = [text.get_text() for text in ax.texts]
    assert counts[0] == f"{len(academy.shots.raw):,}"
    assert counts[-1] == f"{len(table):,}, {table['student'].nunique()} students"


def test_the_flow_in_words_names_every_step(academy, table):
    steps = flow(academy.shots, table)
    said = describe_flow(steps)
    assert all(step in said for step in steps["step"])


# All of them ----------------------------------------------------------------------------------------------------------


def test_pictures_draw_in_the_axes_they_are_given_and_set_no_title(shifts, patterns, academy, table):
    draws = [
        lambda ax: plot_shifts(shifts, academy.cues, ax),
        lambda ax: plot_patterns(patterns, academy.cues, ax),
        lambda ax: plot_paired(shifts, "S1", academy.cues, ax),
        lambda ax: plot_shift_against_pattern(shifts, "S1", patterns, academy.cues, ax),
        lambda ax: plot_flow(flow(academy.shots, table), ax),
    ]
    for draw in draws:
        ax = Figure(figsize=(5, 3)).subplots()
        size = tuple(ax.figure.get_size_inches())
        assert draw(ax) is ax
        assert ax.get_title() == ""
        assert ax.get_xlabel() != ""
        assert tuple(ax.figure.get_size_inches()) == size


def test_without_axes_new_ones_make_room_for_the_words_beside_the_rows(shifts, academy):
    ax = plot_shifts(shifts, academy.cues)
    ax.figure.draw_without_rendering()
    edge = ax.figure.bbox
    boxes = [text.get_window_extent() for text in [*ax.texts, *ax.get_yticklabels()]]
    assert len(boxes) == 8
    assert all(edge.x0 <= box.x0 and box.x1 <= edge.x1 for box in boxes)
    mpl.pyplot.close(ax.figure)


@pytest.mark.parametrize("plot", [plot_shifts, plot_patterns])
def test_as_narrow_as_a_phone_names_stand_above_their_rows_and_nothing_is_cut(shifts, patterns, academy, plot):
    value = shifts if plot is plot_shifts else patterns
    figure = Figure(figsize=(3.4, 4.2))
    ax = plot(value, academy.cues, figure.add_axes((0.03, 0.17, 0.94, 0.66)), narrow=True)
    figure.draw_without_rendering()
    names = [text.get_text() for text in ax.texts if text.get_fontweight() == "bold"]
    assert names == [value.names[cue] for cue in ("S1", "S2", "I1", "I2")]
    words = [text.get_window_extent() for text in ax.texts if text.get_text()]
    seen = [*words, ax.get_legend().get_window_extent(), ax.xaxis.label.get_window_extent()]
    assert all(box.x0 >= 0 and box.x1 <= figure.bbox.x1 for box in seen)
    assert all(box.y0 >= 0 and box.y1 <= figure.bbox.y1 for box in seen)
    for place, drawn in intervals(ax).items():
        line = ax.transData.transform([(end, place) for end in drawn])
        assert not [box for box in words if box.y0 <= line[0, 1] <= box.y1]  # above, at any height of their lines


def test_why_a_cue_has_no_pattern_is_not_struck_through_by_the_line_of_no_shift(table, ax):
    few = pattern_shifts(table, settings=replace(Settings(), pattern_students=1000))
    plot_patterns(few, None, ax)
    said = [text for text in ax.texts if text.get_text().startswith("fewer than 1000")]
    assert len(said) == 4
    line = max(line.get_zorder() for line in ax.lines)
    for text in said:
        assert text.get_bbox_patch().get_facecolor()[:3] == (1, 1, 1)
        assert text.get_zorder() > line


def test_the_values_that_are_drawn_stay_as_they_were(shifts, patterns, academy, ax):
    before = [frame.copy() for frame in (shifts.table, shifts.students, patterns.table, academy.cues)]
    plot_shifts(shifts, academy.cues, ax)
    plot_patterns(patterns, academy.cues, Figure().subplots())
    plot_paired(shifts, "S1", academy.cues, Figure().subplots())
    for old, new in zip(before, (shifts.table, shifts.students, patterns.table, academy.cues), strict=True):
        pd.testing.assert_frame_equal(old, new)


def rows(ax):
    return [label.get_text() for label in ax.get_yticklabels()]


def legend(ax):
    found = ax.get_legend()
    return list(zip(found.get_texts(), found.legend_handles, strict=True))


def line_collections(ax):
    return [found for found in ax.collections if isinstance(found, LineCollection)]


def intervals(ax):
    """The ends of each horizontal line, by its height."""
    paths = [path.vertices for lines in line_collections(ax) for path in lines.get_paths()]
    return {float(ends[0][1]): (float(ends[0][0]), float(ends[1][0])) for ends in paths}


def points(ax):
    """The place of each mark along x, by its height."""
    marks = [line for line in ax.lines if line.get_linestyle() == "None"]
    return {float(y): float(x) for line in marks for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)}


def band(ax):
    box = ax.patches[0].get_bbox() if hasattr(ax.patches[0], "get_bbox") else ax.patches[0].get_extents()
    return box.x0, box.x1
