"""How fits and answers show themselves: what a reader looks for stands there, and no digit that says nothing."""

import re
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest
from mixed.references import fit, table

import coachlab as cl
from coachlab.mixed.sheet import Sheet, decimals, number


def shown(value):
    """The cells of each table of a page, row by row, as a reader sees them, and the page's whole text."""

    class Reader(HTMLParser):
        tables, texts, hidden, style = [], [], 0, False

        def handle_starttag(self, tag, attrs):
            self.style |= tag == "style"
            if tag == "table":
                self.tables.append([])
            if tag == "tr":
                self.tables[-1].append([])
            if tag in ("td", "th"):
                self.tables[-1][-1].append("")
            if ("class", "pad") in attrs:
                self.hidden += 1

        def handle_endtag(self, tag):
            self.style &= tag != "style"
            if tag == "span" and self.hidden:
                self.hidden -= 1

        def handle_data(self, data):
            if self.style or self.hidden:
                return
            self.texts.append(data)
            if self.tables and self.tables[-1] and self.tables[-1][-1]:
                self.tables[-1][-1][-1] += data

    reader = Reader()
    reader.tables, reader.texts = [], []
    reader.feed(value._repr_html_())
    return reader.tables, " ".join(reader.texts)


def test_a_fit_says_what_was_asked_of_how_many_rows_and_levels():
    for said in (shown(fit("unbalanced"))[1], fit("unbalanced").text()):
        assert "y by on, per_c and lshot_c, grouped by student, session and block." in said
        data = table("unbalanced")
        levels = {name: data[name].nunique() for name in ("student", "session", "block")}
        assert f"{len(data):,} rows; {levels['student']} levels of student, {levels['session']} of session" in said


def test_estimates_stand_with_their_intervals_to_two_digits_of_the_error():
    (estimates, _), _ = shown(fit("unbalanced"))
    assert estimates[0] == ["", "estimate", "SE", "95 % interval", "df"]
    wanted = fit("unbalanced").coefficients().table
    assert [row[0] for row in estimates[1:]] == list(wanted["term"])
    for row, own in zip(estimates[1:], wanted.itertuples(), strict=True):
        digits = decimals(own.se)
        assert row[1:4] == [
            number(own.estimate, digits),
            number(own.se, digits),
            f"{number(own.low, digits)} to {number(own.high, digits)}",
        ]


def test_spreads_stand_with_what_they_are_of():
    (_, spreads), said = shown(fit("unbalanced"))
    own = fit("unbalanced").components.query("other != other")
    assert len(spreads) == 1 + len(own)
    assert spreads[1][1:3] == ["the mean", number(own["sd_or_corr"].iloc[0], decimals(own["sd_or_corr"].max() / 10))]
    assert spreads[2][3].endswith("with the mean")
    assert spreads[-1][:2] == ["within levels (residual)", "one row"]
    assert "two in three levels lie within one SD" in said


def test_a_spread_of_none_is_a_plain_zero():
    found = fit("singular")
    zero = (found.components["sd_or_corr"] < 1e-4 * found.sigma) & found.components["other"].isna()
    (_, spreads), said = shown(found)
    assert [row[2] for row in spreads[1:]].count("0") == zero.sum()
    assert "To mind" in said and "Singular" in said
    assert "Nothing to mind" not in said


def test_nothing_to_mind_is_said_too():
    assert not fit("balanced").checks
    assert "Nothing to mind" in shown(fit("balanced"))[1] and "Nothing to mind" in fit("balanced").text()


def test_what_is_not_estimable_is_said_where_its_numbers_would_stand(rng):
    data = table("unbalanced").assign(off=lambda d: 1 - d["on"])
    found = cl.fit_mixed("y ~ on + off + (1 | student)", data)
    (estimates, _), said = shown(found)
    assert estimates[-1] == ["off", "not estimable", "", "", ""]
    assert "Not estimable" in said
    assert "off is not estimable." in found.text()


def test_levels_of_a_factor_stand_together_below_its_name():
    (estimates, _), _ = shown(fit("cues"))
    rows = [row[0] for row in estimates]
    cues = [str(level) for level in table("cues")["cue"].cat.categories]
    at = rows.index(f"cue, against {cues[0]}")
    assert rows[at + 1 : at + len(cues)] == cues[1:]


