"""What is no fit, no shots, no path, no level or no seed is refused in three parts, by every public function."""

import inspect

import numpy as np
import pandas as pd
import pytest

import coachlab as cl

WRONG = ("x", None, 3, pd.DataFrame())
# read and cleaned in the depths of the intake, which has tests of its own
ELSEWHERE = {"Shots", "clean_shots", "combine_shots", "exclude", "read_shots"}
FUNCTIONS = [
    name
    for name in cl.__all__
    if callable(getattr(cl, name))
    and name not in ELSEWHERE
    and not (inspect.isclass(getattr(cl, name)) and issubclass(getattr(cl, name), BaseException))
]


@pytest.fixture(autouse=True)
def elsewhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def others(function):
    """The arguments after the first that must be given, each a word."""
    parameters = list(inspect.signature(function).parameters.values())[1:]
    return {one.name: "x" for one in parameters if one.default is one.empty and one.kind is not one.VAR_KEYWORD}


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_first_argument_of_the_wrong_kind_is_refused_in_words(name):
    function = getattr(cl, name)
    for wrong in WRONG:
        try:
            function(wrong, **others(function))
        except cl.CoachlabError as error:
            assert error.asked and error.found and error.do, (name, wrong)


@pytest.fixture(scope="module")
def academy():
    return cl.simulate_academy(students=16, seed=1, cues=["S1", "I2"], lessons=2)


@pytest.fixture(scope="module")
def fit(academy):
    return cl.fit_mixed("attack_up_deg ~ cue + (1 | student)", cl.model_table(academy.shots))


ASKED = {
    "bootstrap": lambda fit, **more: cl.bootstrap(fit, refits=2, **more),
    "means": lambda fit, **more: cl.means(fit, "cue", **more),
    "contrasts": lambda fit, **more: cl.contrasts(fit, "cue", **more),
    "new_level": lambda fit, **more: cl.new_level(fit, "cue[S1]", "student", 1.0, **more),
    "profile_spread": lambda fit, **more: cl.profile_spread(fit, **more),
}
LEVELS = ("x", None, 0, 1, 95, -0.5, float("nan"), [])


@pytest.mark.parametrize("name", ASKED)
@pytest.mark.parametrize("level", LEVELS)
def test_a_level_that_is_no_share_is_refused_in_words(fit, name, level):
    with pytest.raises(cl.FitError, match="Give a share between 0 and 1") as caught:
        ASKED[name](fit, level=level)
    assert caught.value.facts["argument"] == "level"


@pytest.mark.parametrize(
    "more", [{"statistic": "x"}, {"by": 3}, {"seed": "x"}, {"seed": -1}, {"refits": "x"}, {"refits": 1.5}]
)
def test_a_bootstrap_of_what_cannot_be_drawn_is_refused_in_words(fit, more):
    with pytest.raises(cl.FitError, match=next(iter(more))) as caught:
        cl.bootstrap(fit, **{"refits": 2, **more})
    assert caught.value.do


@pytest.mark.parametrize(
    "more",
    [{"seed": "x"}, {"seed": -1}, {"prefix": None}, {"clubs": 3}, {"cues": 3}, {"cues": pd.DataFrame()},
     {"truths": "x"}, {"assumptions": "x"}, {"block_shots": 3}, {"block_shots": ("a", "b")}],
)  # fmt: skip
def test_an_academy_of_what_cannot_be_simulated_is_refused_in_words(more):
    with pytest.raises(cl.DataError) as caught:
        cl.simulate_academy(4, **{"seed": 0, **more})
    assert caught.value.do


@pytest.mark.parametrize("log", [None, 3, np.nan, []])
def test_a_log_that_is_none_is_refused_in_words(academy, log):
    with pytest.raises(cl.DataError, match="log"):
        cl.join_log(academy.shots, log)
