import pytest

from coachlab.errors import FormulaError
from coachlab.mixed.coding import names_in
from coachlab.mixed.formula import Bar, read_formula


@pytest.mark.parametrize(
    ("text", "fixed", "bars"),
    [
        ("y ~ x + (1 + x | g) + (1 | g:h)", "x", [Bar("1 + x", ("g",)), Bar("1", ("g", "h"))]),
        ("y~(1|g)", "1", [Bar("1", ("g",))]),
        ("y ~ 0 + a * b - 1 + (x || g)", "0 + a * b - 1", [Bar("1", ("g",)), Bar("0 + x", ("g",))]),
        ("y ~ a + (1 | g / h / i)", "a", [Bar("1", ("g",)), Bar("1", ("g", "h")), Bar("1", ("g", "h", "i"))]),
        ("y ~ (a + b) + (0 + a || g)", "(a + b)", [Bar("0 + a", ("g",))]),
        ("y ~ I(x - 1) + (0 + np.log(x) | g:h)", "I(x - 1)", [Bar("0 + np.log(x)", ("g", "h"))]),
    ],
)
def test_a_formula_falls_into_its_parts(text, fixed, bars):
    parsed = read_formula(text)
    assert parsed.fixed == fixed
    assert list(parsed.bars) == bars


@pytest.mark.parametrize("text", ["y", "y ~ x ~ (1 | g)", "~ (1 | g)", "y ~ x", "y ~ 1 | g", "y ~ (1 | g", "y ~ x - (1 | g)",
                                  "y ~ (| g)", "y ~ (1 | )", "y ~ (1 | g + h)", "y ~ (1 | np.log(g))", 3])  # fmt: skip
def test_what_is_no_formula_is_refused_with_a_model_to_follow(text):
    with pytest.raises(FormulaError) as caught:
        read_formula(text)
    assert "|" in caught.value.do


def test_names_of_columns_are_told_from_functions_and_options():
    assert names_in("np.log(x) + C(cue, contr.treatment('plain')) + bs(z, df=3) + a:b") == ("x", "cue", "z", "a", "b")
    assert names_in("1 + x1 + I(x_2 ** 2)") == ("x1", "x_2")
