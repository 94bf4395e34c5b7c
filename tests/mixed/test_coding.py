"""Columns of a formula as coded here against formulaic's own."""

import numpy as np
import pandas as pd
import pytest

from coachlab.mixed import coding


@pytest.fixture
def variables(rng):
    def words(*levels):
        return pd.Categorical.from_codes(rng.integers(0, len(levels), 60), categories=list(levels))

    return {
        "a": words("p", "q", "r"),
        "b": pd.Categorical.from_codes(rng.integers(0, 2, 60), categories=[1, 2, 3]),  # 3 does not occur
        "d": words(False, True),
        "x": rng.normal(0, 1, 60),
        "w": rng.normal(0, 1, 60),
    }


PLAIN = ["1", "0", "a", "a*b + d", "x*a", "a*x + b*x", "a:x + a + x", "a*b*x", "a*b*d", "a:b + b + a", "x:w", "x*w*a"]


@pytest.mark.parametrize("text", PLAIN)
def test_products_of_plain_columns_are_coded_as_formulaic_codes_them(variables, text):
    assert coding._plain(text, variables) is not None
    names, matrix = coding._matrix(text, variables, {})
    wanted, other, _ = coding.evaluate(text, variables, None, "coding")
    assert names == wanted
    np.testing.assert_array_equal(matrix, other)


@pytest.mark.parametrize("text", ["0 + a", "a:b", "x:a", "a + b + d + a:b:d", "C(a)", "a - 1", "a*(b + x)", "a*a"])
def test_what_is_no_product_of_plain_columns_is_left_to_formulaic(variables, text):
    assert coding._plain(text, variables) is None
    names, matrix = coding._matrix(text, variables, {})
    assert matrix.shape == (60, len(names))