def test_residual_spreads_by_group_are_listed_by_level():
    found = cl.fit_mixed("y ~ cue + x + (1 + x | student)", table("weighted"), residual_by="pattern")
    (_, spreads), said = shown(found)
    levels = sorted(table("weighted")["pattern"].unique())
    assert [row[1] for row in spreads[-len(levels) :]] == [f"one row, {level}" for level in levels]
    assert f"Each of the {len(levels)} levels of pattern has its own residual spread." in said


def test_held_spreads_and_weights_are_said():
    found = cl.fit_mixed("y ~ x + (1 | student) + (1 | coach)", table("weighted"), weights="w", fixed={"coach": 0.7})
    (_, spreads), said = shown(found)
    assert any(row[2].endswith("(held)") for row in spreads if "coach" in row[0])
    assert "Rows are weighted." in said


def test_small_numbers_are_told_in_one_power_of_ten_and_never_with_an_e():
    data = table("unbalanced")
    small = cl.fit_mixed("y ~ on + (1 | student)", data.assign(y=1e-7 * data["y"]))
    usual = cl.fit_mixed("y ~ on + (1 | student)", data)
    assert "Estimates, in units of 10⁻" in small.text()
    for found in (small, usual):
        assert not re.search(r"\de[-+]\d", shown(found)[1] + found.text())


def test_forty_coefficients_have_a_row_each(rng):
    n = 2000
    data = pd.DataFrame({"g": rng.integers(0, 30, n), "a": rng.integers(0, 8, n), "b": rng.integers(0, 5, n)})
    data = data.assign(a="a" + data["a"].astype(str), b="b" + data["b"].astype(str), y=rng.normal(0, 1, n))
    found = cl.fit_mixed("y ~ a * b + (1 | g)", data)
    (estimates, _), _ = shown(found)
    assert len([row for row in estimates[1:] if len(row) > 1]) == 40
    assert [row[0] for row in estimates if len(row) == 1] == ["a, against a0", "b, against b0", "a × b"]


def test_coefficients_means_and_differences_show_as_tables_of_their_own():
    found = fit("cues").coefficients("kenward-roger")
    (rows,), said = shown(found)
    assert rows[0][-1] == "p" and "Kenward and Roger's" in said
    (rows,), _ = shown(cl.means(fit("both"), "cue", by="on"))
    assert [row[0] for row in rows if len(row) == 1] == ["at 0", "at 1"]
    (rows,), _ = shown(cl.contrasts(fit("cues"), "cue", adjust="holm"))
    assert rows[0][-1] == "p, adjusted"
    assert all(row[-1] == "< 0.001" or re.fullmatch(r"[01]\.\d{3}", row[-1]) for row in rows[1:])


def test_long_tables_of_predictions_say_how_many_rows_are_not_shown():
    new = table("cues")
    (rows,), _ = shown(cl.predictions(fit("cues"), new))
    assert rows[-1][0] == f"and {len(new) - 30:,} rows more in .table"


def test_what_comes_from_data_is_escaped():
    data = table("cues").assign(cue=table("cues")["cue"].astype(str).replace("alder", "<b>alder</b>"))
    page = cl.fit_mixed("y ~ cue + (1 | student)", data)._repr_html_()
    assert "<b>alder" not in page and "&lt;b&gt;alder" in page


def test_a_sheet_sets_decimal_points_below_each_other():
    text = Sheet("", ("", "x"), [("a", "1.25"), ("b", "10"), ("c", "0.5")]).text().splitlines()
    assert [line.find(".") for line in (text[1], text[3])] == [text[2].find("0") + 1] * 2


@pytest.mark.parametrize(
    ("se", "digits"), [(0.34, 2), (0.099, 3), (0.1, 2), (9.9, 1), (10.0, 0), (250.0, 0), (np.nan, None), (0.0, None)]
)
def test_an_estimate_has_two_digits_of_its_error(se, digits):
    assert decimals(se) == digits
