"""A second opinion: both programs side by side; whatever the other one does is told in words and never raised."""

import warnings
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

import coachlab as cl
from coachlab.cues.second import second_opinion


def lessons(seed=0, students=12, tau=1.0, shots=6):
    rng = np.random.default_rng(seed)
    rows = []
    for student in range(students):
        own, slope = rng.normal(-4, 2), rng.normal(1, tau)
        for period in range(4):
            on = float((period + student) % 2)
            block = rng.normal(0, 0.8)
            for i in range(shots):
                number = period * shots + i + 1.0
                value = own + on * slope + block + rng.normal(0, 1.8)
                plan = "X plain X plain" if student % 2 else "plain X plain X"
                rows.append(
                    (f"s{student:02d}", f"v{student}", f"v{student}/{period}", period + 1.0, on, number, value, plan)
                )
    names = ["student", "session", "block", "period", "on", "shot_in_session", "attack_up_deg", "order_plan"]
    frame = pd.DataFrame(rows, columns=names)
    frame["cue"] = pd.Categorical(np.where(frame["on"] > 0, "X", "plain"), categories=["plain", "X"])
    log = np.log(frame["shot_in_session"])
    return frame.assign(
        coach="c1", club="iron-7", order_seed="1", offered="drawn", screened=True, pattern=np.nan, pat_c=np.nan,
        per_c=frame["period"] - 2.5, lshot_c=log - log.mean(),
    )  # fmt: skip


@pytest.fixture(scope="module")
def table():
    return lessons()


@pytest.fixture(scope="module")
def opinion(table):
    return second_opinion(table, "X")


def cell(opinion, what, side):
    return opinion.table.set_index("what").loc[what, side]


def number(text):
    return float(text.split()[0].rstrip("°").replace("−", "-"))


def test_theirs_is_what_statsmodels_gives_when_called_by_hand(table, opinion):
    rows = table.astype({"student": "object", "block": "object"})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = smf.mixedlm(
            "attack_up_deg ~ on + per_c + lshot_c",
            rows,
            groups="student",
            re_formula="1 + on",
            vc_formula={"b": "0 + C(block)"},
        )
        theirs = model.fit(reml=True)
    # two digits are shown
    assert number(cell(opinion, "shift", "theirs")) == pytest.approx(theirs.params["on"], abs=0.0051)
    assert number(cell(opinion, "standard error", "theirs")) == pytest.approx(theirs.bse["on"], abs=0.0051)
    assert number(cell(opinion, "SD of blocks", "theirs")) == pytest.approx(np.sqrt(theirs.vcomp[0]), abs=0.0051)
    assert number(cell(opinion, "SD of single shots", "theirs")) == pytest.approx(np.sqrt(theirs.scale), abs=0.0051)
    assert float(cell(opinion, "−2 log likelihood", "theirs")) == pytest.approx(-2 * theirs.llf, abs=0.0051)


def test_both_agree_on_a_sound_study_and_z_is_said_to_be_too_sure(opinion):
    assert opinion.fitted
    assert opinion.agrees
    assert cell(opinion, "shift", "remark") == "the same"
    assert cell(opinion, "−2 log likelihood", "remark") == "the same optimum"
    assert "12 students" in cell(opinion, "degrees of freedom", "remark")
    assert "too narrow" in cell(opinion, "degrees of freedom", "remark")
    ours, theirs = (cell(opinion, "95 % interval", side).split(" to ") for side in ("ours", "theirs"))
    assert number(ours[0]) < number(theirs[0])
    assert number(ours[1]) > number(theirs[1])
    assert "z in place of t" in opinion.text()


def test_the_columns_are_fixed_and_the_ours_side_is_that_of_the_shifts(table, opinion):
    assert list(opinion.table.columns) == ["what", "ours", "theirs", "remark"]
    row = cl.cue_shifts(table).table.iloc[0]
    assert number(cell(opinion, "shift", "ours")) == pytest.approx(row["estimate"], abs=0.0051)
    ends = cell(opinion, "95 % interval", "ours").split(" to ")
    assert [number(end) for end in ends] == pytest.approx([row["low"], row["high"]], abs=0.0051)


def test_uncorrelated_terms_are_fitted_there_too():
    found = second_opinion(lessons(seed=6, tau=0.0), "X")
    assert found.fitted
    assert "SD of students' shifts" in set(found.table["what"])
    assert "correlation of start and shift" not in set(found.table["what"])


def test_the_other_program_never_finds_a_better_optimum():
    for seed in range(1, 5):  # small studies, in which its searches often stop early
        found = second_opinion(lessons(seed), "X")
        assert found.fitted
        assert "ours is not the best" not in found.text()


def failing(*args, **kwargs):
    raise np.linalg.LinAlgError("Singular matrix")


def test_an_error_of_the_other_program_is_a_row_in_plain_words(table, monkeypatch):
    monkeypatch.setattr(smf, "mixedlm", failing)
    found = second_opinion(table, "X")
    assert not found.fitted
    assert len(found.table) == 1
    assert found.table["theirs"].iloc[0] == "–"
    assert "a spread lies at its border" in found.table["remark"].iloc[0]
    assert "No second opinion" in found.text()


class Other:
    """A fit of the other program that went wrong in a chosen way."""

    def __init__(self, rise=0.0, converged=True, se=0.3, warn=""):
        self.llf, self.converged, self.warn = rise, converged, warn
        self.params, self._se = {"on": 1.0}, se
        self.vcomp, self.cov_re, self.scale = np.array([0.4]), np.eye(2), 3.0
        self.model = SimpleNamespace(exog_vc=SimpleNamespace(names=["block"]))

    @property
    def bse(self):
        if self.warn:
            warnings.warn(self.warn, stacklevel=1)
        return {"on": self._se}

    def fit(self, reml):
        return self


@pytest.mark.parametrize(
    ("changes", "what", "said"),
    [
        ({"rise": -5000.0}, "−2 log likelihood", "above our optimum"),
        ({"rise": 5000.0}, "−2 log likelihood", "ours is not the best, please report this"),
        ({"se": np.nan}, "standard error", "not that of a minimum"),
        ({"converged": False, "warn": "failed to converge"}, "search ended at a minimum", "none of its searches ended"),
        ({"warn": "The MLE may be on the boundary"}, "search ended at a minimum", "a spread lies at its border"),
        ({"warn": "Retrying MixedLM optimization"}, "search ended at a minimum", "another way of searching had failed"),
        ({"warn": "something never heard of"}, "search ended at a minimum", "something never heard of"),
    ],
)
def test_what_went_wrong_there_is_said_in_its_row(table, monkeypatch, changes, what, said):
    monkeypatch.setattr(smf, "mixedlm", lambda *args, **kwargs: Other(**changes))
    found = second_opinion(table, "X")
    assert said in cell(found, what, "remark")
    assert not found.agrees
    assert "differs" in found.text()


def test_block_means_and_differences_have_no_second_opinion_and_say_why(table):
    flat = table.assign(attack_up_deg=table.groupby("block")["attack_up_deg"].transform("mean"))
    found = second_opinion(flat, "X")
    assert not found.fitted
    assert "know no weights" in found.text() or "no mixed model to compare" in found.text()


def test_terms_that_cross_students_are_named_as_beyond_it(table):
    coached = pd.concat(
        [
            lessons(seed=20 + c, students=4).assign(
                coach=f"c{c}",
                **{name: lambda t, name=name, c=c: f"c{c}-" + t[name] for name in ("student", "session", "block")},
            )
            for c in range(6)
        ],
        ignore_index=True,
    )
    found = second_opinion(coached, "X")
    assert not found.fitted
    assert "shifts of coaches" in found.text()


def test_a_cue_that_is_not_there_is_refused(table):
    with pytest.raises(cl.DataError, match="no shot with Y"):
        second_opinion(table, "Y")
